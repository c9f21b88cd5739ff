"""Rays, depths, edges, volumes and indications of a lens; and what an estimator finds in them."""
