"""Finished jobs in figures, in PostgreSQL: noted once of each, and again when its order or what was reported of it has changed."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy import Connection, text

from services.chassis.database import Database
from services.orders.domain.accuracy import JobFigures
from services.orders.store.actuals import Reported, standing_in
from services.orders.store.repository import order_in

FORMAT = 1
"""Of what is noted; another is noted anew."""
AT_ONCE = 50
"""Orders that one transaction notes."""

STALE = """
    select o.number, o.xmin::text as version, coalesce(a.position, 0) as position from orders.orders o
    left join lateral (select max(r.position) as position from orders.actuals r where r.number = o.number) a on true
    left join orders.job_figures f on f.number = o.number
    where f.number is null or (f.order_version, f.actuals_position, f.format) is distinct from (o.xmin::text, coalesce(a.position, 0), :format)
    order by o.position
"""


@dataclass(frozen=True)
class Stale:
    """An order that is to be noted: the version of its row, and the last report of it."""

    number: str
    version: str
    position: int


@dataclass(frozen=True)
class Counts:
    """Orders that are in no figure, by why."""

    unfinished: int
    cancelled: int
    unread: int


class JobFigureStore:
    """The table of finished jobs in figures."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def bring_up_to_date(self, figures: Callable[[Reported], JobFigures | None], *, within_s: float) -> None:
        """Note what is new or has changed, oldest first, for as long as that; some of it in any case."""
        begin = time.monotonic()
        with self._database.transaction() as connection:
            rows = connection.execute(text(STALE), {"format": FORMAT})
            stale = [Stale(row.number, row.version, row.position) for row in rows]
        for place in range(0, len(stale), AT_ONCE):
            with self._database.transaction() as connection:
                _note(connection, stale[place : place + AT_ONCE], figures)
            if time.monotonic() - begin > within_s:
                return

    def finished(self, *, since: date | None, until: date | None, most: int) -> Iterator[JobFigures]:
        """The newest finished jobs, newest first, read one after the other."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("select document from orders.job_figures where finished_on is not null "
                     "and (cast(:since as date) is null or finished_on >= :since) and (cast(:until as date) is null or finished_on <= :until) "
                     "order by finished_on desc, number desc limit :most"),
                {"since": since, "until": until, "most": most},
            ).all()  # fmt: skip
        return (JobFigures.model_validate_json(bytes(row.document)) for row in rows)

    def last_note(self) -> int:
        """The number of the newest note: while it stands, so do all."""
        with self._database.transaction() as connection:
            return int(connection.execute(text("select coalesce(max(noted), 0) from orders.job_figures")).scalar_one())

    def counts(self) -> Counts:
        """What is left out."""
        with self._database.transaction() as connection:
            row = connection.execute(
                text("select count(*) filter (where o.state = 'cancelled') as cancelled, "
                     "count(*) filter (where o.state <> 'cancelled' and f.number is null) as unread, "
                     "count(*) filter (where o.state <> 'cancelled' and f.number is not null and f.finished_on is null) as unfinished "
                     "from orders.orders o left join orders.job_figures f on f.number = o.number")
            ).one()  # fmt: skip
            return Counts(**row._mapping)


def _note(connection: Connection, stale: Sequence[Stale], figures: Callable[[Reported], JobFigures | None]) -> None:
    """Note some orders. What changes meanwhile is read here and noted as of before, so that it is noted again."""
    standing = standing_in(connection, [one.number for one in stale])
    made = [figures(Reported(order_in(connection, one.number), standing.get(one.number, {}))) for one in stale]
    connection.execute(
        text("insert into orders.job_figures (number, noted, order_version, actuals_position, format, finished_on, document) values "
             "(:number, nextval('orders.job_notes'), :version, :position, :format, :finished_on, :document) on conflict (number) do update set "
             "noted = excluded.noted, order_version = excluded.order_version, actuals_position = excluded.actuals_position, format = excluded.format, "
             "finished_on = excluded.finished_on, document = excluded.document"),
        [
            {**vars(one), "format": FORMAT, "finished_on": job and job.finished_on, "document": job and job.model_dump_json().encode()}
            for one, job in zip(stale, made, strict=True)
        ],
    )  # fmt: skip
