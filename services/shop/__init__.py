"""Shop arithmetic that several rooms need: the cost of a minute, allowances, layouts of circles, the calendar.

Not a service: every room may import it, and it imports no service.
"""
