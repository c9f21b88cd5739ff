"""What a material stands of heat: the jump of temperature at which a surface cracks."""

from __future__ import annotations

from services.optics.law import law
from shared_schemas.rates import GlassRow


@law
def thermal_shock_k(*, strength_mpa: float, poisson: float, young_gpa: float, expansion_1e6_per_k: float) -> float:
    """Sudden change of temperature of a surface [K] whose stress is the strength: dT = sigma (1 - nu) / (E alpha).

    Equation: strength_mpa * (1 - poisson) / (young_gpa * 1000 * expansion_1e6_per_k * 1e-6)
    Notes: the surface takes its new temperature at once and the inside keeps the old one, so a slower change is stood better.
    Source: derived from the stress of a plate that may not expand.
    """
    return strength_mpa * (1 - poisson) / (young_gpa * 1000 * expansion_1e6_per_k * 1e-6)


def thermal_shock_of(row: GlassRow) -> float | None:
    """The jump of temperature that a material of the rates stands [K]; `None` where one of its four properties is not published.

    Notes: a material that does not expand, or shrinks with heat, does not crack so.
    """
    if row.strength_mpa is None or row.poisson is None or row.young_gpa is None or not row.cte_30_70_1e6_per_k:
        return None
    if row.cte_30_70_1e6_per_k < 0:
        return None
    return thermal_shock_k(
        strength_mpa=row.strength_mpa, poisson=row.poisson, young_gpa=row.young_gpa, expansion_1e6_per_k=row.cte_30_70_1e6_per_k
    )
