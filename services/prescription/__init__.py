"""Can this lens be made, and what does each surface demand?

In: a prescription, and the rates for its glasses and allowances. Out: a check report with first-order figures, the
geometry and the resolved tolerances of every element, and findings in an estimator's words; or a refusal.
"""
