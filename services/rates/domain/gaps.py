"""What a table would leave without a row: holes between ranges, classes and operations that nothing answers for any more."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import groupby, pairwise

from shared_schemas.problem import ProblemDetail
from shared_schemas.rates import RateRow, Rates

METHODS = ("block", "single")


def gaps(rates: Rates, changed: str) -> list[ProblemDetail]:
    """What the rows of the table `changed` leave without an answer; each entry points at the row above a hole, or at `/rows`."""
    return list(CHECKS[changed](rates)) if changed in CHECKS else []


def _lacking(what: str, remedy: str) -> ProblemDetail:
    return ProblemDetail(pointer="/rows", reason=f"no row is left for {what}", figure=what, remedy=remedy)


def _holes(rows: Iterable[tuple[int, RateRow]], over: str, up_to: str, what: str) -> Iterator[ProblemDetail]:
    """Holes between ranges that belong together; the numbers are those of the rows in their table."""
    reached: float | None = None
    for number, row in sorted(rows, key=lambda entry: float(getattr(entry[1], over))):
        starts, ends = float(getattr(row, over)), float(getattr(row, up_to))
        if reached is not None and starts > reached:
            yield ProblemDetail(
                pointer=f"/rows/{number}/{over}",
                reason=f"no row is left for {what} over {reached:g} and up to {starts:g}",
                figure=starts,
                limit=reached,
                remedy=f"a row for {reached:g} to {starts:g}, or {reached:g} here",
            )
        reached = ends if reached is None else max(reached, ends)


def _polishing(rates: Rates) -> Iterator[ProblemDetail]:
    for method in METHODS:
        rows = [(number, row) for number, row in enumerate(rates.polishing) if row.method == method]
        bands = [(number, row) for number, row in rows if row.glass is None]
        yield from _holes(bands, "knoop_over_hk", "knoop_up_to_hk", f"a Knoop hardness by {method}")
        ends = (
            (min((row.knoop_over_hk for _, row in bands), default=0.0), max((row.knoop_up_to_hk for _, row in bands), default=0.0))
        )  # fmt: skip
        own = {row.glass for _, row in rows}
        outside = [
            glass.name
            for glass in rates.glasses
            if glass.knoop_hk is not None and glass.name not in own and not ends[0] < glass.knoop_hk <= ends[1]
        ]
        if outside:
            yield _lacking(f"{_some(outside)} by {method}", "widen a range, or add a row for the glass")


def _allowances(rates: Rates) -> Iterator[ProblemDetail]:
    rows = [(number, row) for number, row in enumerate(rates.allowances) if row.form is None]
    for kind, of_kind in groupby(sorted(rows, key=lambda entry: entry[1].kind), key=lambda entry: entry[1].kind):
        yield from _holes(of_kind, "diameter_over_mm", "diameter_up_to_mm", f"{kind} at a diameter in mm")


def _grinding(rates: Rates) -> Iterator[ProblemDetail]:
    worked = {row.grindability_hg for row in rates.grinding if row.stage == "generate" and row.method == ""}
    classes = sorted({glass.grindability_hg for glass in rates.glasses if glass.grindability_hg is not None} - worked)
    for grindability in classes:
        yield _lacking(f"generate of grindability class {grindability}", "add it, as glasses has glasses of that class")
    for stage in ("saw", "core"):
        if all(row.stage != stage for row in rates.grinding):
            yield _lacking(stage, "add one for class 3")
    for method in METHODS:
        if not any(row.stage == "fine_grind" and row.method in (method, "") for row in rates.grinding):
            yield _lacking(f"fine_grind by {method}", "add its grits")


def _glass_grades(rates: Rates) -> Iterator[ProblemDetail]:
    """Ramps that fall: a tighter grade that costs less, comes sooner or has the cheaper certificate; and a usual glass that is none."""
    numbered = sorted(enumerate(rates.glass_grades), key=lambda entry: (entry[1].attribute, -entry[1].figure))
    for attribute, of_attribute in groupby(numbered, key=lambda entry: entry[1].attribute):
        rows = list(of_attribute)
        number, usual = rows[0]
        if usual.price_factor > 1:
            yield _falls(number, "price_factor", usual.price_factor, 1, f"the loosest grade of {attribute} is the usual glass")
        for (_, looser), (number, tighter) in pairwise(rows):
            for column in ("price_factor", "more_days", "certificate_charge"):
                before, after = float(getattr(looser, column)), float(getattr(tighter, column))
                if after < before:
                    yield _falls(number, column, after, before, f"{tighter.name} is tighter than {looser.name} and asks for less")
            if tighter.figure == looser.figure:
                yield _falls(number, "figure", tighter.figure, looser.figure, f"{looser.name} has this figure already")


def _falls(number: int, column: str, figure: float, limit: float, reason: str) -> ProblemDetail:
    pointer, remedy = f"/rows/{number}/{column}", "let it rise with the grade"
    return ProblemDetail(pointer=pointer, reason=reason, figure=figure, limit=limit, remedy=remedy)


def _work_centres(rates: Rates) -> Iterator[ProblemDetail]:
    done = {operation for row in rates.work_centres for operation in row.operations}
    for operation in sorted({row.operation for row in rates.yields} - done):
        yield _lacking(operation, "a work centre that does it, as yields has its losses")


def _yields(rates: Rates) -> Iterator[ProblemDetail]:
    known = {row.operation for row in rates.yields}
    for operation in sorted({operation for row in rates.work_centres for operation in row.operations} - known):
        yield _lacking(operation, "its yield, as work_centres has a place for it")


def _some(names: Sequence[str]) -> str:
    return ", ".join(names[:6]) + (f" and {len(names) - 6} more glasses" if len(names) > 6 else "")


CHECKS: dict[str, Callable[[Rates], Iterator[ProblemDetail]]] = {
    "polishing": _polishing,
    "allowances": _allowances,
    "glass_grades": _glass_grades,
    "grinding": _grinding,
    "work_centres": _work_centres,
    "yields": _yields,
}
"""Tables of which every entry of a range or a list is asked for sooner or later."""
