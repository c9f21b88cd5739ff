"""Physics and arithmetic of a prescription, one subject a file."""
