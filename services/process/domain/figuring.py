"""Figure correction: measured loops from the figure that polishing leaves to the one asked for."""

from __future__ import annotations

import math

from shared_schemas.problem import FigureOutOfRange


def figuring_loops(*, start_fringes: float, target_fringes: float) -> int:
    """Loops of measuring and correcting: 1 + log2(start/target), whole, at least 1 (each loop halves the error; from memory).

    Raises: FigureOutOfRange for a target that is not above 0.
    """
    if target_fringes <= 0:
        raise FigureOutOfRange("irregularity [fringe]", target_fringes, "figures above 0")
    if target_fringes >= start_fringes:
        return 1
    return 1 + math.ceil(math.log2(start_fringes / target_fringes) - 1e-9)


def figuring_min(*, loops: int, measure_min: float, correct_min: float) -> float:
    """Minutes of the loops; after the last measurement nothing is corrected.

    Raises: FigureOutOfRange for less than one loop.
    """
    if loops < 1:
        raise FigureOutOfRange("loops", loops, "1 and above")
    return loops * measure_min + (loops - 1) * correct_min
