"""The job as a network: what each part waits for, how it goes through the shop, what is made again, and what decides the day."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from services.quoting.costs.cost import MaterialCost
from services.quoting.promise.flow import Passage, Step
from services.quoting.promise.waits import Waits, places_of
from services.quoting.risk.orders import DATED
from services.quoting.risk.shortfalls import Shortfall
from shared_schemas.lead_times import Deciding, DecidingKind
from shared_schemas.operation_kinds import OperationName
from shared_schemas.operations import BoughtPart, Face, Route, Tooling

Numbers = npt.NDArray[np.float64]
Draws = npt.NDArray[np.bool_]

SHOWN = 5
"""So many of the things that decide a date are told."""
LATER = 457
"""What is made again meets the waits of another draw: the one so many places on."""


NOTHING_SUPPLIED: Mapping[str, tuple[str, float]] = MappingProxyType({})
"""Nothing comes from the customer."""


@dataclass(frozen=True)
class Delivery:
    """Something from outside that a part waits for: after so many calendar days, which are so many working hours from the order on."""

    name: str
    days: float
    hours: float


@dataclass(frozen=True)
class PartInTime:
    """One part: what it waits for, its passage, when its lot is short, and what making it again at once adds in those draws [h]."""

    route: Route
    delivery: Delivery | None
    steps: Sequence[Step]
    passage: Passage
    shortfall: Shortfall | None
    again: Numbers | None

    @cached_property
    def done(self) -> Numbers:
        """When it is there, made again where that was needed."""
        return self.passage.done if self.again is None else self.passage.done + self.again


def deliveries(
    routes: Sequence[Route], materials: Sequence[MaterialCost], bought_parts: Sequence[BoughtPart], tooling: Sequence[Tooling],
    supplied: Mapping[str, tuple[str, float]] = NOTHING_SUPPLIED,
) -> dict[str, tuple[str, float]]:  # fmt: skip
    """What each part waits for longest from outside, with its calendar days: glass, tools, what the customer supplies, for the lens bought parts."""
    waits: dict[str, tuple[str, float]] = {}
    parts = {route.part for route in routes}

    def later(part: str, name: str, days: float) -> None:
        if part in parts and days > waits.get(part, ("", 0.0))[1]:
            waits[part] = (name, days)

    for material in materials:
        for member in material.model.members:
            later(member, f"glass {material.model.glass}", material.lead_days)
    for tool in tooling:
        later(tool.part, tool.name, tool.lead_days)
    for part, (name, days) in supplied.items():
        later(part, name, days)
    for bought in bought_parts:
        later(routes[-1].part, bought.name, bought.lead_days)
    return waits


@dataclass(frozen=True)
class MakingAgain:
    """How a small lot goes through the shop from its first operation on: the waits of another draw, the set-ups, a batch or two."""

    waits: Waits
    waited_share: float = 1.0

    def takes_h(self, steps: Sequence[Step], passage: Passage, *, begin: Numbers, lot: int, draws: Draws) -> Numbers:
        """How long it takes when it is begun at those hours, in the draws in which it is needed; 0 in the others [h]."""
        hours, needed = np.zeros(DATED), np.flatnonzero(draws)
        work_h = sum(step.again_h(lot) for step in steps)
        if self.waits.by_week:
            hours[needed] = self._done(steps, begin[needed], lot, needed) - begin[needed]
        else:  # its waits are the same whenever it is begun
            hours[needed] = np.roll(passage.waited, LATER)[needed] + work_h
        return hours

    def _done(self, steps: Sequence[Step], begin: Numbers, lot: int, needed: npt.NDArray[np.intp]) -> Numbers:
        done = begin
        for step in steps:
            centre = self.waits.at(step.work_centre.name)
            if centre is not None:
                done = done + self.waited_share * centre.of(done, places_of(step.work_centre.name, step.visit)[needed - LATER])
            done = done + step.again_h(lot)
        return done


class _Decides(NamedTuple):
    """One thing that may decide a date: in what share of the draws, and how many days of the path are its own."""

    name: str
    part: str
    work_centre: str | None
    share: float
    days: float
    kind: DecidingKind
    operation: OperationName | None = None
    face: Face | None = None

    def told(self) -> Deciding:
        """As it stands in a quote."""
        return Deciding(**self._asdict() | {"share": round(self.share, 3), "days": round(self.days, 2)})


@dataclass(frozen=True)
class Network:
    """All parts of an order in time, by name, elements first and the lens last."""

    parts: dict[str, PartInTime]
    again: MakingAgain

    @cached_property
    def lens(self) -> PartInTime:
        """The whole lens."""
        return self.parts[next(reversed(self.parts))]

    @cached_property
    def late(self) -> tuple[Numbers, str] | None:
        """What making again adds after the lens, where only its end shows that an element is short: the element again, and the lens."""
        lens = self.lens
        found = {
            name: self.again.takes_h(part.steps, part.passage, begin=lens.done, lot=short.lot, draws=short.at_the_end)
            for name, part in self.parts.items()
            if (short := part.shortfall) is not None and short.at_the_end.any()
        }
        if not found:
            return None
        longest = np.maximum.reduce(list(found.values()))
        lens_h = self.again.takes_h(lens.steps, lens.passage, begin=lens.done + longest, lot=1, draws=longest > 0)
        return longest + lens_h, max(found, key=lambda name: float(found[name].sum()))

    @cached_property
    def done(self) -> Numbers:
        """When the last lens is packed, in every draw [h]."""
        return self.lens.done if self.late is None else self.lens.done + self.late[0]

    @cached_property
    def on_path(self) -> dict[str, Draws]:
        """The draws in which each part lies on the path that is done last."""
        on: dict[str, Draws] = {name: np.zeros(DATED, dtype=bool) for name in self.parts}
        on[self.lens.route.part] |= True
        for name in reversed(self.parts):
            part = self.parts[name]
            free = on[name].copy()
            for consumed in part.route.consumes:
                decides = free & (self.parts[consumed.part].done >= part.passage.arrival)
                on[consumed.part] |= decides
                free &= ~decides
        return on

    def waits_for(self, name: str) -> Draws:
        """The draws in which a part lies on that path and what decides its beginning is a delivery."""
        part = self.parts[name]
        if part.delivery is None:
            return np.zeros(DATED, dtype=bool)
        return np.asarray(self.on_path[name] & (part.passage.arrival <= part.delivery.hours))

    def path(self) -> tuple[str, ...]:
        """The path that decides most often, from what it waits for to the lens."""
        names: list[str] = []
        name = self.lens.route.part
        while True:
            names.append(name)
            inputs = {one.part: int(np.count_nonzero(self.on_path[one.part])) for one in self.parts[name].route.consumes}
            waiting, delivery = int(np.count_nonzero(self.waits_for(name))), self.parts[name].delivery
            most = max(inputs, key=lambda one: inputs[one], default="")
            if delivery is not None and waiting > inputs.get(most, 0):
                return (delivery.name, *reversed(names))
            if not inputs.get(most):
                return tuple(reversed(names))
            name = most

    def decided_by(self, hours_per_day: float) -> tuple[Deciding, ...]:
        """The five things that take most of the days of the path that is done last."""
        most = sorted(self._deciding(hours_per_day), key=lambda one: -round(one.days, 2))[:SHOWN]
        return tuple(one.told() for one in most)

    def _deciding(self, hours_per_day: float) -> Iterator[_Decides]:
        for name, part in self.parts.items():
            on = self.on_path[name]
            share = float(on.mean())
            if not share:
                continue
            if part.delivery is not None and (waits := float(self.waits_for(name).mean())):
                yield _Decides(part.delivery.name, name, None, waits, waits * part.delivery.days, "delivery")
            before = part.passage.arrival
            for step, finish in zip(part.steps, part.passage.finishes, strict=True):
                hours = float(on @ (finish - before)) / DATED
                days = hours / hours_per_day
                yield _Decides(step.name, name, step.work_centre.name, share, days, "operation", step.operation, step.face)
                before = finish
            if part.again is not None and (more := float(on @ part.again) / DATED) > 0:
                yield _Decides(
                    "made again", name, None, float((on & (part.again > 0)).mean()), more / hours_per_day, "making_again"
                )
        if self.late is not None:
            hours_late, most = self.late
            yield _Decides(
                "made again", most, None, float((hours_late > 0).mean()), float(hours_late.mean()) / hours_per_day, "making_again"
            )


def quantile(rising: Numbers, share: float) -> float:
    """The value that so large a share of the draws does not pass; `rising` are all of them in order."""
    return float(rising[max(math.ceil(share * len(rising) - 1e-9), 1) - 1])
