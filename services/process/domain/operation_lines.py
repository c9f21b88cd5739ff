"""Making one line of a route card: work centre, batch, minutes, yield, and the figures that explain them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from services.process.domain.rate_rows import work_centre_for, yield_for
from services.process.domain.tolerance_knees import Knee
from shared_schemas.figure import Figure
from shared_schemas.operations import Face, Operation, OperationName
from shared_schemas.rates import Rates, WorkCentreRow, YieldRow

NO_KNEE = Knee()

Explanation = Callable[[], Sequence[Figure]]


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
    knee: Knee
    run_basis: Explanation
    batch_basis: Explanation

    @property
    def figures(self) -> tuple[int, float, float, float]:
        """What a tolerance can change: batch size, minutes of a batch and of a piece, yield."""
        return self.batch_size, self.batch_min, self.piece_min, self.yield_share

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
            basis=(self._setup(), self._batch(), self._minutes(), self._yield()),
        )

    def _setup(self) -> Figure:
        ref = Rates.ref("work_centres", self.centre)
        extra = self.setup_min - self.centre.setup_min
        if not extra:
            return Figure(name="setup_min", value=self.setup_min, unit="min", rate_row=ref)
        inputs = (
            Figure(name="set-up of the work centre", value=self.centre.setup_min, unit="min", rate_row=ref),
            Figure(name="for the lot", value=extra, unit="min", formula="rows counted per lot"),
        )
        return Figure(
            name="setup_min", value=self.setup_min, unit="min", formula="set-up of the work centre + for the lot", inputs=inputs
        )

    def _batch(self) -> Figure:
        inputs = tuple(self.batch_basis())
        if inputs:
            return Figure(name="batch_size", value=self.batch_size, inputs=inputs)
        if self.centre.rack_pieces is not None:
            return Figure(name="batch_size", value=self.batch_size, rate_row=Rates.ref("work_centres", self.centre))
        return Figure(name="batch_size", value=self.batch_size, formula="one at a time")

    def _minutes(self) -> Figure:
        ref = Rates.ref("work_centres", self.centre)
        inputs = [
            Figure(name=name, value=minutes, unit="min", rate_row=ref)
            for name, minutes in (("cycle", self.centre.cycle_min), ("load", self.centre.load_min_per_piece))
            if minutes
        ]
        if self.knee.below:
            formula = "product over tolerances below their knees of 1 + time_slope x below"
            inputs.append(Figure(name="k", value=self.knee.time_factor, formula=formula, inputs=self.knee.basis()))
        together = "cycle + load + (run + each) x k" if self.batch_size == 1 else "cycle + run x k; piece_min = load + each x k"
        inputs += self.run_basis()
        return Figure(name="batch_min", value=self.batch_min, unit="min", formula=together, inputs=tuple(inputs))

    def _yield(self) -> Figure:
        ref = Rates.ref("yields", self.survival)
        if not self.knee.below or self.yield_share == self.survival.yield_share:
            return Figure(name="yield", value=self.yield_share, rate_row=ref)
        power = Figure(
            name="power", value=self.knee.yield_power, formula="product over the tolerances in k of 1 + yield_slope x below"
        )
        return Figure(name="yield", value=self.yield_share, formula="yield of the row ^ power", inputs=(power,), rate_row=ref)


def line(
    operation: OperationName, rates: Rates, *, face: Face | None = None, method: str = "", diameter_mm: float = 0.0, batch_size: int = 1,
    run_min: float = 0.0, each_min: float = 0.0, extra_setup_min: float = 0.0, attended_share: float | None = None,
    consumables: Decimal = Decimal(0), knee: Knee = NO_KNEE, run_basis: Explanation = _nothing, batch_basis: Explanation = _nothing,
) -> Line:  # fmt: skip
    """One operation on the work centre that does it by `method` and takes the diameter.

    Args:
        diameter_mm: of what is clamped [mm].
        run_min: minutes of a batch besides what the work centre's row says, before tolerances [min].
        each_min: minutes of each piece besides, before tolerances [min].
        knee: what tolerances do to time and yield here.
        run_basis, batch_basis: write the figures behind the minutes and behind the batch size.

    Notes:
        batch_min = cycle + run x k, piece_min = load + each x k; where pieces go one at a time both are in batch_min.
        yield = yield of the row ^ yield power.

    Raises:
        RateMissing: no work centre or yield for it.
    """
    centre = work_centre_for(rates, operation, method, diameter_mm)
    survival = yield_for(rates, operation, method)
    size = batch_size if centre.rack_pieces is None else centre.rack_pieces
    together = centre.cycle_min + run_min * knee.time_factor
    each = centre.load_min_per_piece + each_min * knee.time_factor
    batch_min, piece_min = (together + each, 0.0) if size == 1 else (together, each)
    return Line(
        operation=operation,
        face=face,
        method=method,
        centre=centre,
        survival=survival,
        setup_min=centre.setup_min + extra_setup_min,
        batch_size=size,
        batch_min=batch_min,
        piece_min=piece_min,
        attended_share=centre.attended_share if attended_share is None else attended_share,
        yield_share=survival.yield_share**knee.yield_power,
        batch_loss=survival.batch_loss,
        consumables=consumables,
        knee=knee,
        run_basis=run_basis,
        batch_basis=batch_basis,
    )
