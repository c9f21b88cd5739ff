"""From what a customer sent to a draft that can be confirmed: read, held against the names of the rates, looked at by the check.

`reading.py` reads; `names_in_rates.py` asks about names that the rates do not have; `repairs.py` asks about what the rays show to be a slip;
`look_over.py` puts answers in and asks until nothing is left to ask; `digest.py` says what a confirmation confirms. HTTP is in `asking.py` alone.
"""
