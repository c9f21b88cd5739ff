"""How much may be under way: of all keys together, of one key, and started without waiting for a turn."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import Connection, text

from services.quoting.errors import KeyHasEnough, QueueFull
from services.quoting.store.rows import NewQuote


@dataclass(frozen=True)
class Bounds:
    """Limits of what is accepted; `None` is none.

    `most_unfinished` runs of any kind may be without an outcome, `most_of_key` among them of one key. Of one key `most_at_once`
    single quotes are started as they come, whatever else is under way; the others wait for their turn. What was started is looked
    after in `first_check_s`.
    """

    first_check_s: float = 15.0
    most_unfinished: int | None = None
    most_of_key: int | None = None
    most_at_once: int | None = None


NO_BOUNDS = Bounds()


def refuse_when_full(connection: Connection, caller: str, asked: int, bounds: Bounds) -> None:
    """Raises `QueueFull` or `KeyHasEnough` where `asked` more runs would be too many (requests that come at one moment may pass that)."""
    if bounds.most_unfinished is None and bounds.most_of_key is None:
        return
    unfinished = connection.execute(
        text("""
            select count(*) as runs, count(*) filter (where caller = :caller) as of_key from (
                select caller from quoting.quotes where status = 'accepted'
                union all
                select i.caller from quoting.impacted_quotes e join quoting.impacts i on i.number = e.impact where e.status = 'accepted'
                union all
                select w.caller from quoting.what_if_copies c join quoting.what_ifs w on w.number = c.what_if where c.status = 'accepted'
            ) as unfinished
        """),
        {"caller": caller},
    ).one()
    if bounds.most_of_key is not None and unfinished.of_key + asked > bounds.most_of_key:
        raise KeyHasEnough(unfinished.of_key, asked, bounds.most_of_key)
    if bounds.most_unfinished is not None and unfinished.runs + asked > bounds.most_unfinished:
        raise QueueFull(unfinished.runs, asked, bounds.most_unfinished)


def first_check_at(connection: Connection, new: NewQuote, *, now: datetime, bounds: Bounds) -> datetime | None:
    """When a single quote that is started now is looked after; `None` for one that waits for its turn."""
    at_once = now + timedelta(seconds=bounds.first_check_s)
    if bounds.most_at_once is None:
        return at_once
    if new.large:
        return None
    under_way = connection.execute(
        text("select count(*) from quoting.quotes where caller = :caller and status = 'accepted' and batch is null and not large"),
        {"caller": new.caller},
    ).scalar_one()
    return at_once if under_way < bounds.most_at_once else None
