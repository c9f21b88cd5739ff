"""What the customer supplies, held against the plan of starts: when it is there, how much of it is taken, and what is lost of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date

from services.optics.law import law
from services.quoting.pricing.evaluation import Evaluation
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.operations import OperationPlan
from shared_schemas.order_terms import Supplied

IN_WORDS = {"glass": "kg of glass", "blank": "blanks"}


@law
def missing_of_supply(*, taken: float, supplied: float) -> float:
    """What is missing of something that the customer supplies: kilograms of glass, or blanks.

    Equation: max(taken - supplied, 0)
    """
    return max(taken - supplied, 0.0)


def arrivals_of(supplied: Sequence[Supplied], operations: OperationPlan) -> dict[str, tuple[str, date]]:
    """For each part the last thing from the customer that it waits for, with the day on which that is there."""
    arrivals: dict[str, tuple[str, date]] = {}
    for one in supplied:
        if one.arrives is None:
            continue
        for part in _waiting_for(one, operations):
            if part not in arrivals or one.arrives > arrivals[part][1]:
                arrivals[part] = (one.tool or f"the customer's {one.what}", one.arrives)
    return arrivals


def _waiting_for(one: Supplied, operations: OperationPlan) -> list[str]:
    """The parts that are not begun without it: every one that a tool serves."""
    if one.tool is not None:
        return [owned.part for owned in operations.tools_owned if owned.name == one.tool]
    return [] if one.element is None else [operations.alike.get(one.element, one.element)]


def findings_on_supplies(
    quantities: Sequence[Evaluation], supplied: Sequence[Supplied], alike: Mapping[str, str]
) -> tuple[Finding, ...]:
    """For every quantity what is taken of glass and blanks that the customer supplies, what of it is lost, and whether it is enough."""
    lots: dict[tuple[str, str], list[int]] = {}
    for place, one in enumerate(supplied):
        if one.what in IN_WORDS and one.element is not None:
            lots.setdefault((one.what, alike.get(one.element, one.element)), []).append(place)
    return tuple(
        remark
        for (what, part), places in lots.items()
        for evaluation in quantities
        for remark in _on_lot(what, part, [supplied[place] for place in places], places[0], evaluation)
    )


def _on_lot(what: str, part: str, entries: Sequence[Supplied], place: int, evaluation: Evaluation) -> Iterator[Finding]:
    start, pointer = evaluation.starts[part], f"/supplied/{place}"
    mass_kg = next(one.bought_mass_g for one in evaluation.materials if part in one.model.members) / 1000
    lost = start.started - start.needed
    glass = f", out of {mass_kg:.3g} kg" if what == "glass" else ""
    yield finding(
        "supplied-material-lost", pointer,
        f"For {evaluation.quantity:,}, {start.started:,} blanks of {part} are started{glass}; {start.needed:,} good pieces are needed of them, "
        f"so that up to {lost:,} may be lost.",
        figure=start.started, limit=start.needed, unit="blanks", remedy=f"supply {IN_WORDS[what]} for {start.started:,} pieces or more",
    )  # fmt: skip
    have = [one.mass_kg if what == "glass" else one.pieces for one in entries]
    if any(one is None for one in have):
        return
    taken, there = mass_kg if what == "glass" else float(start.started), sum(float(one) for one in have if one is not None)
    missing = missing_of_supply(taken=taken, supplied=there)
    if missing > 0:
        unit = "kg" if what == "glass" else "blanks"
        yield finding(
            "supplied-material-short", pointer,
            f"For {evaluation.quantity:,}, {taken:.4g} {unit} of {part} are taken, and {there:.4g} are supplied: {missing:.4g} are missing.",
            figure=round(taken, 4), limit=there, unit=unit, remedy=f"supply {missing:.4g} {unit} more",
        )  # fmt: skip
