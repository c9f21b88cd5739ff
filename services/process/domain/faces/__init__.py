"""A face: the block it is worked on, fine grinding, polishing."""
