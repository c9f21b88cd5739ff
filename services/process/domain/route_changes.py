"""What becomes of a route when a figure is another: operations that change, fall away or are added."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from operator import attrgetter

from services.process.domain.operation_lines import Line
from shared_schemas.operations import AddedOperation, LooserOperation, Operation

Step = Line | Operation

ALWAYS = ("batch_size", "batch_min", "piece_min", "yield_share")
"""What is told of every operation that changes."""
IF_CHANGED = ("method", "work_centre", "setup_min", "attended_share", "consumables", "batch_loss", "sampled")
"""What is told only where it changes."""
FIELDS = tuple(name for name in Operation.model_fields if name != "basis")

_key = attrgetter("operation", "face", "shared_run")
_all = attrgetter(*ALWAYS, *IF_CHANGED)


@dataclass(frozen=True)
class RouteChanges:
    """The difference of two routes; positions count in the one before."""

    operations: tuple[LooserOperation, ...] = ()
    removed: tuple[int, ...] = ()
    added: tuple[AddedOperation, ...] = ()

    def __bool__(self) -> bool:
        """Whether anything changes."""
        return bool(self.operations or self.removed or self.added)


def route_changes(before: Sequence[Step], after: Sequence[Step]) -> RouteChanges:
    """How one route comes from another.

    Notes: an operation stays the same one while its name, face and shared run do, whatever becomes of its method and figures;
    what has no counterpart in its place is removed, or added.
    """
    old, new = [*map(_key, before)], [*map(_key, after)]
    if old == new:
        return RouteChanges(operations=tuple(_changed(before, after, 0, 0, len(old))))
    changed: list[LooserOperation] = []
    removed: list[int] = []
    added: list[AddedOperation] = []
    for tag, start, end, first, last in SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        if tag == "equal":
            changed += _changed(before, after, start, first, end - start)
        else:
            removed += range(start, end)
            added += (AddedOperation(position=end, operation=_bare(after[i])) for i in range(first, last))
    return RouteChanges(tuple(changed), tuple(removed), tuple(added))


def _changed(before: Sequence[Step], after: Sequence[Step], start: int, first: int, count: int) -> list[LooserOperation]:
    found = []
    for i in range(count):
        old, new = before[start + i], after[first + i]
        if new is not old and _all(new) != _all(old):
            others = {name: getattr(new, name) for name in IF_CHANGED if getattr(new, name) != getattr(old, name)}
            figures = {name: getattr(new, name) for name in ALWAYS}
            found.append(LooserOperation(position=start + i, **figures, **others))
    return found


def _bare(step: Step) -> Operation:
    """An operation without its basis: nobody asks why of what is only offered."""
    return Operation(**{name: getattr(step, name) for name in FIELDS})
