"""Elements of one glass out of the same slabs: plates shared between them, thin blanks out of thicker plates where that is less glass.

Everything is planned for n blanks of every element. Blanks of one plate thickness are a class; a class may take in thinner
blanks. In a plate of larger discs, seats that are left over serve smaller ones.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cached_property
from typing import NamedTuple

import numpy as np

from services.glass.domain.blank.options import BlankOption
from services.glass.domain.buying.purchase import Amounts, Counts, Lot, Purchase, Source, amounts, bought, taken
from services.glass.domain.buying.slabs import Slabs, per_slab, slabs_needed
from services.glass.domain.cutting.seats import Kind, gap_seats
from services.optics.law import law
from services.shop.layout.rows import HAIR_MM
from services.shop.minutes import per_minute
from services.shop.purchases import lot_cost
from services.shop.removal import generated_mm3_per_min
from shared_schemas.rates import GrindingRow, Rates, WorkCentreRow

Partition = tuple[tuple[str, ...], ...]
"""Names of the elements that come out of plates of one thickness, class by class."""


@dataclass(frozen=True)
class PlateClass:
    """Plates of one thickness: which elements come out of them, and how many there are."""

    thickness_mm: float
    elements: tuple[str, ...]
    plates: int


@dataclass(frozen=True)
class SharedLot(Lot):
    """A lot that serves several elements: so many blanks of each, and the plates that the slabs are sawn into."""

    classes: tuple[PlateClass, ...] = ()


class _Shelf(NamedTuple):
    """What a stock row offers to the options: them by rising thickness, cut, depth of a piece, mass of a millimetre of depth."""

    options: tuple[BlankOption, ...]
    kerf_mm: float
    capacity_mm: float
    kg_per_mm: float
    bought: Source
    store: Source


def shared_offer(
    *, options: Sequence[BlankOption], partition: Partition, numbers: Counts, density_g_cm3: float, minor_units: int
) -> SharedOffer:
    """What one slab or strip row offers for several numbers of blanks.

    Args:
        options: the elements' ways out of the same row, two or more.
        numbers: blanks of every element alike, shape (k,), or of each option its own, shape (options, k).
        partition: which elements come out of plates of one thickness.

    Notes: slabs are as few as `slabs_needed` knows.
    """
    shelf = _shelf(options, density_g_cm3)
    wanted = np.broadcast_to(numbers, (len(options), np.shape(numbers)[-1]))
    place_of = {option.element.name: place for place, option in enumerate(options)}
    classes = []
    for members in partition:
        places = [place_of[name] for name in members]
        thickness = max(options[place].shape.thickness_mm for place in places)
        kinds_of_class = [Kind.of(options[place]) for place in places]
        classes.append((thickness, members, plates_for(kinds=kinds_of_class, numbers=wanted[places])))
    classes.sort(key=lambda one: -one[0])
    depths = tuple(thickness + shelf.kerf_mm for thickness, _, _ in classes)
    counts = list(zip(*(plates.tolist() for _, _, plates in classes), strict=True))
    slabs = [slabs_needed(plates, depths, shelf.capacity_mm) for plates in counts]
    kinds = tuple((thickness, members) for thickness, members, _ in classes)
    return SharedOffer(shelf, kinds, tuple(counts), tuple(slabs), wanted, minor_units)


@dataclass(frozen=True)
class SharedOffer:
    """Lots of one row for several numbers of blanks: what each costs, and the lot itself for those that are taken."""

    shelf: _Shelf
    kinds: tuple[tuple[float, tuple[str, ...]], ...]
    counts: tuple[tuple[int, ...], ...]
    slabs: tuple[Slabs, ...]
    wanted: Counts
    """Blanks of each option, shape (options, k)."""
    minor_units: int

    def rest_kg(self, place: int) -> float:
        """Mass [kg] of the remnant: none where not even a plate of the thinnest kind comes out of it."""
        rest_mm = self.slabs[place].rest_mm
        thinnest = self.kinds[-1][0] + self.shelf.kerf_mm
        return round(rest_mm * self.shelf.kg_per_mm, 6) if per_slab(thinnest, rest_mm) else 0.0

    @cached_property
    def costs(self) -> Amounts:
        """Cost of each lot in floating point, shape (k,): to choose by, not to pay."""
        whole, store = self.shelf.bought, self.shelf.store
        pieces = np.array([slabs.number for slabs in self.slabs])
        rest = np.array([self.rest_kg(place) for place in range(len(self.slabs))])
        own = np.minimum(pieces, whole.stock.owned_pieces)
        buying = pieces - own
        unsawn = rest / float(whole.plate_kg)
        offers = [amounts(whole, np.maximum(np.maximum(buying, whole.least), first), buying - unsawn) for first, _ in whole.steps]
        bought_for = np.where(buying > 0, np.min(offers, axis=0), 0.0)
        used = own - np.where(buying > 0, 0.0, rest / float(whole.piece_kg))
        costs: Amounts = bought_for + amounts(store, own, used)
        return costs

    def lot(self, place: int) -> SharedLot:
        """The lot at one of the numbers."""
        wanted = self.wanted[:, place]
        classes = tuple(
            PlateClass(thickness, members, plates)
            for (thickness, members), plates in zip(self.kinds, self.counts[place], strict=True)
        )
        purchases = _pieces(
            self.shelf,
            self.slabs[place].number,
            Decimal(repr(self.rest_kg(place))),
            sum(self.counts[place]),
            int(wanted.sum()),
        )
        cost = lot_cost(amounts=[one.amount for one in purchases], minor_units=self.minor_units)
        return SharedLot(purchases, int(wanted.max()), cost, classes)


def best_partition(
    *, options: Sequence[BlankOption], number: int, density_g_cm3: float, grinding: Grinding | None
) -> tuple[Partition, float]:
    """The way to part the elements into plate thicknesses that costs least at a number of blanks, and the work that it adds.

    Args:
        grinding: where it is ground away that a blank is thicker than it need be; `None`: only equal thicknesses are one class.

    Notes: all partings in the order of thickness are looked at, by the depth of glass that they take and what is ground away of it.
    Source: derived.
    """
    shelf = _shelf(options, density_g_cm3)
    source = options[0].source
    kinds = [Kind.of(option) for option in shelf.options]
    price_per_mm = shelf.kg_per_mm * float(source.steps[0][1])
    least: list[tuple[float, float, Partition]] = [(0.0, 0.0, ())]
    for last, thickest in enumerate(shelf.options):
        offers = []
        for first in range(last, -1, -1):
            members = shelf.options[first : last + 1]
            work = added_work(options=members, number=number, grinding=grinding)
            if not math.isfinite(work):
                break
            plates = int(plates_for(kinds=kinds[first : last + 1], numbers=np.array([number]))[0])
            glass = plates * (thickest.shape.thickness_mm + shelf.kerf_mm) * price_per_mm
            total, so_far, partition = least[first]
            names = tuple(option.element.name for option in members)
            offers.append((total + glass + work, so_far + work, (*partition, names)))
        least.append(min(offers, key=lambda offer: offer[0]))
    return least[-1][2], least[-1][1]


def added_work(*, options: Sequence[BlankOption], number: int, grinding: Grinding | None) -> float:
    """What grinding costs more [base currency] when blanks come out of plates as thick as the thickest of them wants; infinite where unknown."""
    thickness = max(option.shape.thickness_mm for option in options)
    thinner = [option for option in options if thickness > option.shape.thickness_mm + HAIR_MM]
    if not thinner:
        return 0.0
    if grinding is None:
        return math.inf
    return number * math.fsum(
        option.shape.volume_mm3
        * (thickness / option.shape.thickness_mm - 1)
        * grinding.cost_per_mm3(diameter_mm=option.shape.diameter_mm)
        for option in thinner
    )


CLASS_OF_THE_ROW = 3
"""Grindability class that holds where a glass has none (ISO 12844)."""


REFERENCE_DIAMETER_MM = 25.0
"""Diameter of a blank at which rows of generating are held against each other."""


@law
def grinding_cost_per_mm3(*, minute_cost: float, removal_mm3_per_min: float) -> float:
    """Cost of grinding away a cubic millimetre [base currency].

    Equation: minute_cost / removal_mm3_per_min
    Source: derived.
    """
    return minute_cost / removal_mm3_per_min


@dataclass(frozen=True)
class Grinding:
    """Where glass that is left on a blank is ground away by curve generating: the cheapest machine, and the fastest row for the glass."""

    centre: WorkCentreRow
    row: GrindingRow

    @property
    def minute_cost(self) -> float:
        """A minute of the machine, and of a person for the share of it that is attended [base currency]."""
        return per_minute(self.centre).attended(self.centre.attended_share)

    def removal_mm3_per_min(self, diameter_mm: float) -> float:
        """What is taken off a face of a blank of a diameter [mm] in a minute."""
        return generated_by(self.row, diameter_mm=diameter_mm)

    def cost_per_mm3(self, *, diameter_mm: float) -> float:
        """Cost of a cubic millimetre off a blank of a diameter [mm] [base currency]."""
        removal = self.removal_mm3_per_min(diameter_mm)
        return grinding_cost_per_mm3(minute_cost=self.minute_cost, removal_mm3_per_min=removal)


def generated_by(row: GrindingRow, *, diameter_mm: float) -> float:
    """What a row of generating takes off a face of a diameter [mm], in mm3 a minute; 0 where it does not say."""
    if row.infeed_mm_per_min is None:
        return row.removal_mm3_per_min or 0.0
    limit = math.inf if row.removal_limit_mm3_per_min is None else row.removal_limit_mm3_per_min
    return generated_mm3_per_min(
        infeed_mm_per_min=row.infeed_mm_per_min, blank_diameter_mm=diameter_mm, removal_limit_mm3_per_min=limit
    )


def cheapest_grinding(*, grindability_hg: int | None, rates: Rates) -> Grinding | None:
    """The machine and the row that glass left on a blank is ground away by; `None` where no row says."""
    wanted = grindability_hg or CLASS_OF_THE_ROW
    of_class = [row for row in rates.grinding if row.stage == "generate" and not row.method and row.grindability_hg == wanted]
    rows = [row for row in of_class if generated_by(row, diameter_mm=REFERENCE_DIAMETER_MM)]
    centres = [centre for centre in rates.work_centres if "generate" in centre.operations and not centre.method]
    if not rows or not centres:
        return None
    centre = min(centres, key=lambda one: (one.priority, per_minute(one).attended(one.attended_share), one.id))
    return Grinding(centre, max(rows, key=lambda row: generated_by(row, diameter_mm=REFERENCE_DIAMETER_MM)))


def _shelf(options: Sequence[BlankOption], density_g_cm3: float) -> _Shelf:
    stock = options[0].stock
    kerf = max(option.allowances.saw_kerf.allowance_mm for option in options)
    skin = max(option.allowances.skin.allowance_mm for option in options)
    length, width, depth = stock.length_mm or 0.0, stock.width_mm or 0.0, stock.thickness_mm or 0.0
    by_thickness = sorted(options, key=lambda option: (option.shape.thickness_mm, option.element.name))
    capacity, kg_per_mm = depth - 2 * skin + kerf, length * width * density_g_cm3 * 1e-6
    whole = Source(stock, 1, 1, options[0].piece_mass_g, capacity * kg_per_mm * 1000)
    return _Shelf(tuple(by_thickness), kerf, capacity, kg_per_mm, whole, replace(whole, owned=True))


def plates_for(*, kinds: Sequence[Kind], numbers: Counts) -> Counts:
    """Plates that give `numbers` discs; a seat for a larger disc takes a smaller one, and so does a gap in a full plate.

    Args:
        numbers: discs of every kind alike, shape (k,), or of each kind its own, shape (kinds, k); the answer has shape (k,).

    Notes: largest discs first: what a seat serves is best the largest that is still without one. `laid_out` lays the very plates.
    Source: derived.
    """
    wanted = np.broadcast_to(numbers, (len(kinds), np.shape(numbers)[-1]))
    plates: Counts = np.zeros_like(wanted[0])
    free = np.zeros_like(wanted[0])
    gaps: dict[str, Counts] = {}
    order = sorted(range(len(kinds)), key=lambda place: (-kinds[place].diameter_mm, kinds[place].owner))
    by_size = [kinds[place] for place in order]
    for place, kind in enumerate(by_size):
        asked = wanted[order[place]]
        free = free + gaps.get(kind.owner, 0)
        wanting = np.maximum(asked - free, 0)
        own = -(-wanting // kind.discs_per_plate)
        free = free + own * kind.discs_per_plate - asked
        if place + 1 < len(by_size):
            owner, seats = gap_seats(kind=kind, smaller=by_size[place + 1 :])
            if seats:
                gaps[owner] = gaps.get(owner, 0) + seats * (wanting // kind.discs_per_plate)
        plates = plates + own
    return plates


def _pieces(shelf: _Shelf, pieces: int, rest_kg: Decimal, plates: int, blanks: int) -> tuple[Purchase, ...]:
    """So many pieces: what is owned first, then bought, as few as needed or as many as reach the minimum order or a price step."""
    whole = shelf.bought
    own = min(pieces, whole.stock.owned_pieces)
    purchases = []
    if own:
        used_kg = own * whole.piece_kg - (rest_kg if own == pieces else 0)
        share = plates * own // pieces
        purchases.append(taken(source=shelf.store, pieces=own, used_kg=used_kg, plates=share, blanks=blanks * own // pieces))
        plates, blanks = plates - share, blanks - purchases[0].blanks
    if pieces > own:
        numbers = {max(pieces - own, whole.least, first) for first, _ in whole.steps}
        offers = [
            bought(source=whole, pieces=number, unsawn_kg=rest_kg + (number - pieces + own) * whole.plate_kg, plates=plates, blanks=blanks)
            for number in sorted(numbers)
        ]  # fmt: skip
        purchases.append(min(offers, key=lambda offer: offer.amount))
    return tuple(purchases)
