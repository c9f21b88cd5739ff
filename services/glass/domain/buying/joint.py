"""What do several lenses pay for their glass when they buy together?

Blanks that are alike are one purchase; blanks of one glass that come out of the same slab or strip row share the slabs, and
those of one thickness the plates. Nobody's blank changes: no thickness is merged upward, since the lenses are quoted already.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal

import numpy as np

from services.glass.domain.blank.grades import GradeKey
from services.glass.domain.blank.options import PLATE_FORMS, BlankOption, density_of
from services.glass.domain.blank.ways import Fitted, ways_of
from services.glass.domain.buying.groups import owned_once, without_store
from services.glass.domain.buying.lots import cheapest_lots, lot_for
from services.glass.domain.buying.purchase import Lot
from services.glass.domain.buying.sharing import Partition, shared_offer
from services.glass.errors import BlanksForNoElement, CheckOfAnotherLens
from services.optics.seats import bodies_of
from services.shop.layout.rows import HAIR_MM
from shared_schemas.blanks import BuyingFor, JointPurchase, JointPurchases
from shared_schemas.by_hand import LensToBuyFor
from shared_schemas.check import Finding
from shared_schemas.rates import GlassRow, Rates
from shared_schemas.traveller import Refusal


@dataclass(frozen=True)
class Want:
    """Blanks that are alike, for some elements of some lenses, and the ways to them by name of the stock row."""

    buying_for: tuple[BuyingFor, ...]
    options: Mapping[str, BlankOption]

    @property
    def blanks(self) -> int:
        return sum(one.blanks for one in self.buying_for)

    @property
    def names(self) -> tuple[str, ...]:
        """Lens and element of every member."""
        return tuple(f"{one.lens} {one.element}" for one in self.buying_for)

    @property
    def name(self) -> str:
        """What the blanks are called in the plates: the first member."""
        return self.names[0]


@dataclass(frozen=True)
class Bought:
    """A lot, and the wants that it serves."""

    wants: tuple[Want, ...]
    lot: Lot


def buy_together(*, lenses: Sequence[LensToBuyFor], rates: Rates) -> JointPurchases | Refusal:
    """The glass of several lenses, glass by glass; a refusal where an element has no blank.

    Raises `CheckOfAnotherLens`, `BlanksForNoElement` for blanks of an element that the lens does not have, and what
    `plan_blanks` raises for faults of the rates.
    """
    wants: dict[tuple[str, GradeKey], list[Want]] = {}
    glasses: dict[str, GlassRow] = {}
    reasons: list[Finding] = []
    for place, lens in enumerate(lenses):
        for way, blanks, element in _ways_of_lens(lens, place, rates):
            if isinstance(way, Finding):
                reasons.append(way.model_copy(update={"pointer": f"/lenses/{place}/prescription{way.pointer}"}))
                continue
            glasses[way.glass.name] = way.glass
            member = BuyingFor(lens=lens.name, element=element, blanks=blanks)
            wants.setdefault((way.glass.name, way.grade.key), []).append(Want((member,), way.options))
    if reasons:
        return Refusal(stage="glass", reasons=tuple(reasons))
    minor_units = rates.currency(rates.base_currency).minor_units
    of_glasses = tuple(_of_one_glass(glasses[name], of_glass, minor_units) for (name, _), of_glass in wants.items())
    apart, cost = sum((one.cost_apart for one in of_glasses), Decimal(0)), sum((one.cost for one in of_glasses), Decimal(0))
    return JointPurchases(currency=rates.base_currency, glasses=of_glasses, cost_apart=apart, cost=cost, saving=apart - cost)


def cheapest_together(*, wants: Sequence[Want], density_g_cm3: float, minor_units: int) -> tuple[Bought, ...]:
    """The cheapest purchases found for some wants of one glass: out of one shared row those that gain by it, the others as they do best.

    Notes: for every row, all who could share it do, and those leave, one after the other, for whom their own lot is cheaper;
    the rest looks for a row to share in turn. Never dearer than every want for itself.
    """
    alone = {want.name: _alone(want, minor_units) for want in _store_once(wants)}
    best_gain, best_shared, best_row = Decimal(0), None, ""
    for row in sorted({name for want in wants for name, one in want.options.items() if one.stock.form in PLATE_FORMS}):
        shared = _shared(row, [want for want in wants if row in want.options], alone, density_g_cm3, minor_units)
        if shared is not None:
            gain = sum((alone[want.name].cost for want in shared.wants), Decimal(0)) - shared.lot.cost
            if gain > best_gain:
                best_gain, best_shared, best_row = gain, shared, row
    if best_shared is None:
        return tuple(Bought((want,), alone[want.name]) for want in wants)
    served = {want.name for want in best_shared.wants}
    rest = [_bare(want, best_row) for want in wants if want.name not in served]
    others = cheapest_together(wants=rest, density_g_cm3=density_g_cm3, minor_units=minor_units) if rest else ()
    return (best_shared, *others)


def _ways_of_lens(lens: LensToBuyFor, place: int, rates: Rates) -> Iterator[tuple[Fitted | Finding, int, str]]:
    elements, bodies = lens.prescription.elements, bodies_of(lens.prescription)
    drawn, checked = tuple(one.name for one in elements), tuple(one.name for one in lens.check.elements)
    if drawn != checked:
        raise CheckOfAnotherLens(checked, drawn)
    for name in lens.blanks:
        if name not in drawn:
            raise BlanksForNoElement(lens.name, name, place, drawn)
    for position, (element, check) in enumerate(zip(elements, lens.check.elements, strict=True)):
        if element.name in lens.blanks:
            renamed = element.model_copy(update={"name": f"{lens.name} {element.name}"})
            yield (
                ways_of(position=position, element=renamed, finished=bodies[position], checked=check, rates=rates),
                lens.blanks[element.name],
                element.name,
            )


def _of_one_glass(glass: GlassRow, wants: Sequence[Want], minor_units: int) -> JointPurchase:
    density = density_of(glass)
    members = tuple(member for want in wants for member in want.buying_for)
    by_lens: dict[str, list[Want]] = {}
    for want in _store_once(wants):
        by_lens.setdefault(want.buying_for[0].lens, []).append(want)
    apart = {
        lens: cheapest_together(wants=_alike(own), density_g_cm3=density, minor_units=minor_units) for lens, own in by_lens.items()
    }
    apart_of = {lens: _cost(bought) for lens, bought in apart.items()}
    cost_apart = sum(apart_of.values(), Decimal(0))
    bought = cheapest_together(wants=_alike(wants), density_g_cm3=density, minor_units=minor_units)
    if _cost(bought) >= cost_apart:
        bought = tuple(one for own in apart.values() for one in own)
    return JointPurchase(
        glass=glass.name,
        buying_for=members,
        cost_apart=cost_apart,
        cost=_cost(bought),
        shares=_shares(_cost(bought), apart_of, minor_units),
        lead_days=max(one.lot.lead_days for one in bought),
        bought_mass_g=sum(one.lot.bought_mass_g for one in bought),
        purchases=tuple(purchase.line(_names(part)) for part in bought for purchase in part.lot.purchases),
    )


def _alike(wants: Sequence[Want]) -> list[Want]:
    """Wants whose blanks are the same out of every row become one."""
    by_sizes: dict[tuple[tuple[str, float, float], ...], Want] = {}
    for want in wants:
        key = tuple(
            (row, round(one.shape.diameter_mm, 6), round(one.shape.thickness_mm, 6)) for row, one in sorted(want.options.items())
        )
        known = by_sizes.get(key)
        by_sizes[key] = want if known is None else Want((*known.buying_for, *want.buying_for), known.options)
    return list(by_sizes.values())


def _store_once(wants: Sequence[Want]) -> list[Want]:
    """The wants, what lies in the store left to one of them."""
    options = owned_once({want.name: want.options for want in wants})
    return [Want(want.buying_for, options[want.name]) for want in wants]


def _bare(want: Want, row: str) -> Want:
    """The want, with nothing of a row in the store any more."""
    return Want(want.buying_for, {name: without_store(one) if name == row else one for name, one in want.options.items()})


def _alone(want: Want, minor_units: int) -> Lot:
    lots = cheapest_lots(sources=[one.source for one in want.options.values()], up_to_blanks=want.blanks, minor_units=minor_units)
    return lot_for(lots=lots, blanks=want.blanks)


def _shared(row: str, wants: Sequence[Want], alone: Mapping[str, Lot], density_g_cm3: float, minor_units: int) -> Bought | None:
    """One lot of a row for those wants that gain by it, `None` where they are fewer than two."""
    kept = list(wants)
    while len(kept) > 1:
        lot = _lot_of(row, kept, density_g_cm3, minor_units)
        without = {
            want.name: _lot_of(row, [one for one in kept if one is not want], density_g_cm3, minor_units).cost
            + alone[want.name].cost
            for want in kept
        }
        leaving = min(kept, key=lambda want: without[want.name])
        if without[leaving.name] >= lot.cost:
            return Bought(tuple(kept), lot)
        kept.remove(leaving)
    return None


def _lot_of(row: str, wants: Sequence[Want], density_g_cm3: float, minor_units: int) -> Lot:
    options = [want.options[row] for want in wants]
    numbers = np.array([[want.blanks] for want in wants])
    offer = shared_offer(
        options=options, partition=_by_thickness(options), numbers=numbers, density_g_cm3=density_g_cm3, minor_units=minor_units
    )
    return offer.lot(0)


def _by_thickness(options: Sequence[BlankOption]) -> Partition:
    by_thickness: dict[int, list[str]] = {}
    for option in options:
        by_thickness.setdefault(round(option.shape.thickness_mm / HAIR_MM), []).append(option.element.name)
    return tuple(tuple(names) for names in by_thickness.values())


def _cost(bought: Sequence[Bought]) -> Decimal:
    return sum((one.lot.cost for one in bought), Decimal(0))


def _shares(cost: Decimal, apart: Mapping[str, Decimal], minor_units: int) -> dict[str, Decimal]:
    """The cost parted in proportion to what each would pay alone, in whole minor units; who pays most takes up what is left."""
    total = sum(apart.values(), Decimal(0))
    unit = Decimal(1).scaleb(-minor_units)
    shares = {lens: (cost * own / total).quantize(unit, rounding=ROUND_FLOOR) for lens, own in apart.items()}
    largest = max(shares, key=lambda lens: shares[lens])
    shares[largest] += cost - sum(shares.values(), Decimal(0))
    return shares


def _names(bought: Bought) -> tuple[str, ...]:
    return tuple(name for want in bought.wants for name in want.names)
