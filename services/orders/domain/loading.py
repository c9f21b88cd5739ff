"""Finite-capacity forward loading: work goes where there is room, from its earliest slot on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Filled:
    """How work was laid into slots: so much in each, from the first to the last."""

    taken: Mapping[int, int]

    @property
    def first(self) -> int:
        """The first slot with some of it."""
        return min(self.taken)

    @property
    def last(self) -> int:
        """The last slot with some of it."""
        return max(self.taken)


def fill(amount: int, free: Iterable[int], *, earliest: int) -> Filled:
    """Lay an amount into slots with so much free each, not before `earliest`; what finds no room stands in the last slot.

    Notes: in each slot min(free, rest), the rest goes on to the next; no slot is looked at after the last that is needed.
    Nothing of the amount is lost.
    Source: capable-to-promise loading, common practice.
    """
    taken: dict[int, int] = {}
    rest, slot = amount, 0
    for slot, room in enumerate(free):
        if slot < earliest:
            continue
        if here := min(max(room, 0), rest):
            taken[slot] = here
            rest -= here
        if not rest:
            break
    if rest or not taken:
        taken[slot] = taken.get(slot, 0) + rest
    return Filled(taken)


def fill_in_turn(work: Sequence[tuple[str, int]], free: Mapping[str, Sequence[int]], *, transfer: int = 1) -> list[Filled]:
    """Operations one after the other, each an amount at a work centre, not begun before `transfer` slots after the one before is done."""
    filled: list[Filled] = []
    earliest = 0
    for centre, amount in work:
        filled.append(fill(amount, free[centre], earliest=earliest))
        earliest = filled[-1].last + transfer
    return filled
