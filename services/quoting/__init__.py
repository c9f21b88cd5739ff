"""What is the price and the date, and why?

In: a traveller with the check report, the blank plan and the operation plan. Out: a quote that is never changed again,
and the job estimate that the ERP pulls.
"""
