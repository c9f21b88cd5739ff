"""How does what a tolerance costs rise as it gets tighter? Without a step, in the published form."""

from __future__ import annotations

from services.optics.law import law
from shared_schemas.problem import FigureOutOfRange


@law
def ramp(*, slope: float, knee: float, figure: float, ramp_power: float) -> float:
    """Factor that one tolerance brings below its knee; 1 at the knee and above.

    Equation: 1 + slope * (max(knee / figure, 1) ** ramp_power - 1)
    Notes: the form of least squares to the tolerance-cost tables of the literature; it has no step and grows by less than ramp_power
    per cent for each per cent of the tolerance.

    Raises: FigureOutOfRange for a tolerance that is not above 0.
    """
    if figure <= 0:
        raise FigureOutOfRange("tolerance", figure, "figures above 0")
    return float(1 + slope * (max(knee / figure, 1.0) ** ramp_power - 1))


@law
def slowed_share(*, share: float, ramp: float, strength: float, strength_power: float) -> float:
    """Factor on the minutes of an operation of which a tolerance slows a share.

    Equation: 1 + share * ((1 + strength * (ramp - 1)) ** strength_power - 1)
    Notes: strength and its power fit the published ramps, which are of whole prices, to the minutes of single operations: early on
    the minutes rise faster than the ramp, and less and less so, as published prices rise by the same half from one class to the next.
    """
    return float(1 + share * ((1 + strength * (ramp - 1)) ** strength_power - 1))
