"""Two changes of one table brought together, row by row and field by field: what only one of them touched is taken from it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

Row = dict[str, Any]


@dataclass(frozen=True)
class Conflict:
    """A field that both changed, each to something else; without a field a row that one changed and the other dropped."""

    row: str
    field: str | None
    base: Any
    draft: Any
    revision: Any


@dataclass(frozen=True)
class Brought:
    """A table of both changes; where they conflict, the figures of whoever was to win."""

    rows: list[Row]
    conflicts: tuple[Conflict, ...]


def brought_together(
    base: Sequence[Row], draft: Sequence[Row], revision: Sequence[Row], *, draft_wins: bool = False
) -> Brought:  # fmt: skip
    """The rows of a later `revision` with what the `draft` changed of `base`; rows that only the draft has come last."""
    was, mine, theirs = (_by_name(rows) for rows in (base, draft, revision))
    conflicts: list[Conflict] = []
    rows: list[Row] = []
    for name in [*theirs, *(name for name in mine if name not in theirs)]:
        row = _row(name, was.get(name), mine.get(name), theirs.get(name), conflicts, draft_wins=draft_wins)
        if row is not None:
            rows.append(row)
    # Order is the draft's where the revision left the rows as they stood: whoever only sorted a table did mean it.
    if list(revision) == list(base):
        place = {name: number for number, name in enumerate(mine)}
        rows.sort(key=lambda row: place.get(row["name"], len(place)))
    return Brought(rows, tuple(conflicts))


def _row(
    name: str, was: Row | None, mine: Row | None, theirs: Row | None, conflicts: list[Conflict], *, draft_wins: bool
) -> Row | None:  # fmt: skip
    if mine in (was, theirs):
        return theirs
    if theirs == was:
        return mine
    if mine is None or theirs is None:
        conflicts.append(Conflict(name, None, *(row and "a row" for row in (was, mine, theirs))))
        return mine if draft_wins else theirs
    merged: Row = {}
    before: Mapping[str, Any] = was or {}
    for field in {**theirs, **mine}:
        old, ours, others = before.get(field), mine.get(field), theirs.get(field)
        if ours not in (old, others) and others != old:
            conflicts.append(Conflict(name, field, old, ours, others))
            merged[field] = ours if draft_wins else others
        else:
            merged[field] = others if ours == old else ours
    return merged


def _by_name(rows: Sequence[Row]) -> dict[str, Row]:
    return {str(row["name"]): row for row in rows}
