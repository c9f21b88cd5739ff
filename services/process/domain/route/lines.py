"""Making one line of a route card: work centre, batch, minutes, yield, and the figures that explain them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

from services.optics.law import column, decided, figure_of, given, law, quoted_once
from services.process.domain.route.extra_work import NO_EXTRA, Extra
from services.process.domain.route.knees import NO_KNEE, Knee, slowed_min
from services.process.domain.route.rate_rows import yield_for
from services.process.domain.route.rework import rework_figures, rework_of
from services.process.domain.route.work_centres import AtCentre, Choice, choice_among, serving
from shared_schemas.figure import Figure, RateRowRef
from shared_schemas.operation_kinds import OPERATIONS, OperationName
from shared_schemas.operations import Face, Operation, Sampled, Way
from shared_schemas.rates import Rates, WorkCentreRow, YieldRow

Why = Callable[[], Figure]
"""Writes a figure; called when a route card is written, not while tolerances are being tried."""
LONGEST_RUN = 80
"""Signs in the name of a shared run."""


@law
def minutes_in_all(*, parts_min: Sequence[float]) -> float:
    """Minutes [min] of one thing after the other.

    Equation: sum(parts_min)
    """
    return sum(parts_min)


@law
def counted_min(*, minutes: float, count: float) -> float:
    """Minutes [min] of what is done several times.

    Equation: minutes * count
    """
    return minutes * count


@law
def blended(*, by_this: float, by_other: float, share_of_other: float) -> float:
    """A figure of an operation that goes one way in most lots and another way in the rest.

    Equation: by_this * (1 - share_of_other) + by_other * share_of_other
    """
    return by_this * (1 - share_of_other) + by_other * share_of_other


@law
def yield_at(*, yield_of_row: float, powers: Sequence[float]) -> float:
    """Share of the pieces that survive an operation that is made harder.

    Equation: yield_of_row ** product(powers)
    """
    power = 1.0
    for factor in powers:
        power *= factor
    return float(yield_of_row**power)


@law
def amounts_in_all(*, amounts: Sequence[Decimal]) -> Decimal:
    """Money spent on several things.

    Equation: sum(amounts)
    """
    return sum(amounts, Decimal(0))


@dataclass(frozen=True)
class Minutes:
    """Minutes of a batch, or of each piece in it, before tolerances slow them, and what writes the figure that explains them."""

    minutes: float = 0.0
    why: Why | None = None


@dataclass(frozen=True)
class Spent:
    """A price of a rate row that is spent on every batch."""

    amount: Decimal
    rate_row: RateRowRef


NO_MINUTES = Minutes()


def lot_of(rows: Sequence[tuple[str, float, RateRowRef]], name: str = "for the lot") -> Minutes:
    """Minutes for the lot, or what else they are for, out of rate rows, each with its name and its reference."""

    def why() -> Figure:
        parts = [column(of_row, minutes, "min", ref) for of_row, minutes, ref in rows]
        return figure_of(minutes_in_all, name=name, unit="min", parts_min=parts)

    return Minutes(minutes_in_all(parts_min=[minutes for _, minutes, _ in rows]), why)


@dataclass(frozen=True)
class Work:
    """What an operation does besides what the row of its work centre says.

    Attributes:
        of_batch, of_piece, for_lot: minutes of a batch, of each piece in it, and for the lot.
        batch_size: pieces that go together, None for as many as a rack of the work centre takes, or one. No more than a rack
            takes go together.
        why_size: writes the figure of the batch size.
        spent: what is spent on a batch.
        attended: the share of the minutes that a person is there, where the row of the work centre does not say it.
        run: the name of a run that pieces of other lines with that name may be in too.
        remarks: writes figures that explain what was chosen and add no minutes.
    """

    of_batch: Minutes = NO_MINUTES
    of_piece: Minutes = NO_MINUTES
    for_lot: Minutes = NO_MINUTES
    batch_size: int | None = None
    why_size: Why | None = None
    spent: tuple[Spent, ...] = ()
    attended: Minutes | None = None
    run: str | None = None
    remarks: Callable[[], tuple[Figure, ...]] | None = None


NO_WORK = Work()


@dataclass(frozen=True)
class Blend:
    """The way that an operation goes in the lots that do not go the way of its line, and what share of lots that is.

    The hours of all lots are those of the line's own work centre.
    """

    centre: WorkCentreRow
    survival: YieldRow
    share: float
    why: Why

    def of(self, by_this: float, by_other: float) -> float:
        """A figure of both ways together."""
        return blended(by_this=by_this, by_other=by_other, share_of_other=self.share)

    def figure(self, name: str, unit: str, this: Figure, other: Figure) -> Figure:
        """It as a figure."""
        return figure_of(blended, name=name, unit=unit, by_this=this, by_other=other, share_of_other=self.why())


@dataclass(frozen=True)
class Line:
    """One operation in figures, with what it rests on; `harder` and `extra` are what tolerances, glass and drawing add."""

    operation: OperationName
    face: Face | None
    method: str
    centre: WorkCentreRow
    survival: YieldRow
    work: Work
    knee: Knee
    extra: Extra
    currency: str
    setup_min: float
    batch_size: int
    batch_min: float
    piece_min: float
    attended_share: float
    yield_share: float
    batch_loss: float
    consumables: Decimal
    shared_run: str | None
    sampled: tuple[Sampled, ...] = ()
    rework_share: float = 0.0
    rework_yield: float = 0.0
    rework_min: float = 0.0
    ways: tuple[Way, ...] = ()
    blend: Blend | None = None
    why_centre: Why | None = None

    @property
    def work_centre(self) -> str:
        """The name of its work centre."""
        return self.centre.name

    @property
    def work_centre_id(self) -> str:
        """What its work centre is known by."""
        return self.centre.id

    def as_operation(self) -> Operation:
        """The line as it stands on the route card, with its basis."""
        return self._on_card

    @cached_property
    def _on_card(self) -> Operation:
        """Written once: a line that rests on the rates alone stands on many cards."""
        return Operation(
            operation=self.operation, face=self.face, method=self.method, work_centre=self.work_centre,
            work_centre_id=self.work_centre_id, setup_min=self.setup_min, batch_size=self.batch_size, batch_min=self.batch_min,
            piece_min=self.piece_min, attended_share=self.attended_share, yield_share=self.yield_share, batch_loss=self.batch_loss,
            consumables=self.consumables, shared_run=self.shared_run, sampled=self.sampled, rework_share=self.rework_share,
            rework_yield=self.rework_yield, rework_min=self.rework_min, ways=self.ways,
            basis=tuple(quoted_once(figure) for figure in self._basis()),
        )  # fmt: skip

    def _basis(self) -> list[Figure]:
        figures = [self._setup(), self._size(), *self._minutes(), self._yield()]
        if self.why_centre is not None:
            figures.append(self.why_centre())
        if self.work.attended is not None and self.work.attended.why is not None:
            figures.append(self.work.attended.why())
        elif self.blend is not None:
            figures.append(self._of_row("attended_share", ""))
        if self.consumables:
            figures.append(self._spent())
        if self.rework_share:
            figures += rework_figures(self.survival, batch_min=self.batch_min, batch_size=self.batch_size, piece_min=self.piece_min)
        return [*figures, *(self.work.remarks() if self.work.remarks else ())]

    def _setup(self) -> Figure:
        setup = self._of_row("setup_min", "min")
        more = [*_figures(self.work.for_lot), *self.extra.figures("lot")]
        return _in_all("setup_min", [setup, *more]) if more else setup

    def _of_row(self, name: str, unit: str) -> Figure:
        """A column of the row of its work centre; of both rows where it goes two ways."""
        rows = (self.centre,) if self.blend is None else (self.centre, self.blend.centre)
        columns = [column(name, getattr(row, name), unit, Rates.ref("work_centres", row)) for row in rows]
        return columns[0] if self.blend is None else self.blend.figure(name, unit, columns[0], columns[1])

    def _size(self) -> Figure:
        size = None if self.work.why_size is None else self.work.why_size()
        if size is not None and size.value == self.batch_size:
            return size
        if self.centre.rack_pieces is not None:
            return column("batch_size", self.batch_size, "", Rates.ref("work_centres", self.centre))
        return decided("batch_size", self.batch_size, "one at a time")

    def _minutes(self) -> list[Figure]:
        of_batch = self._usual("cycle_min", self.work.of_batch)
        of_piece = self._usual("load_min_per_piece", self.work.of_piece, handling=True)
        extra_of_batch, extra_of_piece = self.extra.figures("batch"), self.extra.figures("piece")
        if self.batch_size == 1:
            return [self._of_centre("batch_min", of_batch + of_piece, extra_of_batch + extra_of_piece)]
        return [
            self._of_centre("batch_min", of_batch, extra_of_batch),
            self._of_centre("piece_min", of_piece, extra_of_piece, told=bool(of_batch)),
        ]

    def _of_centre(self, name: str, usual: Sequence[Figure], extra: Sequence[Figure], *, told: bool = False) -> Figure:
        """The minutes in all, with the row of the work centre where it gives some of them; tolerances slow the usual ones.

        `told` says that the figure before this has what slows them already.
        """
        from_row = self.blend is None and any(part.name.startswith(("cycle_min", "load_min_per_piece")) for part in usual)
        ref = Rates.ref("work_centres", self.centre) if from_row else None
        if not usual or not self.knee.slowing:
            return _in_all(name, [*usual, *extra], ref)
        slowed = self.knee.slowed(_in_all("usual_min", usual), told=told)
        return _in_all(name, [slowed, *extra], ref)

    def _usual(self, name: str, work: Minutes, *, handling: bool = False) -> list[Figure]:
        """The usual minutes of the work centre's row and of the work, with the care that a delicate material wants."""
        usual_min = float(getattr(self.centre, name))
        own = [given(name, usual_min, "min")] if usual_min else []
        if self.blend is not None and (usual_min or getattr(self.blend.centre, name)):
            own = [self._of_row(name, "min")]
        own = [self.extra.slowed(figure, handling=handling) for figure in own]
        return [*own, *(self.extra.slowed(figure) for figure in _figures(work))]

    def _yield(self) -> Figure:
        ref = Rates.ref("yields", self.survival)
        powers = [*self.knee.powers(), *self.extra.powers()]
        if self.blend is not None:
            other = column("by_other", self.blend.survival.yield_share, "", Rates.ref("yields", self.blend.survival))
            both = self.blend.figure("yield", "", column("by_this", self.survival.yield_share, "", ref), other)
            return both if not powers else figure_of(yield_at, name="yield", unit="", yield_of_row=both, powers=powers)
        if not powers:
            return column("yield", self.yield_share, "", ref)
        row = given("yield_of_row", self.survival.yield_share)
        return figure_of(yield_at, name="yield", unit="", rate_row=ref, yield_of_row=row, powers=powers)

    def _spent(self) -> Figure:
        name = "consumables"
        amounts = [column(name, one.amount, self.currency, one.rate_row) for one in self.work.spent if one.amount]
        return amounts[0] if len(amounts) == 1 else figure_of(amounts_in_all, name=name, unit=self.currency, amounts=amounts)


def _figures(work: Minutes) -> list[Figure]:
    return [] if work.why is None or not work.minutes else [work.why()]


def _in_all(name: str, parts: Sequence[Figure], row: RateRowRef | None = None) -> Figure:
    if not parts:
        return decided(name, 0.0, "no time of its own", unit="min")
    return figure_of(minutes_in_all, name=name, unit="min", rate_row=row, parts_min=parts)


def line(
    operation: OperationName, rates: Rates, work: Work = NO_WORK, *, face: Face | None = None, method: str = "",
    done_by: str | None = None, diameter_mm: float = 0.0, knee: Knee = NO_KNEE, extra: Extra = NO_EXTRA, blend: Blend | None = None,
    at: Choice | None = None,
) -> Line:  # fmt: skip
    """One operation on the work centre that does it by `method` and takes the diameter of what is clamped [mm].

    Args:
        done_by: the method by which work centre and yield are found, where several occasions share one.
        knee: what tolerances do to time and yield here.
        extra: what the glass or the drawing asks for besides.
        blend: the other way that it goes in a share of the lots.
        at: the work centre, where what is done rests on figures of its row; otherwise the one that `choice_among` finds.

    Notes: minutes of the work centre's row and of the work, slowed by the knee and by the care for a delicate material, and of extra
    work are added; where pieces go one at a time those of the piece are in the minutes of the batch.

    Raises: RateMissing where no row has a work centre or a yield for it.
    """
    by = method if done_by is None else done_by
    survival = yield_for(rates, operation, by)
    survives = survival.yield_share if blend is None else blend.of(survival.yield_share, blend.survival.yield_share)

    def taking(row: WorkCentreRow) -> AtCentre:
        return _taking(row, work, knee, extra, blend)

    choice = at or choice_among(serving(rates, operation, by, diameter_mm), taking, rates.base_currency)
    centre, takes = choice.row, taking(choice.row)
    batch_min, piece_min = takes.batch_min, takes.piece_min
    return Line(
        operation=operation,
        face=face,
        method=method,
        centre=centre,
        survival=survival,
        work=work,
        knee=knee,
        extra=extra,
        currency=rates.base_currency,
        setup_min=takes.setup_min,
        batch_size=takes.batch_size,
        batch_min=batch_min,
        piece_min=piece_min,
        attended_share=takes.attended_share,
        yield_share=yield_at(yield_of_row=survives, powers=(knee.yield_power, extra.yield_power)),
        batch_loss=survival.batch_loss,
        rework_share=survival.rework_share,
        rework_yield=survival.rework_yield if survival.rework_share else 0.0,
        rework_min=rework_of(survival, batch_min=batch_min, batch_size=takes.batch_size, piece_min=piece_min),
        consumables=amounts_in_all(amounts=[one.amount for one in work.spent]),
        shared_run=f"{operation} {work.run}"[:LONGEST_RUN] if work.run is not None and OPERATIONS[operation].shares_runs else None,
        blend=blend,
        why_centre=choice.why,
    )


def _taking(centre: WorkCentreRow, work: Work, knee: Knee, extra: Extra, blend: Blend | None) -> AtCentre:
    """What an operation takes at a work centre."""
    size = _size(work.batch_size, centre.rack_pieces)
    setup, cycle, load, attended = _usual(centre, blend)
    of_batch = [cycle * extra.on_minutes, work.of_batch.minutes * extra.on_minutes]
    of_piece = [load * extra.on_handling, work.of_piece.minutes * extra.on_minutes]
    if size == 1:
        batch_min = _slowed(of_batch + of_piece, knee, extra.minutes("batch") + extra.minutes("piece"))
        piece_min = 0.0
    else:
        batch_min, piece_min = _slowed(of_batch, knee, extra.minutes("batch")), _slowed(of_piece, knee, extra.minutes("piece"))
    setup_min = minutes_in_all(parts_min=(setup, work.for_lot.minutes, *extra.minutes("lot")))
    return AtCentre(setup_min, size, batch_min, piece_min, attended if work.attended is None else work.attended.minutes)


def _usual(centre: WorkCentreRow, blend: Blend | None) -> tuple[float, ...]:
    """Set-up, cycle, load and attended share by the row; by both rows where it goes two ways."""
    usual, *others = (
        (row.setup_min, row.cycle_min, row.load_min_per_piece, row.attended_share)
        for row in ((centre,) if blend is None else (centre, blend.centre))
    )
    return usual if blend is None else tuple(blend.of(this, that) for this, that in zip(usual, others[0], strict=True))


def _slowed(usual: Sequence[float], knee: Knee, extra: Sequence[float]) -> float:
    usual_min = minutes_in_all(parts_min=usual)
    return minutes_in_all(parts_min=(slowed_min(minutes=usual_min, time_factor=knee.time_factor), *extra))


def _size(batch_size: int | None, rack_pieces: int | None) -> int:
    if batch_size is None or rack_pieces is None:
        return batch_size or rack_pieces or 1
    return min(batch_size, rack_pieces)
