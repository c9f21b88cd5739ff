"""What becomes of pieces that do not pass an operation: some are reworked once, the rest is scrap."""

from __future__ import annotations

from services.optics.law import law
from shared_schemas.operations import Operation


@law
def kept_share(*, yield_share: float, rework_share: float, rework_yield: float) -> float:
    """Share of the pieces that an operation leaves: those that pass, and those that are good after one rework.

    Equation: yield_share + (1 - yield_share) * rework_share * rework_yield
    """
    return yield_share + (1 - yield_share) * rework_share * rework_yield


@law
def scrapped_batches(*, batch_loss: float, rework_share: float, rework_yield: float) -> float:
    """Chance that a batch is lost for good: one that goes wrong is reworked as single pieces are.

    Equation: batch_loss * (1 - rework_share * rework_yield)
    """
    return batch_loss * (1 - rework_share * rework_yield)


@law
def reworked_pieces(*, pieces: int, yield_share: float, batch_loss: float, rework_share: float) -> float:
    """Pieces that are reworked, in the mean.

    Equation: pieces * (1 - yield_share * (1 - batch_loss)) * rework_share
    """
    return pieces * (1 - yield_share * (1 - batch_loss)) * rework_share


@law
def rework_run_min(*, reworked_pieces: float, rework_min: float) -> float:
    """Minutes [min] of rework.

    Equation: reworked_pieces * rework_min
    """
    return reworked_pieces * rework_min


def kept_by(operation: Operation) -> float:
    """Share of the pieces that an operation leaves, whole batches apart."""
    if not operation.rework_share:
        return operation.yield_share
    return kept_share(yield_share=operation.yield_share, rework_share=operation.rework_share, rework_yield=operation.rework_yield)


def batches_scrapped_by(operation: Operation) -> float:
    """Chance that an operation loses a batch for good."""
    if not operation.rework_share:
        return operation.batch_loss
    return scrapped_batches(
        batch_loss=operation.batch_loss, rework_share=operation.rework_share, rework_yield=operation.rework_yield
    )


def rework_min_each(operation: Operation) -> float:
    """Minutes of rework that a piece at an operation takes in the mean [min]."""
    if not operation.rework_share:
        return 0.0
    return (1 - operation.yield_share * (1 - operation.batch_loss)) * operation.rework_share * operation.rework_min
