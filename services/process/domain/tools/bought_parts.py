"""What is bought or turned for each lens: barrel, spacers, retaining ring, stop; what it is packed in, and its freight."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from services.optics.law import column, figure_of, given, law
from services.process.domain.element_work import ElementWork
from services.process.domain.route.rate_rows import hardware_of, turning_of
from services.process.domain.tools.stop_part import rim_beyond_vertex_mm, stop_is_a_plate
from services.process.domain.tools.turned_parts import TurnedShape, turned_mass_g, turned_part
from shared_schemas.check import Finding
from shared_schemas.figure import Figure
from shared_schemas.finding_kinds import finding
from shared_schemas.operations import FREIGHT, BoughtPart
from shared_schemas.prescription import Barrel, Prescription
from shared_schemas.rates import CommercialRow, HardwareRow, RateMissing, Rates

Group = tuple[ElementWork, ...]


@law
def price_between(*, below: Decimal, above: Decimal, share: float) -> Decimal:
    """Price between two sizes, to a ten-thousandth.

    Equation: round(below + (above - below) * share, 4)
    """
    return Decimal(repr(round(float(below) + (float(above) - float(below)) * share, 4)))


@law
def share_of_step(*, diameter_mm: float, below_mm: float, above_mm: float) -> float:
    """How far a diameter lies from the size below it to the one above it.

    Equation: (diameter_mm - below_mm) / (above_mm - below_mm)
    """
    return (diameter_mm - below_mm) / (above_mm - below_mm)


@law
def freight_by_weight(*, mass_g: float, per_kg: Decimal) -> Decimal:
    """Freight of one lens by its weight, to a ten-thousandth.

    Equation: round(mass_g / 1000 * per_kg, 4)
    """
    return Decimal(repr(round(mass_g / 1000 * float(per_kg), 4)))


@dataclass(frozen=True)
class Wanted:
    """A part of one lens: how many, of which size [mm], in which material, asked for by which figure; how it is turned, if it may be.

    `kinds` are those of the hardware that it may be bought as.
    """

    kinds: tuple[str, ...]
    count: int
    diameter_mm: float
    where: str
    material: str = ""
    turned: TurnedShape | None = None

    @property
    def words(self) -> str:
        """What it is called."""
        return f"{self.material} {self.kinds[0]}".strip().replace("_", " ")

    @property
    def name(self) -> str:
        """What a turned part is called, with its size."""
        length = "" if self.turned is None else f" x {float(self.turned.length.value):.3g}"
        return f"{self.kinds[0]}, {self.material}, {self.diameter_mm:.4g}{length} mm".replace("_", " ")


def parts_wanted(groups: Sequence[Group], prescription: Prescription, rates: Rates) -> Iterator[Wanted]:
    """The mount of a lens and what it is packed in; without a barrel each of its parts by itself.

    Raises: RateMissing for a kind of part that is neither bought nor turned by the rates.
    """
    if prescription.barrel is not None:
        yield from _mount(groups, prescription, prescription.barrel, rates)
    else:
        yield from _packed_apart(groups)


def _packed_apart(groups: Sequence[Group]) -> Iterator[Wanted]:
    """A place on a tray, or a box, for each part."""
    widths = Counter(_widest(group).diameter_mm for group in groups)
    for diameter, count in sorted(widths.items()):
        where = next(f"{_widest(group).where}/diameter_mm" for group in groups if _widest(group).diameter_mm == diameter)
        yield Wanted(("tray", "box"), count, diameter, where)


def _mount(groups: Sequence[Group], prescription: Prescription, barrel: Barrel, rates: Rates) -> Iterator[Wanted]:
    works = [work for group in groups for work in group]
    widest = _widest(works)
    at = f"{widest.where}/diameter_mm"
    bore = given("bore_mm", min(widest.diameter_mm, barrel.outer_diameter_mm), "mm", at=f"/prescription{at}")
    closest = min(works, key=lambda work: work.diameter_tolerance_mm)
    tolerance = given("tolerance_mm", closest.diameter_tolerance_mm, "mm", at=f"/check{closest.where}/diameter_tolerance_mm")
    outer = given("outer_mm", barrel.outer_diameter_mm, "mm", at="/prescription/barrel/outer_diameter_mm")
    length = given("length_mm", barrel.length_mm, "mm", at="/prescription/barrel/length_mm")
    shape = TurnedShape(outer, bore, length, holds=len(groups), tolerance=tolerance)
    yield Wanted(("barrel",), 1, barrel.outer_diameter_mm, "/barrel/outer_diameter_mm", barrel.material, shape)
    yield from _spacers(groups, prescription, barrel.material, rates)
    ring = given("outer_mm", widest.diameter_mm, "mm", at=f"/prescription{at}")
    yield _tube("retaining_ring", 1, ring, None, at, barrel.material, rates)
    if prescription.stop is not None and stop_is_a_plate(works, prescription):
        yield Wanted(("stop_plate",), 1, widest.diameter_mm, at)
    larger = max(barrel.outer_diameter_mm, barrel.length_mm)
    yield Wanted(("case",), 1, larger, "/barrel/length_mm" if larger == barrel.length_mm else "/barrel/outer_diameter_mm")


def _spacers(groups: Sequence[Group], prescription: Prescription, material: str, rates: Rates) -> Iterator[Wanted]:
    """A spacer for each air space, from rim to rim; those of one size are one part."""
    alike: dict[tuple[float, float], list[tuple[str, str]]] = {}
    gaps = [(number, space.gap_mm) for number, space in enumerate(prescription.spaces) if space.gap_mm is not None]
    for (number, gap_mm), before, behind in zip(gaps, groups, groups[1:], strict=False):
        wide = _widest((before[-1], behind[0]))
        length = gap_mm + rim_beyond_vertex_mm(before[-1].back) + rim_beyond_vertex_mm(behind[0].front)
        alike.setdefault((wide.diameter_mm, round(length, 6)), []).append((f"/spaces/{number}/gap_mm", wide.where))
    for (diameter, length), places in alike.items():
        where, wide_at = places[0]
        outer = given("outer_mm", diameter, "mm", at=f"/prescription{wide_at}/diameter_mm")
        rim_to_rim = given("length_mm", length, "mm", source="the gap on the axis, and the sagittas beside it: from rim to rim")
        yield _tube("spacer", len(places), outer, rim_to_rim, where, material, rates)


def _tube(kind: str, count: int, outer: Figure, length: Figure | None, where: str, material: str, rates: Rates) -> Wanted:
    """A spacer or a ring: its wall, and the least or usual length, are those of its row."""
    diameter = float(outer.value)
    if hardware_of(rates, (kind,), material):
        return Wanted((kind,), count, diameter, where, material)
    row = turning_of(rates, kind)
    ref = Rates.ref("turning", row)
    bore = given(
        "bore_mm", max(diameter - 2 * (row.wall_mm or 0.0), diameter / 2), "mm", source="the outer diameter less two walls"
    )
    usual = column("length_mm", row.length_mm or 1.0, "mm", ref)
    longer = usual if length is None or float(length.value) < float(usual.value) else length
    return Wanted((kind,), count, diameter, where, material, TurnedShape(outer, bore, longer))


def _widest(works: Sequence[ElementWork]) -> ElementWork:
    return max(works, key=lambda work: work.diameter_mm)


def bought_parts(wanted: Sequence[Wanted], rates: Rates) -> tuple[BoughtPart, ...]:
    """The parts with their prices; raises `RateMissing` for a kind that the rates do not have."""
    return tuple(_bought(one, rates) for one in wanted)


def too_large_to_buy(wanted: Sequence[Wanted], rates: Rates) -> Iterator[Finding]:
    """A stop for each part that is larger than any that the shop can buy or have turned."""
    for one in wanted:
        largest = _largest_mm(one, rates)
        if one.diameter_mm > largest:
            yield finding(
                "no-part-so-large",
                one.where,
                f"The {one.words} of the lens is for {one.diameter_mm:g} mm; the largest to be had is for {largest:g} mm.",
                figure=one.diameter_mm,
                limit=largest,
                unit="mm",
                remedy=f"at most {largest:g} mm, or a row for a larger one in hardware or turning",
            )


def _largest_mm(one: Wanted, rates: Rates) -> float:
    rows = hardware_of(rates, one.kinds, one.material)
    if rows:
        return rows[-1].diameter_up_to_mm
    if one.turned is None:
        raise RateMissing("hardware", one.words, tuple(row.name for row in rates.hardware))
    return turning_of(rates, one.kinds[0]).largest_diameter_mm


def _bought(one: Wanted, rates: Rates) -> BoughtPart:
    rows = hardware_of(rates, one.kinds, one.material)
    if not rows and one.turned is not None:
        return turned_part(one.name, one.kinds[0], one.material, one.turned, one.count, rates)
    above = next(row for row in rows if row.diameter_up_to_mm >= one.diameter_mm)
    below = next((row for row in reversed(rows) if row.diameter_up_to_mm < one.diameter_mm), above)
    price, lot = (_between(name, below, above, one, rates) for name in ("unit_price", "lot_charge"))
    return BoughtPart(
        name=above.name, count=one.count, lot_charge=Decimal(lot.value), unit_price=Decimal(price.value), lead_days=above.lead_days,
        basis=(
            price, lot, column("lead_days", above.lead_days, "days", Rates.ref("hardware", above)),
            given("count", one.count, source="the drawing: parts of this size in one lens"),
        ),
    )  # fmt: skip


def _between(name: str, below: HardwareRow, above: HardwareRow, one: Wanted, rates: Rates) -> Figure:
    """A price at a diameter: that of the row below the smallest, in proportion between two."""
    unit = rates.base_currency
    at = [column(name, getattr(row, name), unit, Rates.ref("hardware", row)) for row in (below, above)]
    if below is above:
        return at[1]
    share = figure_of(
        share_of_step, unit="", diameter_mm=given("diameter_mm", one.diameter_mm, "mm", at=f"/prescription{one.where}"),
        below_mm=column("diameter_up_to_mm", below.diameter_up_to_mm, "mm", Rates.ref("hardware", below)),
        above_mm=column("diameter_up_to_mm", above.diameter_up_to_mm, "mm", Rates.ref("hardware", above)),
    )  # fmt: skip
    return figure_of(price_between, name=name, unit=unit, below=at[0], above=at[1], share=share)


def freight(wanted: Sequence[Wanted], glass_g: float, terms: CommercialRow, rates: Rates) -> Iterator[BoughtPart]:
    """What the shop pays for the way of the goods by the terms; nothing where they are sold ex works.

    Args:
        glass_g: mass of the glass of one lens [g].
    """
    if not terms.freight_per_lot and not terms.freight_per_kg:
        return
    ref, unit = Rates.ref("commercial", terms), rates.base_currency
    metal_g = sum(one.count * turned_mass_g(one.turned, rates.metal(one.material)) for one in wanted if one.turned is not None)
    mass = given("mass_g", glass_g + metal_g, "g", source="glass of the check report, and turned metal")
    each = figure_of(
        freight_by_weight,
        name="unit_price",
        unit=unit,
        mass_g=mass,
        per_kg=column("freight_per_kg", terms.freight_per_kg, f"{unit}/kg", ref),
    )
    lot = column("lot_charge", terms.freight_per_lot, unit, ref)
    yield BoughtPart(
        name=f"{FREIGHT}{terms.freight_terms}", count=1, lot_charge=terms.freight_per_lot, unit_price=Decimal(each.value), lead_days=0.0,
        basis=(each, lot),
    )  # fmt: skip
