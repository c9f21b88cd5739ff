"""Which forms of blank may be an element's cheapest at some number, with the work that each of them saves?"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import NamedTuple, get_args

import numpy as np

from services.glass.domain.blank.options import PLATE_FORMS, BlankOption
from services.glass.domain.buying.lots import numbers_up_to
from services.glass.domain.buying.purchase import Amounts, Counts, Source, least_amounts
from services.glass.domain.buying.sharing import CLASS_OF_THE_ROW, Grinding
from services.shop.minutes import per_minute
from shared_schemas.blanks import BlankForm
from shared_schemas.operation_kinds import OperationName
from shared_schemas.rates import GlassRow, GrindingRow, Rates, WorkCentreRow

FORMS: tuple[BlankForm, ...] = get_args(BlankForm)

UP_TO_BLANKS = 100_000
"""Forms are held against each other for every number of blanks up to this one, whatever is asked for."""

GENEROUS = 3.0
"""So many times the rough figure of the work that a form saves is allowed before it is left out: knees, yields and care of the glass
make work dearer than its bare minutes (common practice range)."""

SLICED: tuple[BlankForm, ...] = ("slab", "strip", "rod")
CORED: tuple[BlankForm, ...] = PLATE_FORMS


@dataclass(frozen=True)
class RoughWork:
    """What it costs to come from a piece of stock to the faces of the lens: once, and for each blank [base currency]."""

    once: float
    each: float

    def of(self, blanks: Counts | int) -> Amounts:
        """The cost of some blanks."""
        return np.asarray(self.once + self.each * np.asarray(blanks, dtype=np.float64))

    def saved_at_most(self, than: RoughWork, blanks: Counts) -> Amounts:
        """A generous bound of what this work saves against another, where it saves anything."""
        once, each = max(0.0, than.once - self.once), max(0.0, than.each - self.each)
        return GENEROUS * RoughWork(once, each).of(blanks)


@dataclass(frozen=True)
class Workshop:
    """Where glass of one kind is sawn, cored and generated, by the plainest of the shop's machines."""

    glass: GlassRow
    grinding: Grinding | None
    rates: Rates

    @cached_property
    def _centres(self) -> dict[str, WorkCentreRow]:
        def minute(row: WorkCentreRow) -> tuple[float, str]:
            return per_minute(row).attended(row.attended_share), row.id

        names = {name for row in self.rates.work_centres for name in row.operations}
        return {name: min((row for row in self.rates.work_centres if name in row.operations), key=minute) for name in names}

    @cached_property
    def _rows(self) -> dict[str, GrindingRow]:
        return {row.stage: row for row in sorted(self.rates.grinding, key=lambda row: row.method, reverse=True)}

    @cached_property
    def _speed(self) -> float:
        """How much faster the glass is cut than that of the class which rows are stated for."""
        generated = (row for row in self.rates.grinding if row.stage == "generate")
        rows = {row.grindability_hg: row for row in sorted(generated, key=lambda row: row.method, reverse=True)}
        own, usual = (rows.get(hg) for hg in (self.glass.grindability_hg or CLASS_OF_THE_ROW, CLASS_OF_THE_ROW))
        speeds = [one and (one.infeed_mm_per_min or one.removal_mm3_per_min) for one in (own, usual)]
        return speeds[0] / speeds[1] if speeds[0] and speeds[1] else 1.0

    def rough_work(self, option: BlankOption) -> RoughWork:
        """Sawing, coring with its wax, taking from the store, and generating what is more than the lens."""
        form, yielded, shape = option.stock.form, option.yielded, option.shape
        face_mm2 = shape.volume_mm3 / shape.thickness_mm
        steps: list[tuple[OperationName, float, int]] = []
        if form in SLICED or (form == "disc" and yielded.plates > 1):
            sawn = face_mm2 / yielded.utilisation * option.allowances.saw_kerf.allowance_mm
            steps.append(("saw", self._cut_min("saw", sawn), yielded.discs_per_plate))
        if form in CORED or (form == "disc" and yielded.discs_per_plate > 1):
            kerf = option.allowances.core_kerf.allowance_mm
            ring = math.pi * kerf * (shape.diameter_mm + kerf) * shape.thickness_mm
            steps += [
                ("core", self._cut_min("core", ring), 1),
                ("wax", 0.0, yielded.discs_per_plate),
                ("melt_off", 0.0, yielded.discs_per_plate),
            ]
        if form == "pressing":
            steps.append(("press_blank", 0.0, 1))
        works = [self._step(*step) for step in steps]
        ground = 0.0 if self.grinding is None else shape.volume_mm3 * self.grinding.cost_per_mm3(diameter_mm=shape.diameter_mm)
        return RoughWork(sum(work.once for work in works), sum(work.each for work in works) + ground)

    def _cut_min(self, stage: str, volume_mm3: float) -> float:
        row = self._rows.get(stage)
        return volume_mm3 / (row.removal_mm3_per_min * self._speed) if row is not None and row.removal_mm3_per_min else 0.0

    def _step(self, operation: OperationName, minutes: float, batch: int) -> RoughWork:
        """A step of so many minutes for each piece, done with so many at a time; none where the shop does not do it."""
        centre = self._centres.get(operation)
        if centre is None:
            return RoughWork(0.0, 0.0)
        cost = per_minute(centre)
        each = minutes + centre.load_min_per_piece + centre.cycle_min / batch
        return RoughWork(centre.setup_min * cost.attended(1.0), each * cost.attended(centre.attended_share))


class LeftOut(NamedTuple):
    """A form that is no candidate, and the one that is cheaper at every number."""

    form: BlankForm
    beaten_by: BlankForm


@dataclass(frozen=True)
class Candidates:
    """The forms of an element that may be its cheapest at some number, in the order of the contract, and those left out."""

    forms: tuple[BlankForm, ...]
    left_out: tuple[LeftOut, ...]


def candidates_of(*, options: Mapping[str, BlankOption], sharing: int, shop: Workshop) -> Candidates:
    """The candidates of an element.

    Args:
        options: its ways by name of the stock row.
        sharing: how many kinds of elements of this glass may share the plates of a slab or a strip.

    Notes:
        A form is left out where another costs less at every number of blanks from 1 to `UP_TO_BLANKS`, its glass with `GENEROUS`
        times all that the first saves of sawing, coring and generating. So a form with as much work or more is left out where its
        glass alone is dearer, one with less work only where its glass is dearer by far more than the work. The glass of a
        slab or a strip counts as if as many blanks were bought of each kind that may share it. A form that lies in the store stays.
        Nothing that is asked for has to do with it.
    """
    costs = {form: _glass(ways, sharing if form in PLATE_FORMS else 1) for form, ways in by_form(options.values()).items()}
    works = {form: _least_work(ways, shop) for form, ways in by_form(options.values()).items()}
    kept_anyway = {option.stock.form for option in options.values() if option.stock.owned_pieces}
    left_out: list[LeftOut] = []
    for form, dear in reversed(costs.items()):
        gone = {one.form for one in left_out}
        beaten_by = next(
            (
                other
                for other, cost in costs.items()
                if other not in {form, *gone} and np.all(dear >= cost + works[form].saved_at_most(works[other], NUMBERS))
            ),
            None,
        )
        if beaten_by is not None and form not in kept_anyway:
            left_out.append(LeftOut(form, beaten_by))
    gone = {one.form for one in left_out}
    return Candidates(tuple(form for form in costs if form not in gone), tuple(left_out))


def by_form(options: Iterable[BlankOption]) -> dict[BlankForm, list[BlankOption]]:
    """The ways to a blank by form, in the order of the contract."""
    ways = list(options)
    found = {form: [option for option in ways if option.stock.form == form] for form in FORMS}
    return {form: own for form, own in found.items() if own}


NUMBERS: Counts = np.array(numbers_up_to(UP_TO_BLANKS))


def _least_work(ways: Sequence[BlankOption], shop: Workshop) -> RoughWork:
    works = [shop.rough_work(option) for option in ways]
    return RoughWork(min(work.once for work in works), min(work.each for work in works))


def _glass(ways: Sequence[BlankOption], sharing: int) -> Amounts:
    return _least_glass(tuple(option.source for option in ways), sharing)


@lru_cache(maxsize=1024)
def _least_glass(sources: tuple[Source, ...], sharing: int) -> Amounts:
    """Least amount for each of `NUMBERS` out of one row alone, shape (k,)."""
    rows = [
        least_amounts(source=source, plates=-(-sharing * NUMBERS // source.blanks_per_plate)).amount / sharing for source in sources
    ]
    least: Amounts = np.min(rows, axis=0)
    return least


def forget_glass_of_forms() -> None:
    """Forget what forms were found to cost, as when the process started."""
    _least_glass.cache_clear()
