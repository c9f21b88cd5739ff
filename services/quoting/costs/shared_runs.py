"""Runs that pieces of several parts go into together, such as those of one coating: how many, and who bears what of them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from shared_schemas.operations import Route


@dataclass(frozen=True)
class SharedRun:
    """All that goes into the runs of one name in a lot: how many runs, and how many they would be if they could be filled to a hair."""

    runs: int
    filled: float

    def borne(self, pieces: int, batch_size: int) -> float:
        """Of the runs, what those pieces bear: in proportion to the room they take."""
        return self.runs * (pieces / batch_size) / self.filled if self.filled else 0.0


@dataclass(frozen=True)
class Room:
    """Room in the runs of one name that one part takes, in runs, and how often its pieces must go into a run."""

    filled: float = 0.0
    times: int = 0


def rooms_of(route: Route, *, started: int) -> dict[str, Room]:
    """What the pieces of a route take of every run that is shared."""
    found: dict[str, Room] = {}
    reaching = float(started)
    for operation in route.operations:
        if operation.shared_run is not None:
            before = found.get(operation.shared_run, Room())
            pieces = math.ceil(round(reaching, 9))
            found[operation.shared_run] = Room(before.filled + pieces / operation.batch_size, before.times + 1)
        reaching *= operation.yield_share * (1 - operation.batch_loss)
    return found


def run_of(rooms: Iterable[Room]) -> SharedRun:
    """The runs that those rooms take together.

    Notes:
        max(ceil(sum of n_i / B_i), most operations of one part): B_i is what a run holds of one part alone, so that n_i / B_i
        is the share of a run its pieces take; a piece with two faces to do goes into two runs.
    """
    filled, times = 0.0, 0
    for room in rooms:
        filled += room.filled
        times = max(times, room.times)
    return SharedRun(max(math.ceil(filled - 1e-9), times if filled else 0), filled)


@dataclass(frozen=True)
class SharedRuns:
    """The runs that parts share, by name, and the room that each part takes of them."""

    rooms: Mapping[str, Mapping[str, Room]]
    by_name: Mapping[str, SharedRun]

    def alike(self, other: SharedRuns, part: str) -> bool:
        """Whether the runs that a part shares are the same ones in `other`."""
        return all(self.by_name.get(name) == other.by_name.get(name) for name in other.rooms[part])

    def when(self, route: Route, *, started: int) -> Mapping[str, SharedRun]:
        """The runs, by name, when one part is made by that route and so many of it are started."""
        of_route = rooms_of(route, started=started)
        if of_route == self.rooms[route.part]:
            return self.by_name
        rooms = {**self.rooms, route.part: of_route}
        changed = of_route.keys() | self.rooms[route.part].keys()
        return {**self.by_name, **_runs(rooms, changed)}


def shared_runs(routes: Sequence[Route], started: Mapping[str, int]) -> SharedRuns:
    """The runs that are shared when so many of each part are started."""
    rooms = {route.part: rooms_of(route, started=started[route.part]) for route in routes}
    return SharedRuns(rooms, _runs(rooms, {name for one in rooms.values() for name in one}))


def _runs(rooms: Mapping[str, Mapping[str, Room]], names: Iterable[str]) -> dict[str, SharedRun]:
    return {name: run_of(one[name] for one in rooms.values() if name in one) for name in names}
