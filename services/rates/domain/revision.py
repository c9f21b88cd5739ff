"""What a revision is: canonical rows, their digests, and whether the tables agree with each other."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from datetime import timedelta
from itertools import pairwise
from typing import Any

from services.rates.domain.gaps import gaps
from services.rates.domain.references import dangling
from services.rates.domain.undecided import undecided
from services.shop.ramps import ramp, slowed_share
from shared_schemas.operation_kinds import OperationName, operation_words, operations_that
from shared_schemas.problem import ProblemDetail
from shared_schemas.rates import TABLES, RateRow, Rates, ToleranceClassRow


def canonical_rows(rows: Sequence[RateRow]) -> bytes:
    """Rows as JSON with sorted keys and no spaces: the same rows, the same bytes."""
    records = [row.model_dump(mode="json", by_alias=True) for row in rows]
    return json.dumps(records, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def digest_of_table(table: str, rows: bytes) -> str:
    """SHA-256 over the table's name and its canonical rows."""
    return hashlib.sha256(table.encode() + b"\n" + rows).hexdigest()


def digest_of_revision(table_digests: Mapping[str, str]) -> str:
    """SHA-256 over the digests of all tables, in the order of their names."""
    lines = "".join(f"{table} {table_digests[table]}\n" for table in sorted(table_digests))
    return hashlib.sha256(lines.encode()).hexdigest()


def tables_of(rates: Rates) -> dict[str, tuple[RateRow, ...]]:
    """Every table of a set of rates by its name."""
    return {table: getattr(rates, table) for table in TABLES}


def contradictions(rates: Rates, changed: str) -> list[ProblemDetail]:
    """Where the rows of the table `changed` do not agree with each other or with the other tables.

    Each entry points at a cell of `changed` (the document that was sent), or at `/rows` when a row is lacking.
    What is left without a row is asked only of rows that agree.
    """
    return contradictions_of(rates, (changed,)).get(changed, [])


def contradictions_of(rates: Rates, changed: Collection[str]) -> dict[str, list[ProblemDetail]]:
    """Where tables that change together do not agree, by the table whose rows have to be mended; only of those in `changed`.

    A name that one of them gives and another speaks of is a fault once, at the cell that speaks of it.
    """
    found: dict[str, list[ProblemDetail]] = {}
    for table, fault in dangling(rates, changed):
        found.setdefault(table, []).append(fault)
    for table in (table for table in TABLES if table in changed):
        disagreeing = [*found.get(table, ()), *(CHECKS[table](rates) if table in CHECKS else ()), *undecided(rates, table)]
        found[table] = disagreeing or gaps(rates, table)
    return {table: faults for table, faults in found.items() if faults}


def _not_known(field: str, wanted: Iterable[tuple[int, str]], known: Iterable[str], where: str) -> list[ProblemDetail]:
    names = set(known)
    return [
        ProblemDetail(
            pointer=f"/rows/{number}/{field}",
            reason=f"{where} has no row {name}",
            figure=name,
            limit=f"a name in {where}",
            remedy=f"add it to {where} first, or mend the name",
        )
        for number, name in wanted
        if name not in names
    ]


def _empty_ranges(rows: Sequence[RateRow], over: str, up_to: str) -> list[ProblemDetail]:
    return [
        ProblemDetail(
            pointer=f"/rows/{number}/{up_to}",
            reason="nothing lies in the range of this row",
            figure=getattr(row, up_to),
            limit=getattr(row, over),
            remedy=f"{up_to} above {over}",
        )
        for number, row in enumerate(rows)
        if getattr(row, up_to) <= getattr(row, over)
    ]


def _twice(rows: Sequence[RateRow], *fields: str) -> list[ProblemDetail]:
    """Rows that would answer the same question as an earlier row; rows where the last of `fields` is empty do not count."""
    first: dict[tuple[Any, ...], str] = {}
    found = []
    for number, row in enumerate(rows):
        key = tuple(getattr(row, field) for field in fields)
        if key[-1] is None:
            continue
        if key in first:
            found.append(
                ProblemDetail(
                    pointer=f"/rows/{number}/{fields[-1]}",
                    reason=f"the row {first[key]} says this already",
                    figure=" ".join(str(part) for part in key if part != ""),
                    limit="once",
                    remedy="remove one of the two rows",
                )
            )
        first.setdefault(key, row.name)
    return found


def _polishing(rates: Rates) -> list[ProblemDetail]:
    return _empty_ranges(rates.polishing, "knoop_over_hk", "knoop_up_to_hk")


def _allowances(rates: Rates) -> list[ProblemDetail]:
    return _empty_ranges(rates.allowances, "diameter_over_mm", "diameter_up_to_mm")


def _currencies(rates: Rates) -> list[ProblemDetail]:
    base = [number for number, row in enumerate(rates.currencies) if row.per_base == 1]
    if not base:
        return [ProblemDetail(pointer="/rows", reason="no currency is the base", limit=1, remedy="give one row per_base 1")]
    return [
        ProblemDetail(
            pointer=f"/rows/{number}/per_base",
            reason=f"{rates.currencies[base[0]].name} is the base currency already",
            figure=1,
            limit="one row with per_base 1",
            remedy="give this one its own rate",
        )
        for number in base[1:]
    ]


LONGEST_SHUTDOWN_DAYS = 365


def _calendar(rates: Rates) -> list[ProblemDetail]:
    found = [
        ProblemDetail(
            pointer=f"/rows/{number}/weekday",
            reason="a row is either a weekday or a holiday",
            figure=row.weekday,
            remedy="fill in one of weekday and holiday",
        )
        for number, row in enumerate(rates.calendar)
        if (row.weekday is None) == (row.holiday is None)
    ]
    found += [
        ProblemDetail(
            pointer=f"/rows/{number}/until",
            reason="a shutdown lasts from its holiday until a day not before it, a year at most",
            figure=row.until.isoformat(),
            limit=(row.holiday + timedelta(days=LONGEST_SHUTDOWN_DAYS)).isoformat() if row.holiday else None,
            remedy="give the last day of the shutdown, or leave it out",
        )
        for number, row in enumerate(rates.calendar)
        if row.until is not None and (row.holiday is None or not 0 <= (row.until - row.holiday).days <= LONGEST_SHUTDOWN_DAYS)
    ]
    if not any(row.weekday is not None and row.hours > 0 for row in rates.calendar):
        found.append(
            ProblemDetail(pointer="/rows", reason="no weekday has working hours", figure=0, remedy="give a weekday its hours")
        )
    return [*found, *_twice(rates.calendar, "weekday"), *_twice(rates.calendar, "holiday")]


def _tolerance_classes(rates: Rates) -> list[ProblemDetail]:
    loosest_first = ("commercial", "precision", "high_precision", "capability")
    return [
        *_twice(rates.tolerance_classes, "attribute"),
        *(
            ProblemDetail(
                pointer=f"/rows/{number}/{finer}",
                reason=f"{finer} is wider than {wider}",
                figure=getattr(row, finer),
                limit=getattr(row, wider),
                remedy=f"{getattr(row, wider):g} or less",
            )
            for number, row in enumerate(rates.tolerance_classes)
            for wider, finer in pairwise(loosest_first)
            if getattr(row, finer) > getattr(row, wider)
        ),
        *_too_steep(rates),
    ]


STEEPEST_SHARE = 0.03
"""What 1 % of a tolerance may add to the cost of an operation."""


def _too_steep(rates: Rates) -> Iterator[ProblemDetail]:
    """Ramps on which 1 % of the tolerance makes an operation more than 3 % dearer, in minutes and in pieces lost."""
    survivals: dict[OperationName, float] = {}
    for row in rates.yields:
        survivals[row.operation] = min(row.yield_share, survivals.get(row.operation, 1.0))
    for number, tolerance in enumerate(rates.tolerance_classes):
        for operation in tolerance.operations:
            steps = (
                _step(tolerance, operation, figure, survivals.get(operation, 1.0))
                for figure in (tolerance.knee, tolerance.capability)
            )
            dearer = max(steps)
            if dearer > STEEPEST_SHARE:
                yield ProblemDetail(
                    pointer=f"/rows/{number}/ramp_power", reason=f"1 % of {tolerance.name} makes {operation_words(operation)} too much dearer",
                    figure=round(dearer, 4), limit=STEEPEST_SHARE, remedy="a smaller slope, power or yield_slope, or a looser capability",
                )  # fmt: skip
                break


def _step(row: ToleranceClassRow, operation: OperationName, figure: float, survival: float) -> float:
    """By what share an operation is dearer where a tolerance is 1 % tighter than a figure."""

    def cost(asked: float) -> float:
        time, loss = (
            ramp(slope=slope, knee=row.knee, figure=asked, ramp_power=row.ramp_power) for slope in (row.time_slope, row.yield_slope)
        )
        share = row.time_share(operation)
        slowed = slowed_share(share=share, ramp=time, strength=row.strength, strength_power=row.strength_power)
        return float(slowed / survival**loss)

    return cost(0.99 * figure) / cost(figure) - 1


def _yields(rates: Rates) -> list[ProblemDetail]:
    return [
        *_twice(rates.yields, "operation", "method"),
        *(
            ProblemDetail(
                pointer=f"/rows/{number}/rework_yield", reason="what is reworked never comes out good", figure=0, limit="above 0",
                remedy="the share of the reworked that are good then, or no rework_share",
            )
            for number, row in enumerate(rates.yields) if row.rework_share and not row.rework_yield
        ),
    ]  # fmt: skip


ON_BLOCK: tuple[OperationName, ...] = ("block", "deblock")
"""Operations whose extra work may be of one method alone."""


def _extra_work(rates: Rates) -> list[ProblemDetail]:
    """Extra work that no line of a route card would ever take, so that it would silently cost nothing."""
    rows = list(enumerate(rates.extra_work))
    done = {operation for row in rates.work_centres for operation in row.operations}
    known = {"work_centres": done, "yields": {row.operation for row in rates.yields}}
    lengthened = operations_that(lambda kind: kind.extra_work)
    return [
        *(
            ProblemDetail(
                pointer=f"/rows/{number}/operation", reason=f"{where} has no row that does {row.operation}", figure=row.operation,
                limit=f"an operation of {where}", remedy=f"add it to {where} first, or mend the name",
            )
            for number, row in rows for where, operations in known.items() if row.operation not in operations
        ),
        *_not_taken(((number, row.operation) for number, row in rows), lengthened, "extra_work"),
        *(
            ProblemDetail(
                pointer=f"/rows/{number}/per", reason=f"{row.per}s are counted at bevel only", figure=row.per, limit="lot, batch or piece",
                remedy="count it by lot, batch or piece, or make bevel its operation",
            )
            for number, row in rows if row.per in ("bevel", "seat") and row.operation != "bevel"
        ),
        *(
            ProblemDetail(
                pointer=f"/rows/{number}/method", reason=f"{operation_words(row.operation)} is lengthened alike by every method",
                figure=row.method, limit=", ".join(ON_BLOCK), remedy="leave the method out",
            )
            for number, row in rows if row.method and row.operation not in ON_BLOCK
        ),
    ]  # fmt: skip


def _assembly(rates: Rates) -> list[ProblemDetail]:
    steps = operations_that(lambda kind: kind.minutes_from == "assembly")
    return _not_taken(((number, row.operation) for number, row in enumerate(rates.assembly)), steps, "assembly")


def _not_taken(wanted: Iterable[tuple[int, OperationName]], taken: Sequence[OperationName], table: str) -> list[ProblemDetail]:
    """Rows of operations whose minutes are not taken from a table, so that they would silently cost nothing."""
    return [
        ProblemDetail(
            pointer=f"/rows/{number}/operation",
            reason=f"{operation_words(operation)} takes no minutes from {table}",
            figure=operation,
            limit=", ".join(taken),
            remedy="another operation, or the table that its minutes come from",
        )
        for number, operation in wanted
        if operation not in taken
    ]


def _outside_work(rates: Rates) -> list[ProblemDetail]:
    """Outside work that no work centre does, so that it would never take the place of anything."""
    done = {operation for row in rates.work_centres for operation in row.operations}
    return [
        *_not_known("operation", ((n, row.operation) for n, row in enumerate(rates.outside_work)), done, "work_centres"),
        *(
            ProblemDetail(
                pointer=f"/rows/{number}/piece_charge", reason="a supplier does nothing for nothing", figure=0, limit="above 0",
                remedy="its charge for a lot, for a piece, or both",
            )
            for number, row in enumerate(rates.outside_work) if not row.lot_charge and not row.piece_charge
        ),
    ]  # fmt: skip


def _tooling(rates: Rates) -> list[ProblemDetail]:
    return [
        ProblemDetail(
            pointer=f"/rows/{number}/charge",
            reason="a tool that the shop does not own costs something",
            figure=float(row.charge),
            limit="above 0",
            remedy="its charge, or owned true",
        )
        for number, row in enumerate(rates.tooling)
        if not row.owned and row.charge <= 0
    ]


CHECKS: dict[str, Callable[[Rates], list[ProblemDetail]]] = {
    "allowances": _allowances,
    "polishing": _polishing,
    "currencies": _currencies,
    "calendar": _calendar,
    "tolerance_classes": _tolerance_classes,
    "yields": _yields,
    "extra_work": _extra_work,
    "assembly": _assembly,
    "tooling": _tooling,
    "outside_work": _outside_work,
}
"""What is looked at when a table changes. A table that is not here stands on its own."""
