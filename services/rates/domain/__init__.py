"""Rate tables as documents: reading and writing them, and what a revision is."""
