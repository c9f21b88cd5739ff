"""The job sheet of a ready quote, for whoever makes it: blanks, blocks, routing, tools, days, and what it costs, at one of its quantities.

It is the shop's own paper and no customer's: every page says so. Each figure is one of the quote's, of its evaluation or of a rate row; a page of
HTML and a file of PDF are made of the same sheet.
"""

from services.quoting.job_sheet.rendered import job_page, job_pdf
from services.quoting.job_sheet.sheet import Given, JobSheet, job_sheet_of

__all__ = ["Given", "JobSheet", "job_page", "job_pdf", "job_sheet_of"]
