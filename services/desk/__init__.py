"""The sales desk: how does a person, or a program of theirs, ask for a quote and read the answer?

In: a prescription or quote request as JSON, or a table of surfaces as CSV. Out: the quote, as a page for the terminal or
as JSON. The desk reaches every other service over HTTP, through `BlankwrightClient`.
"""
