"""Which operations, how long, with what losses?

In: the request, the check report and the blank plan, with the rates for machines, grits, coefficients and yields. Out: an
operation plan with the route card of every element, cemented group and the lens, what must be bought, which tools are
missing and what a looser tolerance would change; or a refusal where a tolerance is beyond what the shop can do.
By hand the plan comes with a picture of every block that lenses share.
"""
