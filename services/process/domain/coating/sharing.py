"""Faces of a lens that may share a coating run: which of the coatings that do what is asked make the fewest and cheapest runs."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from services.optics.dispersion import Dispersion
from services.process.domain.coating.choice import Choice, choose
from services.process.domain.coating.cost import cost_of_piece, cost_of_run
from services.process.domain.coating.promise import asked_by, promise_of
from services.process.domain.coating.run import DesignedRow, run_name
from services.process.domain.element_work import ElementWork, FaceWork
from shared_schemas.prescription import CoatingDemand
from shared_schemas.rates import CoatingRow, GlassRow, Rates

MOST_STEPS = 4000
"""Choices looked at for a lens, which is a bound for contrived ones; a lens asks for some three different things."""


@dataclass(frozen=True)
class Wanted:
    """What a face asks of its coating, on which glass and diameter [mm]; faces that ask the same get the same."""

    demand: CoatingDemand
    glass: GlassRow
    diameter_mm: float


@dataclass(frozen=True)
class Option:
    """A coating that does what is asked: the run it is laid down in, and what that and a piece of a full one costs."""

    row: CoatingRow
    run: str
    run_cost: float
    piece_cost: float


def with_shared_runs(works: Sequence[ElementWork], rates: Rates) -> tuple[ElementWork, ...]:
    """The elements of a lens, their faces with the coatings that make the cheapest runs together."""
    faces = [(work, face) for work in works for face in work.faces if face.coating is not None]
    if all(face.coating_demand is None for _, face in faces):
        return tuple(works)
    named = [(rates.coating(face.coating or ""), work.glass) for work, face in faces if face.coating_demand is None]
    shared = sharing_runs((one for work, face in faces if (one := _wanted(work, face)) is not None), named, rates)

    def sharing(work: ElementWork, face: FaceWork) -> FaceWork:
        wanted = _wanted(work, face)
        row = None if wanted is None else shared.get(wanted)
        if row is None or row.name == face.coating:
            return face
        alone = None if face.design is not None else face.coating
        return replace(face, coating=row.name, runner_up=alone, design=row if isinstance(row, DesignedRow) else None)

    return tuple(replace(work, front=sharing(work, work.front), back=sharing(work, work.back)) for work in works)


def _wanted(work: ElementWork, face: FaceWork) -> Wanted | None:
    demand = face.coating_demand
    return None if demand is None or face.coating is None else Wanted(demand, work.glass, work.diameter_mm)


def sharing_runs(
    wanted: Iterable[Wanted], named: Iterable[tuple[CoatingRow, GlassRow]], rates: Rates
) -> Mapping[Wanted, CoatingRow]:
    """The coating, or the design to be tried, for each thing that the faces of a lens ask for, where there is one.

    Args:
        named: coatings that other faces have by name, whose runs there are anyway, with their glass.

    Notes:
        Of all choices that do what is asked, the one whose runs cost least, each kind of run once; of those the one whose pieces cost
        least in full runs. A few lenses fill no run, so that a run less is worth more than a cheaper one; many fill theirs, and lose
        the difference of two full runs. Asking for more leaves fewer choices, so the runs never get cheaper by it.
    """
    runs = {run_name(row, glass.name) for row, glass in named}
    chosen = {one: choose(one.demand, glass=one.glass, diameter_mm=one.diameter_mm, rates=rates) for one in dict.fromkeys(wanted)}
    chosen = {one: choice for one, choice in chosen.items() if choice.meets}
    designs = {(choice.row, one.glass.name) for one, choice in chosen.items() if choice.design is not None}
    options = {one: _options(one, choice, designs, rates) for one, choice in chosen.items()}
    useful = _useful(options, runs)
    return {one: option.row for one, option in _cheapest(useful, runs).items()}


def _options(wanted: Wanted, chosen: Choice, designs: set[tuple[CoatingRow, str]], rates: Rates) -> tuple[Option, ...]:
    """Every coating that does it, the one that is chosen first, and the designs on its glass that other faces ask for and that do it."""
    asked, glass = asked_by(wanted.demand), Dispersion(wanted.glass)
    tried = sorted((row for row, name in designs if name == wanted.glass.name and row != chosen.row), key=lambda row: row.name)
    does = [row for row in tried if (left := promise_of(row, asked, glass)) is not None and left.meets(wanted.demand)]
    rows = (chosen.row, *chosen.others, *does)
    return tuple(
        Option(row, run_name(row, wanted.glass.name), cost_of_run(row, rates), cost_of_piece(row, diameter_mm=wanted.diameter_mm, rates=rates))
        for row in rows
    )  # fmt: skip


def _useful(options: Mapping[Wanted, Sequence[Option]], runs: set[str]) -> dict[Wanted, list[Option]]:
    """Those that may be in the best choice: the cheapest alone by the run and by the piece, and whatever shares a run."""
    asking: dict[str, int] = {}
    for found in options.values():
        for option in found:
            asking[option.run] = asking.get(option.run, 0) + 1
    return {
        one: [
            option
            for option in found
            if option is found[0] or option is min(found, key=lambda o: o.run_cost) or option.run in runs or asking[option.run] > 1
        ]
        for one, found in options.items()
    }


def _cheapest(options: Mapping[Wanted, Sequence[Option]], runs: set[str]) -> dict[Wanted, Option]:
    """One option for each, by branch and bound; the first found where two cost the same."""
    order = sorted(options, key=lambda one: len(options[one]))
    best: list[tuple[float, float, tuple[Option, ...]]] = []
    steps = 0

    def go_on(made: frozenset[str], total: float, pieces: float, picked: tuple[Option, ...]) -> None:
        nonlocal steps
        steps += 1
        if best and ((total, pieces) >= best[0][:2] or steps > MOST_STEPS):
            return
        if len(picked) == len(order):
            best[:] = [(total, pieces, picked)]
            return
        each = [(option, 0.0 if option.run in made else option.run_cost) for option in options[order[len(picked)]]]
        for option, cost in sorted(each, key=lambda one: one[1]):
            go_on(made | {option.run}, round(total + cost, 6), round(pieces + option.piece_cost, 6), (*picked, option))

    go_on(frozenset(runs), 0.0, 0.0, ())
    return dict(zip(order, best[0][2], strict=True))
