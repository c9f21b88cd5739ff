"""What the customer supplies beside glass: tools by their names, and coatings that are put on elsewhere."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from services.optics.law import given
from services.process.domain.element_work import ElementWork
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.operations import Route
from shared_schemas.order_terms import Supplied

SHOWN = 8
"""So many of the tools that are needed are named."""


def tools_there(supplied: Sequence[Supplied], of_before: Iterable[str]) -> frozenset[str]:
    """The tools that are there for a job: what the customer supplies, and those of an order that it repeats."""
    return frozenset((*(one.tool for one in supplied if one.tool is not None), *of_before))


def not_needed(supplied: Sequence[Supplied], names: Iterable[str]) -> Iterator[Finding]:
    """Tools that the customer supplies and that are none of `names`, those that the lens is made with."""
    names = tuple(names)
    for place, one in enumerate(supplied):
        if one.tool is not None and one.tool not in names:
            yield finding(
                "supplied-tool-not-needed", f"/supplied/{place}/tool", f"Nothing of the lens is made with a tool called {one.tool}.",
                figure=one.tool, limit=", ".join([*names][:SHOWN]), remedy="a tool by the name that the quote has for it",
            )  # fmt: skip


def of_the_order_before(repeats: str | None, there: Sequence[str], names: Iterable[str]) -> Iterator[Finding]:
    """Which tools of an order that is repeated serve again, of the `names` of those that the lens is made with; or that none does."""
    if repeats is None:
        return
    names = tuple(names)
    used = [name for name in there if name in names]
    if used or not there:
        tools = (
            f"{len(used)} tools of it are there and not charged again: {', '.join(used[:SHOWN])}"
            if used
            else "no tool was made for it"
        )
        yield finding(
            "repeat-of-an-order",
            "/repeats",
            f"The order repeats {repeats}: {tools}. What was learned at it is in the rates.",
            figure=len(used),
        )
    else:
        yield finding(
            "repeat-of-another-lens", "/repeats", f"No tool of {repeats} serves this lens.", figure=repeats, limit=", ".join([*names][:SHOWN]),
            remedy="the order of this lens, or leave it out",
        )  # fmt: skip


def coated_elsewhere(elements: Iterable[ElementWork], supplied: Sequence[Supplied]) -> tuple[ElementWork, ...]:
    """The elements without the coatings that the customer puts on."""
    return tuple(
        _without(work, [one for one in supplied if one.what == "coating" and one.element == work.name]) for work in elements
    )


def _without(work: ElementWork, entries: Sequence[Supplied]) -> ElementWork:
    for face in work.faces:
        if face.coating is not None and any(one.face in (None, face.face) for one in entries):
            work = work.with_face(replace(face, coating=None, coating_demand=None, design=None, runner_up=None))
    return work


def days_away(supplied: Sequence[Supplied], alike: Mapping[str, str]) -> dict[str, float]:
    """For how many days the lot of each element is with the customer to be coated."""
    away: dict[str, float] = {}
    for one in supplied:
        if one.what == "coating" and one.element is not None and one.days:
            part = alike.get(one.element, one.element)
            away[part] = max(away.get(part, 0.0), one.days)
    return away


def sent_away(route: Route, days: float) -> Route:
    """A route whose pieces are away for some days before its last operation; the same where they are not."""
    if not days:
        return route
    *before, last = route.operations
    away = given(
        "wait_days", last.wait_days + days, "days", source="the request: days for which the customer has the pieces to be coated"
    )
    changed = last.model_copy(update={"wait_days": last.wait_days + days, "basis": (*last.basis, *([away] if last.basis else []))})
    return route.model_copy(update={"operations": (*before, changed)})


def coated_by_the_customer(elements: Sequence[ElementWork], supplied: Sequence[Supplied]) -> Iterator[Finding]:
    """A note for each coating that the shop does not put on."""
    where = {work.name: work.where for work in elements}
    for one in supplied:
        if one.what == "coating" and one.element in where:
            faces = f"the {one.face} face" if one.face else "its faces"
            yield finding(
                "coated-by-the-customer", f"{where[one.element]}/{one.face}/coating" if one.face else where[one.element],
                f"The coating of {faces} of {one.element} is not put on here; the pieces are away for {one.days:g} days.", figure=one.days, unit="days",
            )  # fmt: skip
