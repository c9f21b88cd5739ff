"""What the planner says of a lens: what the shop cannot do, and what to know."""
