"""Which coating a face gets: the one named, the cheapest that does what is asked, a design to be tried, or one step simpler."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from services.optics.dispersion import Dispersion
from services.process.domain.coating.cost import cost_of_piece
from services.process.domain.coating.design import STARTS, Design, design_of, films_of, row_of
from services.process.domain.coating.promise import Asked, Left, asked_by, bare_face, promise_of, stack_of
from services.process.domain.coating.run import deposition_min, seats
from shared_schemas.prescription import CoatingDemand
from shared_schemas.rates import CoatingRow, GlassRow, RateMissing, Rates

COOL_FAMILIES = frozenset({"fluoride", "zinc", "chalcogenide"})
"""Families of materials that crack or sublime in a hot chamber."""

HOTTEST_COOL_C = 150.0
"""Temperature that they stand in a chamber [deg C]: ion-assisted films are laid down at 80 to 150 (common practice, from memory)."""


@dataclass(frozen=True)
class Choice:
    """The coating that is chosen, what it reflects where it is asked to work (None beyond the glass or the films), whether that is enough.

    `others` do it too, the cheapest first; `design` is the stack, where it is one to be tried.
    """

    row: CoatingRow
    left: Left | None
    meets: bool
    others: tuple[CoatingRow, ...] = ()
    design: Design | None = None


def hottest_c_for(glass: GlassRow) -> float | None:
    """The temperature that a glass stands in a coating chamber [deg C]; None where none is known."""
    return HOTTEST_COOL_C if glass.work_family in COOL_FAMILIES else None


def too_hot(row: CoatingRow, glass: GlassRow) -> bool:
    """Whether the run of a coating is hotter than a glass stands."""
    limit = hottest_c_for(glass)
    return limit is not None and row.hottest_c is not None and row.hottest_c > limit


def choose(demand: CoatingDemand, *, glass: GlassRow, diameter_mm: float, rates: Rates) -> Choice:
    """The cheapest coating that meets a demand on a glass; where none does a design to be tried, or the one that comes nearest.

    Args:
        diameter_mm: of the lens; coatings whose calottes hold it go first, and of those the ones that the glass stands [mm].

    Notes:
        Cheapest is by the cost of a piece of a full run, then fewest layers, then the name: one rule for every quantity. What
        meets a tighter demand meets the looser one, so the looser never costs more. A design is coated in the run of the dearest
        coating that could be taken, for no less than its minutes, and for no less than a design of fewer layers, so it keeps the
        rule. Designs are made only where the rates have the charge of a trial.

    Raises: RateMissing when the rates have no coating at all, or no work centre for it.
    """
    if not rates.coatings:
        raise RateMissing("coatings", str(demand))
    holding = [row for row in rates.coatings if seats(row, diameter_mm=diameter_mm) > 0] or list(rates.coatings)
    usable = [row for row in holding if not too_hot(row, glass)] or holding
    cheapest_first = _cheapest_first([row for row in usable if demand.mirror or not stack_of(row).absorbs], diameter_mm, rates)
    asked, dispersion = asked_by(demand), Dispersion(glass)
    found = [(row, promise_of(row, asked, dispersion)) for row in cheapest_first]
    meeting = [(row, left) for row, left in found if left is not None and left.meets(demand)]
    if meeting:
        row, left = meeting[0]
        return Choice(row, left, meets=True, others=tuple(other for other, _ in meeting[1:]))
    tried = list(_designed(demand, cheapest_first, dispersion, rates))
    if tried and tried[-1].meets:
        return tried[-1]
    return _nearest(
        demand, [*(Choice(row, left, meets=False) for row, left in found), *tried] or [Choice(usable[0], None, meets=False)]
    )


def _cheapest_first(rows: Sequence[CoatingRow], diameter_mm: float, rates: Rates) -> list[CoatingRow]:
    return sorted(rows, key=lambda row: (cost_of_piece(row, diameter_mm=diameter_mm, rates=rates), len(row.layers), row.name))


def _designed(demand: CoatingDemand, cheapest_first: Sequence[CoatingRow], glass: Dispersion, rates: Rates) -> Iterator[Choice]:
    """Designs of more and more layers, to the first that meets the demand; none of a mirror, nor where the rates have no trial."""
    if demand.mirror or not cheapest_first or not any(row.kind == "coating_trial" for row in rates.tooling):
        return
    asked, least_min = asked_by(demand), 0.0
    films = films_of(cheapest_first, asked)
    for start in STARTS:
        design = design_of(start, films, asked, glass)
        if design is None:
            continue
        row = row_of(design, asked, glass_name=glass.row.name, run_of=cheapest_first[-1], least_layers_min=least_min)
        least_min = deposition_min(row)
        meets = design.left.meets(demand)
        yield Choice(row, design.left, meets=meets, design=design)
        if meets:
            return


def _nearest(demand: CoatingDemand, choices: Sequence[Choice]) -> Choice:
    """Of coatings that do not meet a demand, the first that comes nearest; the first of all where none is known in the band."""
    sign = -1 if demand.mirror else 1
    known = [one for one in choices if one.left is not None]
    return min(known, key=lambda one: sign * one.left.nearest_to(demand)[0] if one.left else 0.0) if known else choices[0]


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
        if best_layers <= len(other.layers) < len(row.layers) and not too_hot(other, glass.row):
            left = promise_of(other, asked, glass)
            if left is not None and left.mean < bare.mean and (len(other.layers) > best_layers or left.mean < then):
                best, best_layers, then = other.name, len(other.layers), left.mean
    name = "no coating" if best is None else best
    means = f"{name} instead of {row.name}; reflected in the mean {asked}"
    return Simpler(best, round(100 * now.mean, 2), round(100 * then, 2), means)
