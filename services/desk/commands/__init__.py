"""The commands of `blankwright`, a file for each subject."""
