"""The job sheet as a whole: of which quote and quantity, then what is made, out of what, how, with which tools, when, and for how much."""

from __future__ import annotations

from dataclasses import dataclass

from services.quoting.job_sheet import days, money, remarks, routing
from services.quoting.job_sheet.blocks import blocks
from services.quoting.job_sheet.cutting import cutting
from services.quoting.job_sheet.gallery import JobSection
from services.quoting.job_sheet.given import Given
from services.quoting.sheet.language import Language, Paper, language
from services.quoting.sheet.lens import lens
from services.quoting.sheet.parts import Facts

TITLE = "Job sheet"
INTERNAL = "Internal: not for the customer"

__all__ = ["Given", "JobSheet", "job_sheet_of"]


@dataclass(frozen=True)
class JobSheet:
    """A job sheet in words. `quantities` are those of the quote, of which `quantity` is shown; `page_of` has places for the page and how many there are."""

    paper: Paper
    title: str
    heading: str
    internal: str
    number: str
    revision: int
    quantity: int
    quantities: tuple[int, ...]
    subject: str
    notices: tuple[str, ...]
    facts: Facts
    sections: tuple[JobSection, ...]
    page_of: str = "Page {page} of {pages}"
    foot: str = ""


def job_sheet_of(given: Given, *, paper: Paper = "a4") -> JobSheet:
    """The sheet of one quantity of a ready quote."""
    said, body, head = language("en", paper), given.body, given.head
    quantity = given.price_break.quantity
    parts = (
        _lens(given, said), cutting(given, said), blocks(given, said), routing.routing(given, said), remarks.tools(given, said), days.days(given, said),
        money.money(given, said), money.risk(given, said), remarks.overrides(given, said), remarks.findings(given), remarks.cautions(given),
    )  # fmt: skip
    return JobSheet(
        paper=paper,
        title=f"{TITLE} {head.number}, revision {head.revision}, {said.count(quantity)} lenses",
        heading=TITLE,
        internal=INTERNAL,
        number=head.number,
        revision=head.revision,
        quantity=quantity,
        quantities=tuple(one.quantity for one in body.breaks),
        subject=body.prescription.title,
        notices=_notices(given),
        facts=Facts(
            (
                ("Quote", f"{head.number}, revision {head.revision}"),
                (
                    "Quantity",
                    f"{said.count(quantity)} of those quoted: {', '.join(said.count(one.quantity) for one in body.breaks)}",
                ),
                ("Customer", head.customer),
                ("State", _state(given, said)),
                ("Quoted on", f"{said.day(body.quoted_on)}, valid until {said.day(body.valid_until)}"),
                ("Rates", f"revision {body.rate_revision} of {said.day(given.rates_of)}, digest {body.rate_digest[:16]}"),
                ("Load", "no book of load" if body.load_snapshot is None else f"snapshot {body.load_snapshot}"),
                ("Ships by", f"{said.day(given.price_break.lead_time.ship_date)}, nine of ten"),
            )
        ),
        sections=tuple(one for one in parts if one is not None),
        foot=f"Figures are those of the quote whose digest (SHA-256 of its canonical JSON) is {head.digest}.",
    )


def _lens(given: Given, said: Language) -> JobSection | None:
    section = lens(given.body, said)
    return None if section is None else JobSection(section.title, section.blocks)


def _state(given: Given, said: Language) -> str:
    decision = given.head.decision
    if decision is None:
        return f"{given.head.state or 'open'}, not ordered"
    ordered = f" for {said.count(decision.quantity)}" if decision.quantity is not None else ""
    return f"{decision.decision}{ordered} on {said.day(decision.at.date())}, as {decision.by} said"


def _notices(given: Given) -> tuple[str, ...]:
    head, decision = given.head, given.head.decision
    latest = (
        (f"Revision {head.latest_revision} is the latest; this one is kept as it was.",)
        if head.latest_revision > head.revision
        else ()
    )
    other = (
        (f"Ordered are {decision.quantity}; this sheet is of {given.price_break.quantity}.",)
        if decision is not None and decision.quantity not in (None, given.price_break.quantity)
        else ()
    )
    waits = ("It waits for a second key: it is neither sent nor accepted before.",) if given.waits_for_approval else ()
    return (*waits, *latest, *other, *given.planned.remarks)
