"""Blocks, grits, Preston, coatings, mounting: the minutes and losses of every operation of a lens."""
