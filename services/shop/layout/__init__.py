"""Where do circles lie? Discs in a plate, circles in a circle, lenses on a spherical block.

`discs_in_plate.py` (rows of every kind in `rows.py`, then `search.py`), `circles_in_circle.py` for slices, flat blocks and calottes,
`lenses_on_block.py` (rings in `rings_on_sphere.py`, then `pushing.py`). Every layout has places that can be drawn; no estimates.
"""
