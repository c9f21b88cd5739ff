"""How discs lie in a plate or a round slice: equal ones, and several kinds together."""
