"""What it takes to mend a piece that did not pass."""

from __future__ import annotations

from services.optics.law import column, figure_of, given, law
from shared_schemas.figure import Figure
from shared_schemas.rates import Rates, YieldRow


@law
def each_min(*, batch_min: float, batch_size: int, piece_min: float) -> float:
    """Minutes [min] that an operation takes for each piece of a full batch.

    Equation: batch_min / batch_size + piece_min
    """
    return batch_min / batch_size + piece_min


@law
def rework_min(*, minutes: float, share: float, each_min: float) -> float:
    """Minutes [min] of reworking a piece: some of its own, and a share of what the operation took.

    Equation: minutes + share * each_min
    """
    return minutes + share * each_min


def rework_of(row: YieldRow, *, batch_min: float, batch_size: int, piece_min: float) -> float:
    """Minutes of reworking a piece of an operation by its row of yields; none where nothing is reworked [min]."""
    if not row.rework_share:
        return 0.0
    each = each_min(batch_min=batch_min, batch_size=batch_size, piece_min=piece_min)
    return rework_min(minutes=row.rework_min, share=row.rework_of_operation, each_min=each)


def rework_figures(row: YieldRow, *, batch_min: float, batch_size: int, piece_min: float) -> list[Figure]:
    """The figures behind which share is reworked, how many of those are good then, and what each takes."""
    ref = Rates.ref("yields", row)
    batch, size = given("batch_min", batch_min, "min"), given("batch_size", batch_size)
    each = figure_of(each_min, unit="min", batch_min=batch, batch_size=size, piece_min=given("piece_min", piece_min, "min"))
    own, share = given("rework_min", row.rework_min, "min"), given("rework_of_operation", row.rework_of_operation)
    return [
        column("rework_share", row.rework_share, "", ref),
        column("rework_yield", row.rework_yield, "", ref),
        figure_of(rework_min, rate_row=ref, minutes=own, share=share, each_min=each),
    ]
