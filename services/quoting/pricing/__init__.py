"""How many are started, what is the price, and what would make it less or sooner?"""
