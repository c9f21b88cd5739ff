"""Which column of a table speaks of which rows of another, and names that nothing answers to; the nearest name is told."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from shared_schemas.problem import ProblemDetail
from shared_schemas.rates import RateRow, Rates

NEAR = 0.6
"""From this share of common signs on, a name is taken for a misspelt one (`difflib`)."""


@dataclass(frozen=True)
class Reference:
    """A column of a table that names rows of another.

    Attributes:
        column: as it stands in a pointer into a row.
        home: the table whose rows are named.
        of_row: the names in a row, each with what its pointer goes on with (the number in a list).
    """

    table: str
    column: str
    home: str
    of_row: Callable[[Any], Iterable[tuple[str, str]]]


def _one(column: str) -> Callable[[Any], Iterable[tuple[str, str]]]:
    def names(row: Any) -> Iterator[tuple[str, str]]:
        name = getattr(row, column)
        if name:
            yield "", name

    return names


def _several(column: str) -> Callable[[Any], Iterable[tuple[str, str]]]:
    def names(row: Any) -> Iterator[tuple[str, str]]:
        return ((f"/{number}", name) for number, name in enumerate(getattr(row, column)))

    return names


REFERENCES = (
    Reference("stock_forms", "glass", "glasses", _one("glass")),
    Reference("polishing", "glass", "glasses", _one("glass")),
    Reference("pressed_aspheres", "glasses", "glasses", _several("glasses")),
    Reference("shop_load", "name", "work_centres", _one("name")),
    Reference("operations", "work_centre", "work_centres", _one("work_centre")),
    Reference("hardware", "material", "metals", _one("material")),
)
"""Every column by which rows of one table speak of rows of another by their names."""


def dangling(rates: Rates, changed: Collection[str]) -> Iterator[tuple[str, ProblemDetail]]:
    """Names without a row, each with the table that has to be mended: at the cell where the table that speaks was changed,
    otherwise at the rows of the table that they were taken from."""
    for reference in REFERENCES:
        rows, known = getattr(rates, reference.table), _known(rates, reference.home)
        if reference.table in changed:
            yield from ((reference.table, fault) for fault in _not_known(reference, rows, known))
        elif reference.home in changed:
            yield from ((reference.home, fault) for fault in _still_spoken_of(reference, rows, known))


def _known(rates: Rates, home: str) -> tuple[str, ...]:
    """What rows of a table are known by: their names, work centres by their ids too."""
    names = tuple(row.name for row in getattr(rates, home))
    return (*names, *(row.id for row in rates.work_centres)) if home == "work_centres" else names


def _not_known(reference: Reference, rows: Sequence[RateRow], known: Collection[str]) -> Iterator[ProblemDetail]:
    there = set(known)
    for number, row in enumerate(rows):
        for place, name in reference.of_row(row):
            if name not in there:
                yield ProblemDetail(
                    pointer=f"/rows/{number}/{reference.column}{place}",
                    reason=f"{reference.home} has no row {name}",
                    figure=name,
                    limit=f"a name in {reference.home}",
                    remedy=f"{nearest_or(name, known)}add it to {reference.home} first, or mend the name",
                )


def _still_spoken_of(reference: Reference, rows: Sequence[RateRow], known: Collection[str]) -> Iterator[ProblemDetail]:
    spoken_of = {name for row in rows for _, name in reference.of_row(row)}
    for name in sorted(spoken_of - set(known)):
        yield ProblemDetail(
            pointer="/rows",
            reason=f"there is no row {name}, and {reference.table} speaks of it",
            figure=name,
            remedy=f"{nearest_or(name, known)}keep the name, or change {reference.table} together with it in a draft",
        )


def nearest_or(name: str, known: Iterable[str]) -> str:
    """The beginning of a remedy for a name that is not known: the one that is most like it, if any is."""
    near = get_close_matches(name, sorted(known), 1, NEAR)
    return f"{near[0]}, if that is meant; otherwise " if near else ""
