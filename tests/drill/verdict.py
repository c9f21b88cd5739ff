"""What became of every quote of the drill, held against what a quiet run gave."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from shared_schemas.pipeline import QUEUES
from tests.drill.box import Box
from tests.drill.load import Request
from tests.drill.strangers import BOMB

Expected = Mapping[tuple[int, date], tuple[str, str]]
"""Status and digest of a quiet run, by kind of request and day (a quote carries its date)."""


@dataclass(frozen=True)
class Line:
    """One thing that must hold: what was found, and whether it does."""

    what: str
    found: str
    well: bool


def wait_until_all_is_done(box: Box, *, within_s: float) -> float:
    """Wait until no quote is under way and nothing lies in any queue, but no longer than that after the last outcome; the seconds it took."""
    began = last_at = time.monotonic()
    had = _outcomes(box)
    while left_over(box) and time.monotonic() - last_at <= within_s:
        time.sleep(0.5)
        has = _outcomes(box)
        if has > had:
            had, last_at = has, time.monotonic()
    return time.monotonic() - began


def _outcomes(box: Box) -> int:
    return int(box.rows("select count(*) from quoting.outcomes")[0][0])


def left_over(box: Box) -> str:
    """What is still under way, an empty text when nothing is."""
    unfinished = box.rows("select count(*) from quoting.quotes where status = 'accepted'")[0][0]
    lying = {queue: box.redis.llen(box.key(queue)) for queue in QUEUES if queue != "sweeps"}
    lying["taken and not acknowledged"] = sum(
        1 for message in box.redis.hvals(box.key("unacked")) if b"heartbeat" not in message and b"quoting.sweep" not in message
    )
    found = [f"{unfinished} quotes"] if unfinished else []
    found += [f"{count} in {name}" for name, count in lying.items() if count]
    return ", ".join(found)


def outcomes(box: Box) -> dict[str, tuple[str, str, date]]:
    """Status, digest and day of every quote that has its outcome, by number."""
    rows = box.rows("select o.number, o.status, o.digest, q.quoted_on from quoting.outcomes o join quoting.quotes q using (number)")
    return {number: (status, digest, day) for number, status, digest, day in rows}


def judge(box: Box, asked: Sequence[Request], numbers: Mapping[str, str], expected: Expected, quiet: int) -> list[Line]:
    """Every promise, with what was found."""
    found = outcomes(box)
    kinds = {numbers[request.key]: request.kind for request in asked if request.key in numbers}
    statuses = Counter(found[number][0] for number in kinds if number in found)
    stored = box.rows("select count(*) from quoting.quotes where customer <> %s", (BOMB,))[0][0] - quiet
    differing = [
        number
        for number, kind in kinds.items()
        if number in found and found[number][:2] != expected.get((kind, found[number][2]), ("", ""))
    ]
    twice = box.rows(
        "select number from quoting.events where kind in ('ready', 'refused', 'failed') group by number having count(*) <> 1"
    )
    late = box.rows("select number from quoting.events where kind = 'late_outcome_differs'")
    letters = box.rows("select number, stage, left(traceback, 300) from quoting.dead_letters")
    feed = box.rows("select count(*), count(distinct feed_position) from quoting.outcomes where status = 'ready'")[0]
    ready = sum(status == "ready" for status, _, _ in found.values())
    return [
        Line("requests accepted", f"{len(numbers)} of {len(asked)}", len(numbers) == len(asked)),
        Line("quotes made of them", f"{stored}, {len(set(numbers.values()))} numbers", stored == len(set(numbers.values())) == len(asked)),
        Line("ready / refused / failed", " / ".join(str(statuses[name]) for name in ("ready", "refused", "failed")),
             statuses["ready"] + statuses["refused"] == len(asked)),
        Line("quotes with more or less than one outcome", str(len(twice)), not twice),
        Line("quotes that differ from the quiet run", _some(differing), not differing),
        Line("late outcomes that differed from the first", _some([row[0] for row in late]), not late),
        Line("dead letters", _some([f"{row[0]} ({row[1]}) {row[2]}" for row in letters]), not letters),
        Line("ready quotes in the feed, each at one place", f"{feed[0]}, {feed[1]} places", feed[0] == feed[1] == ready),
        Line("left over", left_over(box) or "nothing", not left_over(box)),
    ]  # fmt: skip


def _some(names: Sequence[str]) -> str:
    return f"{len(names)}: {', '.join(names[:5])}" if names else "0"


def second_attempts(box: Box, numbers: Sequence[str]) -> tuple[int, float]:
    """How many of these quotes were started more than once, and the longest time one took to its outcome [s]."""
    if not numbers:
        return 0, 0.0
    rows = box.rows(
        "select count(*) filter (where q.attempt > 1), coalesce(max(extract(epoch from o.finished_at - q.created_at)), 0) "
        "from quoting.quotes q join quoting.outcomes o using (number) where q.number = any(%s)",
        (list(numbers),),
    )
    return int(rows[0][0]), float(rows[0][1])
