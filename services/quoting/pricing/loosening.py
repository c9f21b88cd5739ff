"""A route with the operations that become of relaxations."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from typing import Any

from shared_schemas.operation_kinds import OPERATIONS
from shared_schemas.operations import STATED_IF_CHANGED, AddedOperation, LooserOperation, Operation, Relaxation, Route


def loosened(route: Route, granted: Sequence[Relaxation]) -> Route:
    """A route with the operations that become of relaxations of its part.

    Notes:
        Where several change one operation, each counts by its own factor on the minutes and its own power on the yield, as
        tolerances do; the largest batch of them is taken, and of the rest what the last of them states. What one of them
        takes away is gone; what two of them bring to one place is brought once.
    """
    if not granted:
        return route
    operations = list(route.operations)
    for relaxation in granted:
        for looser in relaxation.operations:
            asked, so_far = route.operations[looser.position], operations[looser.position]
            operations[looser.position] = so_far.model_copy(update=_figures(asked, so_far, looser))
    removed = {position for relaxation in granted for position in relaxation.removed}
    added = _added(granted)
    if removed or added:
        operations = _put_together(operations, removed, added)
    return route.model_copy(update={"operations": tuple(operations)})


def _added(granted: Sequence[Relaxation]) -> list[AddedOperation]:
    """What the relaxations bring: of any operation at one place as many as the one that brings most of it."""
    brought_by_all: list[AddedOperation] = []
    brought: Counter[tuple[int, str, str | None, str]] = Counter()
    for relaxation in granted:
        own: Counter[tuple[int, str, str | None, str]] = Counter()
        for one in relaxation.added:
            key = (one.position, one.operation.operation, one.operation.face, _occasion(one.operation))
            own[key] += 1
            if own[key] > brought[key]:
                brought_by_all.append(one)
        brought |= own
    return brought_by_all


def _occasion(operation: Operation) -> str:
    """The method where a route has the operation several times; it tells them apart."""
    return operation.method if OPERATIONS[operation.operation].repeated else ""


def _put_together(operations: Sequence[Operation], removed: set[int], added: Sequence[AddedOperation]) -> list[Operation]:
    together: list[Operation] = []
    for position in range(len(operations) + 1):
        together += (one.operation for one in added if one.position == position)
        if position < len(operations) and position not in removed:
            together.append(operations[position])
    return together


def _figures(asked: Operation, so_far: Operation, looser: LooserOperation) -> dict[str, Any]:
    stated = {name: getattr(looser, name) for name in STATED_IF_CHANGED if getattr(looser, name) is not None}
    if so_far is asked:
        return {
            "batch_size": looser.batch_size,
            "batch_min": looser.batch_min,
            "piece_min": looser.piece_min,
            "yield_share": looser.yield_share,
            **stated,
        }
    return {
        "batch_size": max(so_far.batch_size, looser.batch_size),
        "batch_min": so_far.batch_min * _ratio(looser.batch_min, asked.batch_min),
        "piece_min": so_far.piece_min * _ratio(looser.piece_min, asked.piece_min),
        "yield_share": so_far.yield_share ** _ratio(math.log(looser.yield_share), math.log(asked.yield_share)),
        **stated,
    }


def _ratio(after: float, before: float) -> float:
    return after / before if before else 1.0
