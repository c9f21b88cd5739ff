"""ISO 10110 indications, read and written as on a drawing; a subject a file."""
