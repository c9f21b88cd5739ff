"""Which lots to buy for n blanks of one kind, for every n: several stock rows together, exactly.

The state of the dynamic program is the number of blanks that the sources looked at so far give; a stage is a source:
F_k(n) = min over q of F_(k-1)(n - q d_k) + C_k(q), with d_k blanks out of a plate and C_k(q) the least amount for q plates.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache

import numpy as np

from services.glass.domain.buying.purchase import (
    Amounts,
    Counts,
    Lot,
    PlateCosts,
    Purchase,
    Source,
    ladder_falls,
    plate_costs,
    purchase_of,
)
from services.shop.purchases import lot_cost

EXACT_BLANKS = 1500
"""Up to this many blanks all sources are combined exactly; beyond, a lot is of one source, and part of a piece matters little."""

EXACT_LOTS = 32
"""So many lots are all steps of their own."""

COARSER_BY = 16
"""Beyond, the next step is a sixteenth larger, and what lies between is charged as that: at most 6.25 % too much, never too little."""

DAY_OF_LEAD = 1e-7
"""What a day of lead time weighs in the base currency: it decides between equal amounts only."""


@dataclass(frozen=True)
class _Stage:
    source: Source
    costs: PlateCosts
    taken: Counts
    """Plates of this source in the cheapest way to have so many blanks."""


def cheapest_lots(*, sources: Sequence[Source], up_to_blanks: int, minor_units: int) -> tuple[Lot, ...]:
    """The cheapest lot for any number of blanks: that for n is the first one with `blanks` >= n; the last has `up_to_blanks` or more.

    Blanks and costs rise strictly from lot to lot. A smaller `up_to_blanks` cuts the tail off and changes nothing before it. Of equal cost the shorter lead time wins. What is owned is in no lot
    but those it serves once: the last lot, which may be bought again and again, has nothing of it.
    """
    return _cheapest_lots(tuple(sources), up_to_blanks, minor_units)


@lru_cache(maxsize=512)
def _cheapest_lots(sources: tuple[Source, ...], up_to_blanks: int, minor_units: int) -> tuple[Lot, ...]:
    everything = (*(replace(source, owned=True) for source in sources if source.stock.owned_pieces), *sources)
    lots = _lots(everything, up_to_blanks, minor_units)
    if any(purchase.source.owned for purchase in lots[-1].purchases):
        again = _lots(sources, lots[-1].blanks + 1, minor_units)[-1]
        lots = [*(lot for lot in lots if lot.cost < again.cost), again]
    return tuple(lots)


def forget_cheapest_lots() -> None:
    """Forget every lot known, as when the process started."""
    _cheapest_lots.cache_clear()


def lot_for(*, lots: Sequence[Lot], blanks: int) -> Lot:
    """The lot out of rising lots that serves a number of blanks; the last one where none is large enough."""
    return lots[min(bisect_left(lots, blanks, key=lambda lot: lot.blanks), len(lots) - 1)]


def cost_of(*, lots: Sequence[Lot], blanks: int) -> Decimal:
    """Cost of a number of blanks; past the last lot it is bought again as often as needed, and the rest comes from the lots."""
    full, rest = divmod(blanks, lots[-1].blanks)
    return full * lots[-1].cost + (lot_for(lots=lots, blanks=rest).cost if rest else Decimal(0))


def _lots(sources: Sequence[Source], up_to_blanks: int, minor_units: int) -> list[Lot]:
    exact = min(up_to_blanks + up_to_blanks // COARSER_BY + 1, EXACT_BLANKS)
    stages, cost = _combined(sources, exact)
    steps = thinned([*(np.flatnonzero(np.diff(cost) > 1e-9)[1:]).tolist(), exact])
    numbers = steps[: bisect_left(steps, up_to_blanks) + 1]
    lots = [_lot(_traced(stages, number), number, minor_units) for number in numbers]
    if exact < up_to_blanks:
        lots += _single_lots(sources, exact, up_to_blanks, minor_units)
    return rising(lots)


def _combined(sources: Sequence[Source], up_to: int) -> tuple[list[_Stage], Amounts]:
    """The stages of the program, and the least amount for 0, 1 … blanks."""
    cost = np.full(up_to + 1, np.inf)
    cost[0] = 0.0
    stages: list[_Stage] = []
    free_to_skip = ladder_falls(sources) and not any(source.owned for source in sources)
    for source in sorted(sources, key=lambda one: (-one.blanks_per_plate, not one.owned, one.lead_days, one.stock.name)):
        costs = plate_costs(source=source, up_to_plates=math.ceil(up_to / source.blanks_per_plate))
        amount = costs.amount + np.where(costs.pieces > 0, DAY_OF_LEAD * source.lead_days, 0.0)
        if free_to_skip and _never_cheaper(amount, source.blanks_per_plate, cost):
            continue
        if not stages and not source.owned:
            taken = -(-np.arange(up_to + 1) // source.blanks_per_plate)
            cost = amount[taken]
        else:
            cost, taken = _joined(cost, amount, source.blanks_per_plate)
        stages.append(_Stage(source, costs, taken))
    return stages, cost


def _never_cheaper(amount: Amounts, blanks_per_plate: int, cost: Amounts) -> bool:
    """Whether the other sources give as many blanks for no more at every number of plates.

    Notes: where ladders fall, two orders of one source cost no less than one, so that such a source is in no cheapest lot.
    """
    blanks = np.minimum(np.arange(len(amount)) * blanks_per_plate, len(cost) - 1)
    return bool(np.all(amount[1:] >= cost[blanks[1:]]))


def _joined(cost: Amounts, amount: Amounts, blanks_per_plate: int) -> tuple[Amounts, Counts]:
    """The least amounts with one source more, and how many plates of it they take."""
    numbers = np.arange(len(cost))
    left = np.maximum(numbers[:, None] - np.arange(len(amount))[None, :] * blanks_per_plate, 0)
    offers = cost[left] + amount[None, :]
    taken = offers.argmin(axis=1)
    return offers[numbers, taken], taken


def _traced(stages: Sequence[_Stage], blanks: int) -> list[Purchase]:
    """What is bought in the cheapest way to have so many blanks."""
    purchases: list[Purchase] = []
    left = blanks
    for stage in reversed(stages):
        plates = int(stage.taken[left])
        if plates:
            blanks = min(left, plates * stage.source.blanks_per_plate)
            purchases.append(purchase_of(source=stage.source, pieces=int(stage.costs.pieces[plates]), plates=plates, wanted=blanks))
            left -= blanks
    return purchases[::-1]


def _single_lots(sources: Sequence[Source], above: int, up_to: int, minor_units: int) -> list[Lot]:
    """Lots of one source each, for numbers a sixteenth apart."""
    numbers = numbers_beyond(above, up_to)
    buying = [source for source in sources if not source.owned]
    tables = [plate_costs(source=source, up_to_plates=math.ceil(numbers[-1] / source.blanks_per_plate)) for source in buying]
    return [_single_lot(buying, tables, number, minor_units) for number in numbers]


def _single_lot(sources: Sequence[Source], tables: Sequence[PlateCosts], number: int, minor_units: int) -> Lot:
    offers = []
    for source, table in zip(sources, tables, strict=True):
        plates = math.ceil(number / source.blanks_per_plate)
        offers.append((table.amount[plates], source.lead_days, source.stock.name, source, int(table.pieces[plates]), plates))
    *_, best, pieces, needed = min(offers, key=lambda offer: offer[:3])
    return _lot([purchase_of(source=best, pieces=pieces, plates=needed, wanted=number)], number, minor_units)


def _lot(purchases: Sequence[Purchase], blanks: int, minor_units: int) -> Lot:
    return Lot(tuple(purchases), blanks, lot_cost(amounts=[one.amount for one in purchases], minor_units=minor_units))


def numbers_beyond(above: int, up_to: int) -> list[int]:
    """Numbers a sixteenth apart, over one number and as far as another or just past it."""
    numbers, number = [], above
    while number < up_to:
        number += max(1, number // COARSER_BY)
        numbers.append(number)
    return numbers


def numbers_up_to(up_to: int) -> list[int]:
    """Every number up to `EXACT_LOTS`, and then numbers a sixteenth apart, as far as one or just past it; the same whatever it is."""
    first = list(range(1, EXACT_LOTS + 1))
    return [*first, *numbers_beyond(EXACT_LOTS, up_to)] if up_to > EXACT_LOTS else first[:up_to]


def thinned(numbers: Sequence[int]) -> list[int]:
    """Of rising numbers the first `EXACT_LOTS`, and then the largest within a sixteenth of the one before; the last always."""
    kept = list(numbers[:EXACT_LOTS])
    place = len(kept)
    while place < len(numbers):
        reach = kept[-1] + kept[-1] // COARSER_BY
        while place + 1 < len(numbers) and numbers[place + 1] <= reach:
            place += 1
        kept.append(numbers[place])
        place += 1
    return kept


def rising(lots: Iterable[Lot]) -> list[Lot]:
    """Lots whose cost rises: where a larger one costs no more, it stands for the smaller."""
    kept: list[Lot] = []
    for lot in lots:
        while kept and kept[-1].cost >= lot.cost:
            kept.pop()
        kept.append(lot)
    return kept
