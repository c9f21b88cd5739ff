"""The route of one element and what its tolerances could spare, remembered: the same element by the same rates is planned once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from services.process.domain.coating_findings import coating_notes
from services.process.domain.element_work import ElementWork
from services.process.domain.notes import notes_of
from services.process.domain.relaxations import relaxations_of
from services.process.domain.routing import ElementLines, element_lines
from shared_schemas.check import Finding
from shared_schemas.operations import Relaxation, Route
from shared_schemas.rates import Rates

REMEMBERED = 512
"""Elements whose plan is kept; a quote asked for again, at other quantities or on another day, finds its own."""


@dataclass(frozen=True)
class ElementPlan:
    """The operations of an element, its route card, each tolerance one class looser, and what to say of it."""

    lines: ElementLines
    route: Route
    relaxations: tuple[Relaxation, ...]
    notes: tuple[Finding, ...]


@dataclass(frozen=True, eq=False)
class _InForce:
    """Rates told apart by identity: a worker keeps one object for each revision, and to compare thousands of rows takes long."""

    rates: Rates

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _InForce) and other.rates is self.rates

    def __hash__(self) -> int:
        return id(self.rates)


def element_plan(work: ElementWork, rates: Rates) -> ElementPlan:
    """The plan of an element; raises `RateMissing` for what the rates do not have."""
    return _planned(work, _InForce(rates))


def forget_elements() -> None:
    """Forget every plan, as a process that has just started; for measuring."""
    _planned.cache_clear()


@lru_cache(maxsize=REMEMBERED)
def _planned(work: ElementWork, in_force: _InForce) -> ElementPlan:
    rates = in_force.rates
    lines = element_lines(work, rates)
    return ElementPlan(
        lines=lines,
        route=Route(part=work.name, kind="element", operations=tuple(line.as_operation() for line in lines)),
        relaxations=tuple(relaxations_of(work, lines, rates)),
        notes=(*notes_of(work, rates), *coating_notes(work, rates)),
    )
