"""Glass: which blanks, out of which stock, at what cost?

In: the job (prescription, quantities) and the check report, with the rates. Out: a blank plan with the blank of every
element, and for every purchase a material model: what the glass costs, as steps over the number of blanks started. Elements of
one glass buy and are sawn together where that costs less. By hand the plan comes with a picture of every plate.
"""
