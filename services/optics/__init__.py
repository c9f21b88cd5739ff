"""The book of laws: shape, light and drawing notation, each law written once.

Not a service: every room may import it, and it imports no service.
"""
