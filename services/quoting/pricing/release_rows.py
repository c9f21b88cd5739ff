"""Does a quote rest on rates that are not the shop's own yet? A release adds rows that it needs; a person of the shop confirms them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from services.quoting.pricing.plans import Made, Plans
from shared_schemas.check import Finding
from shared_schemas.figure import Figure
from shared_schemas.finding_kinds import finding
from shared_schemas.rate_row import ADDED_BY_RELEASE

MOST_NAMED = 8


def figures_of_a_release(made: Made, plans: Plans) -> Iterator[Finding]:
    """A finding that names the rows which a release added and the work, tools and parts of a quote rest on."""
    if not plans.rates.added_by_release:
        return
    operations = [one.basis for route in made.routes for one in route.operations]
    bases = (*operations, *(tool.basis for tool in made.tooling), *(part.basis for part in plans.bought_parts))
    rows = sorted(set(_rows(figure for basis in bases for figure in basis)))
    if not rows:
        return
    named = ", ".join(f"{row} of {table}" for table, row in rows[:MOST_NAMED])
    more = f" and {len(rows) - MOST_NAMED} more" if len(rows) > MOST_NAMED else ""
    yield finding(
        "rates-of-a-release",
        "",
        f"The quote rests on {len(rows)} rate rows as a release added them, not on the shop's own figures: {named}{more}.",
        figure=len(rows),
        row=rows[0][1],
        remedy="give these rows the shop's own figures and a source of its own, and requote",
    )


def _rows(figures: Iterable[Figure]) -> Iterator[tuple[str, str]]:
    for figure in figures:
        if figure.rate_row is not None and ADDED_BY_RELEASE in figure.rate_row.source:
            yield figure.rate_row.table, figure.rate_row.row
        yield from _rows(figure.inputs)
