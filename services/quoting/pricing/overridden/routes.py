"""Routes with what an estimator set of their operations, operations left out and operations more; relaxations keep to it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

from services.quoting.pricing.overridden.places import EXTRA
from services.quoting.pricing.overridden.setting import Setting, set_figure, without_it
from services.quoting.pricing.ways import is_done, ways_of
from shared_schemas.operations import AddedOperation, LooserOperation, Operation, OperationPlan, Relaxation, Route, operation_ids
from shared_schemas.overrides import ExtraOperation
from shared_schemas.rates import Rates

FIELDS = {"yield": "yield_share"}
"""What a field is called in Python, where that is not its name in JSON."""
NOTHING: Mapping[str, Any] = {
    "setup_min": 0.0, "batch_min": 0.0, "piece_min": 0.0, "yield_share": 1.0, "batch_loss": 0.0, "consumables": Decimal(0), "lot_charge": Decimal(0),
    "wait_days": 0.0, "rework_share": 0.0, "rework_yield": 0.0, "rework_min": 0.0, "sampled": (), "shared_run": None, "left_out": True,
}  # fmt: skip
"""What an operation takes that is not done."""


def ids_of(route: Route) -> dict[str, tuple[int, ...]]:
    """The positions that an id stands for in a route of every way: one in each way that has it."""
    positions: dict[str, dict[int, None]] = defaultdict(dict)
    for made in ways_of(route):
        done = [place for place, one in enumerate(route.operations) if is_done(one.ways, made)]
        of_way = route.model_copy(update={"operations": tuple(route.operations[place] for place in done)})
        for place, name in zip(done, operation_ids([of_way])[route.part], strict=True):
            positions[name][place] = None
    return {name: tuple(places) for name, places in positions.items()}


def positions_of(routes: Sequence[Route]) -> dict[str, tuple[str, tuple[int, ...]]]:
    """By the id of every operation its part, and where in the route of that."""
    return {name: (route.part, places) for route in routes for name, places in ids_of(route).items()}


@dataclass
class _Changed:
    """What changes in one route."""

    figures: dict[int, dict[str, Setting]] = field(default_factory=lambda: defaultdict(dict))
    left_out: dict[int, Setting] = field(default_factory=dict)
    extras: list[tuple[int, Setting]] = field(default_factory=list)


def with_operations_set(plan: OperationPlan, settings: Sequence[Setting], rates: Rates) -> tuple[OperationPlan, list[Setting]]:
    """The plan with what is set of its operations, and the settings that are of none of them.

    Notes:
        An operation left out stays in the route of every way, marked: positions are those that relaxations count by, and no way falls away.
    """
    known, parts = positions_of(plan.routes), {route.part: route for route in plan.routes}
    changed: dict[str, _Changed] = defaultdict(_Changed)
    nowhere = []
    for setting in settings:
        place = setting.place
        part, positions = known.get(place.name, ("", ()))
        if place.field == EXTRA:
            after = _after(setting, parts, known)
            if after is None or setting.value.work_centre not in {row.name for row in rates.places_of_work}:
                nowhere.append(setting)
            else:
                changed[place.name].extras.append((after, setting))
        elif not positions:
            nowhere.append(setting)
        elif place.field == "left_out":
            changed[part].left_out |= dict.fromkeys(positions, setting)
        else:
            for position in positions:
                changed[part].figures[position][place.field] = setting
    for part, one in changed.items():
        nowhere += _kept_to_do_something(parts[part], one)
    routes = tuple(_amended(route, changed[route.part], rates) if route.part in changed else route for route in plan.routes)
    relaxations = tuple(
        _kept_to(one, parts[one.part], changed[one.part]) if one.part in changed else one for one in plan.relaxations
    )
    return plan.model_copy(update={"routes": routes, "relaxations": relaxations}), nowhere


def _after(setting: Setting, parts: Mapping[str, Route], known: Mapping[str, tuple[str, tuple[int, ...]]]) -> int | None:
    """Before which position of its route an extra operation comes, `None` where there is no such part or operation."""
    part = setting.place.name
    if part not in parts:
        return None
    if not setting.value.after:
        return len(parts[part].operations)
    of_part, positions = known.get(setting.value.after, ("", ()))
    return max(positions) + 1 if of_part == part else None


def _kept_to_do_something(route: Route, changed: _Changed) -> list[Setting]:
    """Takes back what would leave nothing to do on a part by some way, and gives what was taken back."""
    for made in ways_of(route):
        done = {place for place, one in enumerate(route.operations) if is_done(one.ways, made)}
        if done <= set(changed.left_out) and not changed.extras:
            last = changed.left_out[max(done)]
            changed.left_out = {place: setting for place, setting in changed.left_out.items() if setting is not last}
            return [last, *_kept_to_do_something(route, changed)]
    return []


def _amended(route: Route, changed: _Changed, rates: Rates) -> Route:
    operations: list[Operation] = []
    for position in range(len(route.operations) + 1):
        operations += (_extra(setting, rates) for before, setting in changed.extras if before == position)
        if position < len(route.operations):
            operations.append(_operation(route.operations[position], position, changed))
    return route.model_copy(update={"operations": tuple(operations)})


def _operation(operation: Operation, position: int, changed: _Changed) -> Operation:
    if position in changed.left_out:
        return operation.model_copy(update=dict(NOTHING))
    settings = {
        name: one for name, one in changed.figures.get(position, {}).items() if one.value != figure_of_operation(operation, name)
    }
    if not settings:
        return operation
    basis = [figure for figure in operation.basis if figure.name not in settings]
    basis += [
        set_figure(name, one, worked_out=without_it(operation.basis, name, figure_of_operation(operation, name), one.unit))
        for name, one in settings.items()
    ]
    values = {FIELDS.get(name, name): one.value for name, one in settings.items()}
    return operation.model_copy(update={**values, "basis": tuple(basis)})


def figure_of_operation(operation: Operation, name: str) -> Any:
    """What stands under a name of the JSON of an operation."""
    return getattr(operation, FIELDS.get(name, name))


def _extra(setting: Setting, rates: Rates) -> Operation:
    extra: ExtraOperation = setting.value
    centre = next(row for row in rates.places_of_work if row.name == extra.work_centre)
    attended = centre.attended_share if extra.attended_share is None else extra.attended_share
    figures = {
        "setup_min": extra.setup_min, "batch_size": extra.batch_size, "batch_min": extra.batch_min, "piece_min": extra.piece_min,
        "attended_share": attended, "yield": extra.yield_share, "batch_loss": extra.batch_loss, "consumables": setting.in_base(extra.consumables),
        "lot_charge": setting.in_base(extra.lot_charge), "wait_days": extra.wait_days,
    }  # fmt: skip
    basis = tuple(set_figure(name, replace(setting, value=value), worked_out=None) for name, value in figures.items() if value)
    return Operation.model_validate(
        {
            "operation": "own_work",
            "face": extra.face,
            "method": setting.place.extra,
            "work_centre": centre.name,
            "work_centre_id": centre.id,
            **figures,
            "basis": basis,
        }
    )


def _kept_to(relaxation: Relaxation, route: Route, changed: _Changed) -> Relaxation:
    """A relaxation of a route that was amended: what an estimator set stands there, and positions count the operations that came."""

    def moved(position: int, *, comes_before: bool = False) -> int:
        return position + sum(before < position or (before == position and not comes_before) for before, _ in changed.extras)

    return relaxation.model_copy(
        update={
            "operations": tuple(
                _looser(one, changed.figures.get(one.position, {})).model_copy(update={"position": moved(one.position)})
                for one in relaxation.operations
                if one.position not in changed.left_out
            ),
            "removed": tuple(moved(position) for position in relaxation.removed),
            "added": tuple(
                AddedOperation(
                    position=moved(one.position, comes_before=True), operation=_in_the_place(one, relaxation, route, changed)
                )
                for one in relaxation.added
            ),
        }
    )


def _in_the_place(added: AddedOperation, relaxation: Relaxation, route: Route, changed: _Changed) -> Operation:
    """An operation that a relaxation brings, with what was set of the one of its kind that it takes away."""
    kind = _kind(added.operation)
    for position in relaxation.removed:
        if _kind(route.operations[position]) == kind and (position in changed.left_out or position in changed.figures):
            return _operation(added.operation, position, changed)
    return added.operation


def _kind(operation: Operation) -> tuple[str, str | None, str]:
    return operation.operation, operation.face, operation.method


def _looser(looser: LooserOperation, settings: Mapping[str, Setting]) -> LooserOperation:
    """What becomes of an operation, but for the figures that were set of it."""
    known = {FIELDS.get(name, name): setting.value for name, setting in settings.items()}
    kept = {name: value for name, value in known.items() if name in LooserOperation.model_fields and _states(looser, name)}
    return looser.model_copy(update=kept) if kept else looser


def _states(looser: LooserOperation, name: str) -> bool:
    return getattr(looser, name) is not None
