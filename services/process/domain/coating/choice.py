"""Which coating a face gets: the one named, the simplest that does what is asked, or one step simpler."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from services.optics.dispersion import Dispersion
from services.process.domain.coating.promise import Asked, Left, bare_face, promise_of
from services.process.domain.coating.run import cycle_min, seats
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


@dataclass(frozen=True)
class Simpler:
    """A coating (None the bare face) with what the face reflects now and then, mean over the band of the present one [%]."""

    coating: str | None
    from_reflectance: float
    to_reflectance: float
    means: str


def simpler_coating(row: CoatingRow, *, asked: Asked, glass: Dispersion, rates: Rates) -> Simpler | None:
    """What a face could have instead of its coating; None for one that is no antireflection coating.

    Notes:
        Of the coatings with fewer layers that reflect less than the bare glass, in the band of the present one, that with
        the most layers, and of those the one that reflects least; the bare face where there is none. A mirror or a divider
        reflects more than the bare glass and is left as it is.
    """
    bare, now = bare_face(asked, glass), promise_of(row, asked, glass)
    if bare is None or now is None or now.mean >= bare.mean:
        return None
    best, best_layers, then = None, 0, bare.mean
    for other in rates.coatings:
        if best_layers <= len(other.layers) < len(row.layers):
            left = promise_of(other, asked, glass)
            if left is not None and left.mean < bare.mean and (len(other.layers) > best_layers or left.mean < then):
                best, best_layers, then = other.name, len(other.layers), left.mean
    name = "no coating" if best is None else best
    means = f"{name} instead of {row.name}; reflected in the mean {asked}"
    return Simpler(best, round(100 * now.mean, 2), round(100 * then, 2), means)
