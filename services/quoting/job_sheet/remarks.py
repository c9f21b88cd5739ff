"""Tools, what an estimator set, what the shop is to look at, and what to take care of."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from services.quoting.job_sheet.gallery import JobSection
from services.quoting.job_sheet.given import Given
from services.quoting.sheet.language import Language
from services.quoting.sheet.parts import Points, Table
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import CATALOGUE
from shared_schemas.place import place_of

GRAVEST_FIRST = ("stop", "care", "note")


def tools(given: Given, said: Language) -> JobSection | None:
    """Tools to be made or bought with their charges, and those in hand."""
    rows: list[tuple[str, ...]] = [
        (tool.item, tool.part, "to buy", said.short_day(tool.order_by) if tool.order_by else "", said.money(tool.charge))
        for tool in given.planned.tooling
    ]
    rows += [(tool.name, tool.part, f"in hand, {tool.serves}", "", "") for tool in given.tools_owned]
    heads = ("Tool", "For", "", "Order by", f">Charge, {given.body.currency}")
    return JobSection("Tools", (Table(("Tool", "For", "Where from", *heads[3:]), tuple(rows)),)) if rows else None


def overrides(given: Given, said: Language) -> JobSection | None:
    """Figures that somebody set, in place of what was worked out, with who and why."""
    rows = tuple(
        (one.pointer, _plain(one.value), "–" if one.base is None else _plain(one.base), one.author, said.short_day(one.at.date()), one.reason)
        for one in given.body.overrides
    )  # fmt: skip
    heads = ("Figure", "Set to", "In place of", "By", "On", "Why")
    return JobSection("Set by an estimator", (Table(heads, rows),)) if rows else None


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict):
        return ", ".join(f"{name} {_plain(inner)}" for name, inner in value.items())
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def findings(given: Given) -> JobSection | None:
    """Findings that the shop is to read, the gravest first, each said once for all its places."""
    drawn = given.body.prescription
    places: dict[tuple[str, str, str], list[str]] = {}
    for one in sorted(_for_the_shop(given), key=lambda one: GRAVEST_FIRST.index(one.severity)):
        places.setdefault((one.severity, one.message, one.remedy or ""), []).append(str(place_of(one.pointer, drawn)))
    rows = tuple((severity, ", ".join(where), message, remedy) for (severity, message, remedy), where in places.items())
    heads = ("Severity", "Where", "Finding", "What would do")
    return JobSection("Findings for the shop", (Table(heads, rows),)) if rows else None


def _for_the_shop(given: Given) -> Iterator[Finding]:
    for one in (*given.body.check.findings, *given.body.findings):
        kind = CATALOGUE.get(one.code)
        if kind is None or kind.audience != "customer":
            yield one


def cautions(given: Given) -> JobSection | None:
    """What to take care of at the bench. The rules of the place hold."""
    return JobSection("Cautions", (Points(given.body.cautions),)) if given.body.cautions else None
