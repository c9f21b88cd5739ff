"""Blanks: their envelope and allowances, how they lie in plates and slabs, and what the glass costs."""
