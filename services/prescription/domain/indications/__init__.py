"""ISO 10110 indications, read as they are written on a drawing; a subject a file."""
