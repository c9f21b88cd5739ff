"""Which rates were in force, and who changed them?

In: whole tables of dated rows, from an engineer. Out: immutable revisions, each with a digest.
"""
