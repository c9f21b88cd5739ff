"""The pages of the desk in a browser: a person's morning with scripts and without, every page held against the rules of axe-core."""
