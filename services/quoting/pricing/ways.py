"""The ways there are to a part, and its route when each choice is made."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import get_args

import numpy as np
import numpy.typing as npt

from services.quoting.costs.rework import batches_scrapped_by, kept_by, rework_min_each
from services.shop.minutes import PerMinute
from shared_schemas.blanks import MaterialModel
from shared_schemas.operations import Choice, Operation, Route, Tooling, Way

Ways = tuple[Way, ...]
"""One way to a part: every choice there is, made."""

Numbers = npt.NDArray[np.float64]


def is_done(needs: Sequence[Way], made: Ways) -> bool:
    """Whether something that needs choices made so is done when they are made like that."""
    return all(way in made for way in needs)


def tools_needed(tools: Iterable[Tooling], made: Mapping[str, Ways]) -> tuple[Tooling, ...]:
    """The tools that are needed when every part is made its way; one that several faces or parts need is made once, by its name."""
    once: dict[str, Tooling] = {}
    for tool in tools:
        if is_done(tool.ways, made.get(tool.part, ())):
            once.setdefault(tool.name, tool)
    return tuple(once.values())


def made_so(route: Route, made: Ways) -> Route:
    """The route of one way, without what is left out; the same object where all of it is done."""
    done = tuple(operation for operation in route.operations if is_done(operation.ways, made) and not operation.left_out)
    return route if len(done) == len(route.operations) else route.model_copy(update={"operations": done})


def ways_of(route: Route, forms: Sequence[str] = ()) -> tuple[Ways, ...]:
    """Every way to a part: one option of each choice, always in the same order of choices; options as the plan names them.

    Args:
        forms: the forms of blank that an element may come from.
    """
    options: dict[str, dict[Way, None]] = {}
    for form in forms:
        options.setdefault("blank", {})[Way(choice="blank", option=form)] = None
    for operation in route.operations:
        for way in operation.ways:
            options.setdefault(way.choice, {})[way] = None
    return tuple(product(*(options[choice] for choice in get_args(Choice) if choice in options)))


def as_choices(made: Ways) -> dict[str, str]:
    """A way as it is told: choice and option."""
    return {way.choice: way.option for way in made}


@dataclass(frozen=True)
class GlassCurve:
    """Cost of so many blanks of one element of one form: the first step that is enough; shape (k,), rising."""

    blanks: Numbers
    cost: Numbers

    def of(self, numbers: Numbers) -> Numbers:
        """Cost of whole numbers of blanks; past the last step whole lots of it are bought again."""
        most = self.blanks[-1]
        lots = np.floor(numbers / most)
        left = numbers - lots * most
        rest = self.cost[np.minimum(np.searchsorted(self.blanks, left), len(self.cost) - 1)]
        return np.asarray(lots * self.cost[-1] + np.where(left > 0, rest, 0.0))


NO_GLASS = GlassCurve(np.array([1e12]), np.array([0.0]))


def glass_curves(materials: Sequence[MaterialModel]) -> dict[tuple[str, str | None], GlassCurve]:
    """What blanks of each element cost, by its name and their form; by itself where it can buy for itself."""
    curves: dict[tuple[str, str | None], GlassCurve] = {}
    for model in materials:
        apart = {member: one for one in model.apart for member in one.members}
        for member in model.members:
            steps = apart.get(member, model).steps
            shared = 1.0 if member in apart else len(model.members)
            curves[member, model.form] = GlassCurve(
                np.array([float(step.blanks) for step in steps]), np.array([float(step.cost) / shared for step in steps])
            )
    return curves


@dataclass(frozen=True)
class WayCosts:
    """What every way to a part costs at numbers of starts, in floating point: arrays over ways (w) and operations of the plan (o).

    `done` says which way does what, `reach` what share of the started pieces comes to it, `good` what share comes out, `singly` what
    share if no whole batch is lost.
    """

    ways: tuple[Ways, ...]
    done: Numbers
    reach: Numbers
    good: Numbers
    singly: Numbers
    setup: Numbers
    batch: Numbers
    size: Numbers
    piece: Numbers
    tools: Numbers
    glass: tuple[tuple[GlassCurve, tuple[int, ...]], ...]
    """What blanks cost, and for which ways."""

    def at(self, numbers: Numbers, *, marked_up: float = 1.0) -> Numbers:
        """Cost of numbers of starts, one for each way: shape (…, w).

        Args:
            marked_up: how much more than its cost the customer pays for work and glass; charges for tools are prices already.
        """
        through = numbers[..., None] * self.reach
        batches = np.ceil(through / self.size - 1e-9)
        made = ((self.setup + batches * self.batch + through * self.piece) * self.done).sum(axis=-1)
        glass = np.empty(numbers.shape)
        for curve, places in self.glass:
            glass[..., places] = curve.of(numbers[..., places])
        return np.asarray(made + glass + self.tools / marked_up)

    def of_way(self, place: int, numbers: Numbers) -> Numbers:
        """Cost of numbers of starts by one way, shape (k,)."""
        through = numbers[:, None] * self.reach[place]
        batches = np.ceil(through / self.size - 1e-9)
        made = ((self.setup + batches * self.batch + through * self.piece) * self.done[place]).sum(axis=-1)
        curve = next(curve for curve, places in self.glass if place in places)
        return np.asarray(made + curve.of(numbers))


def way_costs(
    route: Route, *, forms: Sequence[str], curves: Mapping[tuple[str, str | None], GlassCurve], tools: Iterable[Tooling],
    per_minute: Mapping[str, PerMinute],
) -> WayCosts:  # fmt: skip
    """The costs of every way to a part.

    Notes: pieces share no run with other parts, and what only a sample is looked at for counts for each piece: it is the same
    for every way.
    """
    ways = ways_of(route, forms)
    operations = route.operations
    needs, chosen = [frozenset(operation.ways) for operation in operations], [frozenset(made) for made in ways]
    done = np.array([[needed <= made for needed in needs] for made in chosen], dtype=float)
    kept = np.array([kept_by(one) * (1 - batches_scrapped_by(one)) for one in operations])
    alone = np.array([kept_by(one) * (1 - batches_scrapped_by(one) if one.batch_size == 1 else 1.0) for one in operations])
    left: Numbers = np.cumprod(np.where(done > 0, kept, 1.0), axis=1, dtype=np.float64)
    reach: Numbers = np.concatenate((np.ones((len(ways), 1)), left[:, :-1]), axis=1)
    setup, batch, piece = (np.array(column) for column in zip(*(_money(one, per_minute) for one in operations), strict=True))
    own_tools = [tool for tool in tools if tool.part == route.part]
    return WayCosts(
        ways=ways,
        done=done,
        reach=reach,
        good=left[:, -1],
        singly=np.prod(np.where(done > 0, alone, 1.0), axis=1),
        setup=setup,
        batch=batch,
        size=np.array([float(one.batch_size) for one in operations]),
        piece=piece,
        tools=np.array([sum(float(tool.charge) for tool in tools_needed(own_tools, {route.part: made})) for made in ways]),
        glass=_glass_of(route.part, ways, curves),
    )


def _money(operation: Operation, per_minute: Mapping[str, PerMinute]) -> tuple[float, float, float]:
    minute = per_minute[operation.work_centre]
    busy = minute.attended(operation.attended_share)
    return (
        operation.setup_min * minute.attended(1.0) + float(operation.lot_charge),
        operation.batch_min * busy + float(operation.consumables),
        operation.piece_min * busy + rework_min_each(operation) * minute.attended(1.0),
    )


def _glass_of(
    part: str, ways: Sequence[Ways], curves: Mapping[tuple[str, str | None], GlassCurve]
) -> tuple[tuple[GlassCurve, tuple[int, ...]], ...]:
    """Each cost of blanks, with the places of the ways that it is for."""
    of_ways = [_curve(part, made, curves) for made in ways]
    different = {id(curve): curve for curve in of_ways}
    return tuple((curve, tuple(place for place, one in enumerate(of_ways) if one is curve)) for curve in different.values())


def _curve(part: str, made: Ways, curves: Mapping[tuple[str, str | None], GlassCurve]) -> GlassCurve:
    form = next((way.option for way in made if way.choice == "blank"), None)
    return curves.get((part, form)) or curves.get((part, None)) or NO_GLASS
