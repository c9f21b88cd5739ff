"""A job sheet as a page of HTML that takes nothing from elsewhere, and as a file of PDF."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from typing import Any

from services.chassis.packed_pdf import packed
from services.chassis.pages import page_templates
from services.chassis.typesetting import typeset
from services.quoting.job_sheet.gallery import data_of
from services.quoting.job_sheet.sheet import JobSheet

PACKAGE = "services.quoting.job_sheet"
PARTS = "services.quoting.sheet"


def job_page(sheet: JobSheet) -> str:
    """One page to read and to print; other quantities are a link away."""
    parts: Any = page_templates(PARTS).get_template("blocks.html").module
    return (
        page_templates(PACKAGE)
        .get_template("job.html")
        .render(sheet=sheet, sections=_sections(sheet), block=parts.block, facts=parts.facts)
    )


def job_pdf(sheet: JobSheet, *, on: date) -> bytes:
    """The same on paper, dated by the day of the quote; the same bytes for the same sheet."""
    data = {name: value for name, value in asdict(sheet).items() if name != "sections"}
    return packed(typeset(PACKAGE, "job.typ", {**data, "sections": _sections(sheet)}, on=on))


def _sections(sheet: JobSheet) -> list[dict[str, Any]]:
    return [{"title": one.title, "blocks": [data_of(block) for block in one.blocks]} for one in sheet.sections]
