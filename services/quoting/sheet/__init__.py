"""The customer's offer of a ready quote, to read, to print and to sign: what, at which price, when, on which terms.

In goes what the quote answers and the seller's letterhead; out comes a page of HTML or a file of PDF, in the customer's language. What is the shop's own
business (cost, margin, risk, where glass is bought, where rates come from) has no place on it: each line is taken from the fields a customer may see.
"""

from services.quoting.sheet.language import LANGUAGES, PAPERS, Paper
from services.quoting.sheet.offer import Head, Logo, Offer, offer_of
from services.quoting.sheet.rendered import offer_page, offer_pdf

__all__ = ["LANGUAGES", "PAPERS", "Head", "Logo", "Offer", "Paper", "offer_of", "offer_page", "offer_pdf"]
