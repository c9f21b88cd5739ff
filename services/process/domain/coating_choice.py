"""Which coating of the rates a face gets: by its name, or the simplest that does what is asked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from services.optics.dispersion import Dispersion
from services.process.domain.coating_cycle import cycle_min, seats
from services.process.domain.film_promise import Asked, Left, promise_of
from shared_schemas.prescription import CoatingDemand
from shared_schemas.rates import CoatingRow, GlassRow, RateMissing, Rates


@dataclass(frozen=True)
class Choice:
    """The coating that is chosen, what it leaves where it is asked to work (None beyond the glass), and whether that is enough."""

    row: CoatingRow
    left: Left | None
    meets: bool


def asked_by(demand: CoatingDemand) -> Asked:
    """Where a demand asks a coating to work."""
    return Asked(demand.band_nm[0], demand.band_nm[1], demand.angle_deg)


def choose(demand: CoatingDemand, *, glass: GlassRow, diameter_mm: float, rates: Rates) -> Choice:
    """The simplest coating that meets a demand on a glass; where none does, the one that comes nearest.

    Args:
        diameter_mm: of the lens; coatings whose calottes hold it go first [mm].

    Notes: simplest is fewest layers, then the shortest run, then the cheapest consumables, then the name.

    Raises: RateMissing when the rates have no coating at all.
    """
    if not rates.coatings:
        raise RateMissing("coatings", str(demand))
    holding = [row for row in rates.coatings if seats(row, diameter_mm=diameter_mm) > 0]
    return _simplest(demand, holding or rates.coatings, Dispersion(glass))


def _simplest(demand: CoatingDemand, rows: Sequence[CoatingRow], glass: Dispersion) -> Choice:
    nearest: Choice | None = None
    for row in sorted(rows, key=lambda row: (len(row.layers), cycle_min(row), row.run_consumables, row.name)):
        left = promise_of(row, asked_by(demand), glass)
        if left is not None and left.worst <= demand.reflectance_max_share:
            return Choice(row, left, meets=True)
        if nearest is None or (left is not None and nearest.left is not None and left.worst < nearest.left.worst):
            nearest = Choice(row, left, meets=False)
    assert nearest is not None
    return nearest
