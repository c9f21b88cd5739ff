"""The sales desk: how does a person, or a program of theirs, ask for a quote and read the answer?

In: whatever a customer sends, as a table, a file or a letter, or a quote request as JSON. Out: the quote, as a page for the terminal or
as JSON. The desk reaches every other service over HTTP, through `services.client`.
"""
