"""Finding the row of the rates that an operation rests on. What is not there is a `RateMissing` that names it."""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping
from functools import lru_cache

from shared_schemas.operation_kinds import OperationName
from shared_schemas.rates import (
    CementingRow,
    GlassRow,
    GrindingRow,
    HardwareRow,
    InForce,
    PolishingRow,
    RateMissing,
    RateRow,
    Rates,
    ToleranceClassRow,
    TurningRow,
    YieldRow,
)


@lru_cache(maxsize=16)
def _yields_of(in_force: InForce) -> Mapping[tuple[str, str], YieldRow]:
    """The yields by operation and method, as they are asked for with every line."""
    return {(row.operation, row.method): row for row in in_force.rates.yields}


def largest_diameter_mm(rates: Rates, operation: OperationName, method: str | None = None) -> float:
    """The largest diameter that any work centre takes for an operation, by a method or by any [mm].

    Infinite where none says, and where none does it.
    """
    limits = [row.largest_diameter_mm for row in rates.work_centres if operation in row.operations and method in (None, row.method)]
    return float("inf") if not limits or None in limits else max(limit for limit in limits if limit is not None)


def yield_for(rates: Rates, operation: OperationName, method: str = "") -> YieldRow:
    """The yield of an operation: by its method if there is such a row, in general otherwise; raises `RateMissing`."""
    yields = _yields_of(InForce(rates))
    found = yields.get((operation, method)) or yields.get((operation, ""))
    if found is not None:
        return found
    raise RateMissing("yields", f"{operation} {method}".strip(), _names(rates.yields))


def grinding_row(rates: Rates, stage: str, grindability_hg: int | None = None, method: str = "") -> GrindingRow:
    """The row of a bound-diamond stage and its method, of a grindability class for `generate`; raises `RateMissing`."""
    for row in rates.grinding:
        if row.stage == stage and row.method == method and (grindability_hg is None or row.grindability_hg == grindability_hg):
            return row
    raise RateMissing("grinding", f"{stage} of class {grindability_hg}", _names(rates.grinding))


def grit_rows(rates: Rates, method: str) -> tuple[GrindingRow, ...]:
    """The fine-grinding ladder of a method, coarsest grit first; raises `RateMissing` when it has no rung."""
    rungs = (row for row in rates.grinding if row.stage == "fine_grind" and row.method in (method, ""))
    found = tuple(sorted(rungs, key=lambda row: -row.grit_um))
    if not found:
        raise RateMissing("grinding", f"fine_grind {method}", _names(rates.grinding))
    return found


def polishing_for(rates: Rates, glass: GlassRow, method: str) -> PolishingRow:
    """How a glass is polished by a method: by its own row if it has one, by its Knoop hardness otherwise; raises `RateMissing`."""
    rows = [row for row in rates.polishing if row.method == method]
    for row in rows:
        if row.glass == glass.name:
            return row
    if glass.knoop_hk is None:
        raise RateMissing("polishing", f"{glass.name} (its Knoop hardness is not in glasses)", _names(rates.polishing))
    for row in rows:
        if row.glass is None and row.knoop_over_hk < glass.knoop_hk <= row.knoop_up_to_hk:
            return row
    raise RateMissing("polishing", f"Knoop hardness {glass.knoop_hk:g}, {method}", _names(rates.polishing))


def tolerance_row(rates: Rates, attribute: str) -> ToleranceClassRow:
    """The knee and the classes of one tolerance; raises `RateMissing`."""
    for row in rates.tolerance_classes:
        if row.attribute == attribute:
            return row
    raise RateMissing("tolerance_classes", attribute, _names(rates.tolerance_classes))


def cementing_for(rates: Rates, centring_arcmin: float) -> CementingRow:
    """The plainest way of cementing that is fine enough; raises `RateMissing`."""
    for row in sorted(rates.cementing, key=lambda row: -row.finest_centring_arcmin):
        if row.finest_centring_arcmin <= centring_arcmin:
            return row
    raise RateMissing("cementing", f"a centring of {centring_arcmin:g} arcmin", _names(rates.cementing))


def hardware_of(rates: Rates, kinds: Container[str], material: str = "") -> tuple[HardwareRow, ...]:
    """Every size of a bought part of some kinds, smallest first; none where it is not bought by size."""
    found = (row for row in rates.hardware if row.kind in kinds and row.material in (material, ""))
    return tuple(sorted(found, key=lambda row: row.diameter_up_to_mm))


def turning_of(rates: Rates, kind: str) -> TurningRow:
    """How a part of the mount is turned; raises `RateMissing`."""
    for row in rates.turning:
        if row.kind == kind:
            return row
    raise RateMissing("turning", kind.replace("_", " "), _names(rates.turning))


def _names(rows: Iterable[RateRow]) -> tuple[str, ...]:
    return tuple(row.name for row in rows)
