"""Prescription: can this lens be made, and what does each surface demand?

In: the job with its prescription, and the rates. Out: a check report with the first order of the lens, the geometry and the
demands of every element and every finding an estimator would make; or a refusal with every reason why it cannot be made.
"""
