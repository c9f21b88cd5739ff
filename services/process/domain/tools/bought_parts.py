"""What is bought for each lens: barrel, spacers, retaining ring, case."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from services.optics.law import column, given
from services.process.domain.element_work import ElementWork
from services.process.domain.route.rate_rows import hardware_for, hardware_of
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.operations import BoughtPart
from shared_schemas.prescription import Prescription
from shared_schemas.rates import HardwareRow, Rates


@dataclass(frozen=True)
class Wanted:
    """A kind of bought part: how many, for what outer diameter [mm], in which material, asked for by which figure."""

    kind: str
    count: int
    diameter_mm: float
    material: str
    where: str


def parts_wanted(groups: Sequence[tuple[ElementWork, ...]], prescription: Prescription) -> Iterator[Wanted]:
    """Barrel, a spacer for each air space, a retaining ring, a case; only the case for a lens without a barrel."""
    elements = [work for group in groups for work in group]
    widest = max(elements, key=lambda work: work.diameter_mm)
    where = f"{widest.where}/diameter_mm"
    barrel = prescription.barrel
    if barrel is not None:
        yield Wanted("barrel", 1, barrel.outer_diameter_mm, barrel.material, "/barrel/outer_diameter_mm")
        if len(groups) > 1:
            yield Wanted("spacer", len(groups) - 1, widest.diameter_mm, "", where)
        yield Wanted("retaining_ring", 1, widest.diameter_mm, "", where)
    yield Wanted("case", 1, widest.diameter_mm, "", where)


def bought_parts(wanted: Sequence[Wanted], rates: Rates) -> tuple[BoughtPart, ...]:
    """The bought parts with their prices; raises `RateMissing` for a kind that the rates do not have."""
    return tuple(
        _bought(hardware_for(rates, one.kind, one.diameter_mm, one.material), one.count, rates.base_currency) for one in wanted
    )


def too_large_to_buy(wanted: Sequence[Wanted], rates: Rates) -> Iterator[Finding]:
    """A stop for each part that is larger than any that the shop can buy."""
    for one in wanted:
        largest = max(row.diameter_up_to_mm for row in hardware_of(rates, one.kind, one.material))
        if one.diameter_mm > largest:
            name = f"{one.material} {one.kind}".strip().replace("_", " ")
            yield finding(
                "no-part-so-large",
                one.where,
                f"The lens needs a {name} for {one.diameter_mm:g} mm; the largest to be bought is for {largest:g} mm.",
                figure=one.diameter_mm,
                limit=largest,
                unit="mm",
                remedy=f"at most {largest:g} mm, or a row for a larger one in hardware",
            )


def _bought(row: HardwareRow, count: int, currency: str) -> BoughtPart:
    ref = Rates.ref("hardware", row)
    return BoughtPart(
        name=row.name, count=count, lot_charge=row.lot_charge, unit_price=row.unit_price, lead_days=row.lead_days,
        basis=(
            column("unit_price", row.unit_price, currency, ref),
            column("lot_charge", row.lot_charge, currency, ref),
            column("lead_days", row.lead_days, "days", ref),
            column("diameter_up_to_mm", row.diameter_up_to_mm, "mm", ref),
            given("count", count, source="the drawing: one barrel, ring and case, a spacer for each air space"),
        ),
    )  # fmt: skip
