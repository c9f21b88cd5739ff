"""The route of the lens itself: kitting, mounting, alignment, test, packing; and what is bought for it."""

from __future__ import annotations

from collections.abc import Sequence

from services.process.domain.element_work import ElementWork
from services.process.domain.group_route import group_name
from services.process.domain.operation_lines import line
from services.process.domain.rate_rows import hardware_for
from shared_schemas.figure import Figure
from shared_schemas.operations import BoughtPart, Consumed, Operation, OperationName, Route
from shared_schemas.prescription import Prescription
from shared_schemas.rates import AssemblyRow, HardwareRow, RateMissing, Rates

LENS = "lens"


def lens_route(groups: Sequence[tuple[ElementWork, ...]], prescription: Prescription, rates: Rates) -> Route:
    """Route of the lens. Without a barrel the parts are inspected and packed as they are."""
    parts = tuple(Consumed(part=group_name(group) if len(group) > 1 else group[0].name) for group in groups)
    counts = {
        "lens": 1.0,
        "part": float(len(groups)),
        "space": float(len(groups) - 1),
        "element": float(sum(len(group) for group in groups)),
        "character": float(prescription.barrel.engraved_characters if prescription.barrel else 0),
    }
    operations: list[Operation] = []
    if prescription.barrel is not None:
        operations += [line("blacken_edge", rates), _step("assemble", counts, rates)]
        if counts["character"]:
            operations.append(_step("engrave", counts, rates))
        operations += [_step("align", counts, rates), _step("final_test", counts, rates)]
    operations.append(_step("pack", counts, rates))
    return Route(part=LENS, kind="lens", consumes=parts, operations=tuple(operations))


def _step(operation: OperationName, counts: dict[str, float], rates: Rates) -> Operation:
    rows = [row for row in rates.assembly if row.operation == operation]
    if not rows:
        raise RateMissing("assembly", operation, tuple(row.name for row in rates.assembly))
    per_lot = [row for row in rows if row.per == "lot"]
    per_lens = [row for row in rows if row.per != "lot"]
    minutes = sum(row.minutes * counts[row.per] for row in per_lens)
    attended = sum(row.minutes * counts[row.per] * row.attended_share for row in per_lens)
    return line(
        operation, rates, each_min=minutes, extra_setup_min=sum(row.minutes for row in per_lot),
        attended_share=attended / minutes if minutes else 1.0,
        run_basis=(
            Figure(name="each", value=minutes, unit="min", formula="sum of minutes x count", inputs=tuple(_counted(row, counts) for row in per_lens)),
        ),
        batch_basis=(Figure(name="pieces", value=1, formula="one at a time"),),
    )  # fmt: skip


def _counted(row: AssemblyRow, counts: dict[str, float]) -> Figure:
    return Figure(
        name=row.name, value=row.minutes * counts[row.per], unit="min", formula=f"minutes x {counts[row.per]:g} ({row.per})",
        rate_row=Rates.ref("assembly", row),
    )  # fmt: skip


def bought_parts(groups: Sequence[tuple[ElementWork, ...]], prescription: Prescription, rates: Rates) -> tuple[BoughtPart, ...]:
    """Barrel, a spacer for each air space, a retaining ring, a case; only the case for a lens without a barrel."""
    widest = max(work.diameter_mm for group in groups for work in group)
    found = []
    if prescription.barrel is not None:
        barrel = hardware_for(rates, "barrel", prescription.barrel.outer_diameter_mm, prescription.barrel.material)
        found.append(_bought(barrel, 1))
        if len(groups) > 1:
            found.append(_bought(hardware_for(rates, "spacer", widest), len(groups) - 1))
        found.append(_bought(hardware_for(rates, "retaining_ring", widest), 1))
    found.append(_bought(hardware_for(rates, "case", widest), 1))
    return tuple(found)


def _bought(row: HardwareRow, count: int) -> BoughtPart:
    figure = Figure(name="unit_price", value=row.unit_price, rate_row=Rates.ref("hardware", row))
    return BoughtPart(
        name=row.name, count=count, lot_charge=row.lot_charge, unit_price=row.unit_price, lead_days=row.lead_days, basis=(figure,)
    )
