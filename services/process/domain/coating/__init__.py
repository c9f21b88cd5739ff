"""Coatings: which one, how long a run takes, what it leaves of the reflection."""
