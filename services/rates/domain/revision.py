"""What a revision is: canonical rows, their digests, and whether the tables agree with each other."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence

from shared_schemas.problem import ProblemDetail
from shared_schemas.rates import TABLES, RateRow, Rates


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


def contradictions(rates: Rates, changed: str) -> list[ProblemDetail]:
    """Where the rows of the table `changed` do not agree with the other tables, each with a pointer to its cell."""
    checks = {
        "stock_forms": _stock_of_unknown_glass,
        "polishing": _polishing_of_unknown_glass,
        "currencies": _base_currency,
        "calendar": _a_day_to_work,
        "shop_load": _load_of_unknown_work_centre,
        "work_centres": _work_centre_of_load_is_gone,
        "glasses": _glass_of_stock_is_gone,
    }
    return checks[changed](rates) if changed in checks else []


def _unknown(table: str, field: str, wanted: Sequence[tuple[int, str]], known: set[str], where: str) -> list[ProblemDetail]:
    return [
        ProblemDetail(
            pointer=f"/rows/{number}/{field}",
            reason=f"{where} has no row {name}",
            figure=name,
            remedy=f"add it to {where} first, or mend the name",
        )
        for number, name in wanted
        if name not in known
    ]


def _stock_of_unknown_glass(rates: Rates) -> list[ProblemDetail]:
    wanted = [(number, row.glass) for number, row in enumerate(rates.stock_forms)]
    return _unknown("stock_forms", "glass", wanted, {row.name for row in rates.glasses}, "glasses")


def _polishing_of_unknown_glass(rates: Rates) -> list[ProblemDetail]:
    wanted = [(number, row.glass) for number, row in enumerate(rates.polishing) if row.glass is not None]
    return _unknown("polishing", "glass", wanted, {row.name for row in rates.glasses}, "glasses")


def _load_of_unknown_work_centre(rates: Rates) -> list[ProblemDetail]:
    wanted = [(number, row.name) for number, row in enumerate(rates.shop_load)]
    return _unknown("shop_load", "name", wanted, {row.name for row in rates.work_centres}, "work_centres")


def _work_centre_of_load_is_gone(rates: Rates) -> list[ProblemDetail]:
    gone = sorted({row.name for row in rates.shop_load} - {row.name for row in rates.work_centres})
    return [
        ProblemDetail(pointer="/rows", reason=f"shop_load still speaks of {name}", remedy="take it out of shop_load first")
        for name in gone
    ]


def _glass_of_stock_is_gone(rates: Rates) -> list[ProblemDetail]:
    gone = sorted({row.glass for row in rates.stock_forms} - {row.name for row in rates.glasses})
    return [
        ProblemDetail(pointer="/rows", reason=f"stock_forms still sells {name}", remedy="take it out of stock_forms first")
        for name in gone
    ]


def _base_currency(rates: Rates) -> list[ProblemDetail]:
    base = [number for number, row in enumerate(rates.currencies) if row.per_base == 1]
    if not base:
        return [ProblemDetail(pointer="/rows", reason="no currency is the base", limit=1, remedy="give one row per_base 1")]
    return [
        ProblemDetail(pointer=f"/rows/{number}/per_base", reason="a second currency is the base", figure=1, limit="one row with per_base 1",
                      remedy="give it its own rate")
        for number in base[1:]
    ]  # fmt: skip


def _a_day_to_work(rates: Rates) -> list[ProblemDetail]:
    if any(row.weekday is not None and row.hours > 0 for row in rates.calendar):
        return []
    return [ProblemDetail(pointer="/rows", reason="no weekday has working hours", figure=0, remedy="give a weekday its hours")]


def tables_of(rates: Rates) -> dict[str, tuple[RateRow, ...]]:
    """Every table of a set of rates by its name."""
    return {table: getattr(rates, table) for table in TABLES}
