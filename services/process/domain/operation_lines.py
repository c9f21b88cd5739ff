"""Making one line of a route card: work centre, batch, minutes, yield, and the figures that explain them."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from services.process.domain.knees import Knee
from services.process.domain.rate_rows import work_centre_for, yield_for
from shared_schemas.figure import Figure
from shared_schemas.operations import Face, Operation, OperationName
from shared_schemas.rates import Rates

NO_KNEE = Knee(1.0, 1.0, ())


def line(
    operation: OperationName, rates: Rates, *, face: Face | None = None, method: str = "", batch_size: int = 1, run_min: float = 0.0,
    each_min: float = 0.0, extra_setup_min: float = 0.0, attended_share: float | None = None, consumables: Decimal = Decimal(0),
    knee: Knee = NO_KNEE, run_basis: Sequence[Figure] = (), batch_basis: Sequence[Figure] = (), yield_method: str | None = None,
) -> Operation:  # fmt: skip
    """One operation on the work centre that does it by `method`.

    Args:
        run_min: minutes of a batch besides what the work centre's row says, before tolerances [min].
        each_min: minutes of each piece besides, before tolerances [min].
        knee: what tolerances do to time and yield here.
        run_basis, batch_basis: figures behind the minutes and behind the batch size.

    Notes:
        batch_min = cycle + run x k, piece_min = load + each x k; where pieces go one at a time both are in batch_min.
        yield = yield of the row ^ yield power.
    """
    centre = work_centre_for(rates, operation, method)
    survival = yield_for(rates, operation, method if yield_method is None else yield_method)
    size = batch_size if centre.rack_pieces is None else centre.rack_pieces
    together = centre.cycle_min + run_min * knee.time_factor
    each = centre.load_min_per_piece + each_min * knee.time_factor
    batch_min, piece_min = (together + each, 0.0) if size == 1 else (together, each)
    kept = survival.yield_share**knee.yield_power
    ref = Rates.ref("work_centres", centre)
    k = Figure(name="k", value=knee.time_factor, formula="product over tolerances below their knees", inputs=knee.basis)
    minutes = (
        Figure(name="cycle", value=centre.cycle_min, unit="min", rate_row=ref),
        Figure(name="load", value=centre.load_min_per_piece, unit="min", rate_row=ref),
        *([k] if knee.basis else []),
        *run_basis,
    )
    return Operation(
        operation=operation,
        face=face,
        method=method,
        work_centre=centre.name,
        setup_min=centre.setup_min + extra_setup_min,
        batch_size=size,
        batch_min=batch_min,
        piece_min=piece_min,
        attended_share=centre.attended_share if attended_share is None else attended_share,
        yield_share=kept,
        batch_loss=survival.batch_loss,
        consumables=consumables,
        basis=(
            Figure(name="setup_min", value=centre.setup_min + extra_setup_min, unit="min", rate_row=ref),
            Figure(name="batch_size", value=size, inputs=tuple(batch_basis), rate_row=None if batch_basis else ref),
            Figure(
                name="batch_min", value=batch_min, unit="min", inputs=minutes,
                formula="cycle + load + (run + each) x k" if size == 1 else "cycle + run x k; piece_min = load + each x k",
            ),
            Figure(
                name="yield", value=kept, formula="yield of the row ^ power of the tolerances" if knee.basis else None,
                inputs=() if not knee.basis else (Figure(name="power of the tolerances", value=knee.yield_power, inputs=knee.basis),),
                rate_row=Rates.ref("yields", survival),
            ),
        ),
    )  # fmt: skip
