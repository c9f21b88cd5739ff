"""Pages for a person with a browser: paste a table, look at what was read, ask, follow, read, send, decide, search.

Each page asks the other services over HTTP with the key that its reader signed in with. Nothing of theirs is kept here but what the sealed cookie holds.
"""
