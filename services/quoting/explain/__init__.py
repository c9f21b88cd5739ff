"""Why is a figure of a quote what it is?"""
