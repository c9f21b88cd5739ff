"""The customer's sheet of a ready quote, as one page to read, to print and to sign: what, at which price, when, on which terms.

In goes what the quote answers; out comes a page in HTML that takes nothing from elsewhere. What is the shop's own business
(cost, margin, risk, where glass is bought) has no place on it: each line is taken from the fields a customer may see.
"""

from services.quoting.sheet.page import Head, sheet_page

__all__ = ["Head", "sheet_page"]
