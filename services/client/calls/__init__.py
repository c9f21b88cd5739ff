"""What can be asked of a server, by subject: each function makes a `Call` and sends nothing.

Contracts are imported where they are used: all of them take a third of a second, and who quotes one lens needs few.
"""
