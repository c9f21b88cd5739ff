"""What was ordered, what does the ERP need, and how full is the shop?

In: accepted quotes with the hours they take of each work centre, and what an ERP has booked itself. Out: the book of load, as
immutable numbered snapshots by which quotes are dated.
"""
