"""What the commands print, a file for each subject."""
