"""Making one line of a route card: work centre, batch, minutes, yield, and the figures that explain them."""

from __future__ import annotations

from collections.abc import Callable, Container, Sequence
from dataclasses import dataclass
from decimal import Decimal

from services.process.domain.route.extra_work import NO_EXTRA, Extra
from services.process.domain.route.knees import Knee
from services.process.domain.route.rate_rows import work_centre_for, yield_for
from shared_schemas.figure import Figure
from shared_schemas.operation_kinds import OperationName
from shared_schemas.operations import Face, Operation, Sampled
from shared_schemas.rates import Rates, WorkCentreRow, YieldRow

NO_KNEE = Knee()

Explanation = Callable[[], Sequence[Figure]]

SAME_ROW = "same row"
"""Source of an input that stands in the rate row which the figure above it quotes: a row is quoted once."""

NO_TIME = "no time of its own"
AND_A_PIECE = "; piece_min = "
"""What stands between the formula of the minutes of a batch and that of the minutes of a piece."""


def of_same_row(name: str, value: float, unit: str = "") -> Figure:
    """An input out of the rate row that the figure above it quotes."""
    return Figure(name=name, value=value, unit=unit, source=SAME_ROW)


def _nothing() -> tuple[Figure, ...]:
    return ()


@dataclass(frozen=True)
class Line:
    """One operation in figures. What explains it is written when the route card is, not while tolerances are being tried."""

    operation: OperationName
    face: Face | None
    method: str
    centre: WorkCentreRow
    survival: YieldRow
    setup_min: float
    batch_size: int
    batch_min: float
    piece_min: float
    attended_share: float
    yield_share: float
    batch_loss: float
    consumables: Decimal
    shared_run: str | None
    knee: Knee
    run_basis: Explanation
    batch_basis: Callable[[], Figure] | None
    extra: Extra = NO_EXTRA
    sampled: tuple[Sampled, ...] = ()

    @property
    def work_centre(self) -> str:
        """The name of its work centre."""
        return self.centre.name

    def as_operation(self) -> Operation:
        """The line as it stands on the route card, with its basis."""
        return Operation(
            operation=self.operation,
            face=self.face,
            method=self.method,
            work_centre=self.centre.name,
            setup_min=self.setup_min,
            batch_size=self.batch_size,
            batch_min=self.batch_min,
            piece_min=self.piece_min,
            attended_share=self.attended_share,
            yield_share=self.yield_share,
            batch_loss=self.batch_loss,
            consumables=self.consumables,
            shared_run=self.shared_run,
            sampled=self.sampled,
            basis=(self._setup(), self._batch(), self._minutes(), self._yield()),
        )

    def _setup(self) -> Figure:
        ref = Rates.ref("work_centres", self.centre)
        extra = self.setup_min - self.centre.setup_min
        if not extra:
            return Figure(name="setup_min", value=self.setup_min, unit="min", rate_row=ref)
        inputs = (
            of_same_row("set-up of the work centre", self.centre.setup_min, "min"),
            Figure(name="for the lot", value=extra, unit="min", formula="rows counted per lot", inputs=self.extra.of_lot()),
        )
        formula = "set-up of the work centre + for the lot"
        return Figure(name="setup_min", value=self.setup_min, unit="min", formula=formula, inputs=inputs, rate_row=ref)

    def _batch(self) -> Figure:
        basis = None if self.batch_basis is None else self.batch_basis()
        if basis is not None and basis.value == self.batch_size:
            return basis
        if self.centre.rack_pieces is not None:
            return Figure(
                name="batch_size",
                value=self.batch_size,
                formula="pieces of a rack",
                rate_row=Rates.ref("work_centres", self.centre),
            )
        return Figure(name="batch_size", value=self.batch_size, formula="one at a time")

    def _minutes(self) -> Figure:
        inputs = [
            Figure(name=name, value=minutes, unit="min", rate_row=Rates.ref("work_centres", self.centre))
            for name, minutes in (("cycle", self.centre.cycle_min), ("load", self.centre.load_min_per_piece))
            if minutes
        ]
        if self.knee.below:
            formula = "product over tolerances below their knees of 1 + time_slope x below"
            inputs.append(Figure(name="k", value=self.knee.time_factor, formula=formula, inputs=self.knee.basis()))
        inputs += self.run_basis()
        inputs += self.extra.basis()
        return Figure(
            name="batch_min",
            value=self.batch_min,
            unit="min",
            formula=self._sums({one.name for one in inputs}),
            inputs=tuple(inputs),
        )

    def _sums(self, stated: Container[str]) -> str:
        """How the minutes of a batch, and those of a piece, add up from the inputs that there are."""
        k = " x k" if "k" in stated else ""
        extra = [(one.row.per == "batch", one.row.name) for one in self.extra.counted if one.row.name in stated]
        usual = ("cycle", "cycle"), ("run", f"run{k}"), ("load", "load"), ("each", f"each{k}")
        terms = [(name in ("cycle", "run"), term) for name, term in usual if name in stated] + extra
        if self.batch_size == 1:
            return " + ".join(term for _, term in terms) or NO_TIME
        of_batch, of_piece = (" + ".join(term for by_batch, term in terms if by_batch is wanted) for wanted in (True, False))
        return f"{of_batch or NO_TIME}{AND_A_PIECE}{of_piece}" if of_piece else of_batch or NO_TIME

    def _yield(self) -> Figure:
        ref = Rates.ref("yields", self.survival)
        if self.yield_share == self.survival.yield_share:
            return Figure(name="yield", value=self.yield_share, rate_row=ref)
        powers = [*self.extra.powers()]
        if self.knee.below:
            formula = "product over the tolerances in k of 1 + yield_slope x below"
            powers.insert(0, Figure(name="power", value=self.knee.yield_power, formula=formula))
        row = of_same_row("yield of the row", self.survival.yield_share)
        formula = "yield of the row ^ " + (powers[0].name if len(powers) == 1 else "product of the powers")
        return Figure(name="yield", value=self.yield_share, formula=formula, inputs=(row, *powers), rate_row=ref)


def line(
    operation: OperationName, rates: Rates, *, face: Face | None = None, method: str = "", diameter_mm: float = 0.0, batch_size: int | None = None,
    run_min: float = 0.0, each_min: float = 0.0, extra_setup_min: float = 0.0, attended_share: float | None = None,
    consumables: Decimal = Decimal(0), shared_run: str | None = None, knee: Knee = NO_KNEE, run_basis: Explanation = _nothing,
    batch_basis: Callable[[], Figure] | None = None, extra: Extra = NO_EXTRA, sampled: tuple[Sampled, ...] = (),
) -> Line:  # fmt: skip
    """One operation on the work centre that does it by `method` and takes the diameter.

    Args:
        diameter_mm: of what is clamped [mm].
        batch_size: pieces that go together; None for as many as a rack of the work centre takes, or one. No more than a
            rack takes go together.
        run_min: minutes of a batch besides what the work centre's row says, before tolerances [min].
        each_min: minutes of each piece besides, before tolerances [min].
        shared_run: name of a run that pieces of other lines with that name may be in too.
        knee: what tolerances do to time and yield here.
        run_basis: writes the figures behind the minutes.
        batch_basis: writes the figure of the batch size.
        extra: what the glass or the drawing asks for besides.
        sampled: what of the minutes of a piece only a sample takes.

    Notes:
        batch_min = cycle + run x k, piece_min = load + each x k; where pieces go one at a time both are in batch_min.
        Extra work is added to what it is counted by. yield = yield of the row ^ yield power.

    Raises:
        RateMissing: no work centre or yield for it.
    """
    centre = work_centre_for(rates, operation, method, diameter_mm)
    survival = yield_for(rates, operation, method)
    size = _size(batch_size, centre.rack_pieces)
    together = centre.cycle_min + run_min * knee.time_factor + extra.batch_min
    each = centre.load_min_per_piece + each_min * knee.time_factor + extra.piece_min
    batch_min, piece_min = (together + each, 0.0) if size == 1 else (together, each)
    return Line(
        operation=operation,
        face=face,
        method=method,
        centre=centre,
        survival=survival,
        setup_min=centre.setup_min + extra_setup_min + extra.lot_min,
        batch_size=size,
        batch_min=batch_min,
        piece_min=piece_min,
        attended_share=centre.attended_share if attended_share is None else attended_share,
        yield_share=survival.yield_share ** (knee.yield_power * extra.yield_power),
        batch_loss=survival.batch_loss,
        consumables=consumables,
        shared_run=shared_run,
        knee=knee,
        run_basis=run_basis,
        batch_basis=batch_basis,
        extra=extra,
        sampled=sampled,
    )


def _size(batch_size: int | None, rack_pieces: int | None) -> int:
    if batch_size is None or rack_pieces is None:
        return batch_size or rack_pieces or 1
    return min(batch_size, rack_pieces)
