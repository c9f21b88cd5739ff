"""Runs that pieces of several parts go into together, such as those of one coating: how many, and who bears what of them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from services.optics.law import law
from services.quoting.costs.rework import batches_scrapped_by, kept_by
from shared_schemas.operations import Route


@law
def pieces_reaching(*, started: int, reach_share: float) -> int:
    """Pieces that reach an operation, in the mean and in whole ones.

    Equation: ceil(round(started * reach_share, 9))
    """
    return math.ceil(round(started * reach_share, 9))


@law
def reach_after(*, reach_share: float, yield_share: float, batch_loss: float) -> float:
    """Share of the started pieces that an operation leaves of those that reach it.

    Equation: reach_share * (yield_share * (1 - batch_loss))
    """
    return reach_share * (yield_share * (1 - batch_loss))


@dataclass(frozen=True)
class SharedRun:
    """All that goes into the runs of one name in a lot: how many runs, and how many they would be if they could be filled to a hair."""

    runs: int
    filled: float

    def borne(self, pieces: int, batch_size: int) -> float:
        """Of the runs, what those pieces bear: in proportion to the room they take."""
        return borne_batches(runs=self.runs, pieces=pieces, batch_size=batch_size, room=self.filled) if self.filled else 0.0


@law
def borne_batches(*, runs: int, pieces: int, batch_size: int, room: float) -> float:
    """Of runs that parts share, those that some pieces pay for: in proportion to the room they take.

    Equation: runs * (pieces / batch_size) / room
    """
    return runs * (pieces / batch_size) / room


@law
def runs_for(*, room: float, most_times: int) -> int:
    """Runs that take the room of all parts, no fewer than one part has operations of their name: a piece is in a run once.

    Equation: max(ceil(room - 1e-9), most_times)
    """
    return max(math.ceil(room - 1e-9), most_times)


@law
def room_in_all(*, shares: Sequence[float]) -> float:
    """Room that all parts take in the runs of a name, in runs.

    Equation: sum(shares)
    """
    return sum(shares)


@law
def run_share(*, pieces: int, batch_size: int) -> float:
    """Room that pieces take in the runs of a name, in runs.

    Equation: pieces / batch_size
    """
    return pieces / batch_size


@dataclass(frozen=True)
class Room:
    """Room in the runs of one name that one part takes, in runs, and how often its pieces must go into a run."""

    filled: float = 0.0
    times: int = 0


def rooms_of(route: Route, *, started: int) -> dict[str, Room]:
    """What the pieces of a route take of every run that is shared."""
    rooms: dict[str, Room] = {}
    reach = 1.0
    for operation in route.operations:
        if operation.shared_run is not None:
            before = rooms.get(operation.shared_run, Room())
            pieces = pieces_reaching(started=started, reach_share=reach)
            rooms[operation.shared_run] = Room(
                before.filled + run_share(pieces=pieces, batch_size=operation.batch_size), before.times + 1
            )
        reach = reach_after(reach_share=reach, yield_share=kept_by(operation), batch_loss=batches_scrapped_by(operation))
    return rooms


def run_of(rooms: Iterable[Room]) -> SharedRun:
    """The runs that those rooms take together.

    Notes:
        max(ceil(sum of n_i / B_i), most operations of one part): B_i is what a run holds of one part alone, so that n_i / B_i
        is the share of a run its pieces take; a piece with two faces to do goes into two runs.
    """
    each = list(rooms)
    filled, times = room_in_all(shares=[room.filled for room in each]), max((room.times for room in each), default=0)
    return SharedRun(runs_for(room=filled, most_times=times) if filled else 0, filled)


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
