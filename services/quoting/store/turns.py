"""Whose turn it is: runs that wait outside the queues are let in so that every key has its fair share of the work.

All runs without an outcome are looked at together, whether they were asked for one by one, in batches, to hold quotes against
proposed rates, or as copies in which something is changed. The next to be let in is of the key that has the least work under way (weighted fair queueing, by the estimate that
each run carries); of one key's runs single quotes go first, then copies of what-ifs, then batches, then impacts, each in the order they were asked for.
Nothing is remembered but the runs themselves. Runs of much work have places of their own.

Source:
    A. Demers, S. Keshav, S. Shenker, Analysis and simulation of a fair queueing algorithm, ACM SIGCOMM 1989: a flow's next
    piece is ordered by the work that will have been done for that flow when it ends. From memory.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from sqlalchemy import Connection, text

from services.chassis.database import Database
from services.quoting.store.rows import Start
from services.quoting.store.runs import RunTable, as_start, first_look_s

PLACE_HELD_S = 10.0
"""So long after its start a quote of little work holds its place: one that a dead worker took with it must not keep others out until it is looked
after, and looked after again. Several times what such a quote takes."""

NEXT = text("""
    with waiting as (
        select 'quoting.quotes' as lies_in, q.number, q.caller, q.work_s, 2 * (q.batch is not null)::int as class, q.position as turn, 0 as place
        from (select distinct caller from quoting.quotes
              where status = 'accepted' and next_check_at is null and large = :large) c
        cross join lateral (
            select n.number, n.caller, n.work_s, n.batch, n.position from quoting.quotes n
            where n.caller = c.caller and n.status = 'accepted' and n.next_check_at is null and n.large = :large
            order by (n.batch is not null), n.position limit :most
        ) q
        union all
        (select 'quoting.impacted_quotes', e.number, i.caller, q.work_s, 3, i.position, e.place
         from quoting.impacted_quotes e join quoting.impacts i on i.number = e.impact join quoting.quotes q on q.number = e.quote
         where e.status = 'accepted' and e.next_check_at is null and q.large = :large
         order by i.position, e.place limit 10 * :most)
        union all
        (select 'quoting.what_if_copies', c.number, w.caller, c.work_s, 1, w.position, c.place
         from quoting.what_if_copies c join quoting.what_ifs w on w.number = c.what_if
         where c.status = 'accepted' and c.next_check_at is null and c.large = :large
         order by w.position, c.place limit 10 * :most)
    ),
    under_way as (
        select caller, sum(work_s) as work_s, count(*) as runs from (
            select q.caller, q.work_s from quoting.quotes q
            where q.status = 'accepted' and q.next_check_at is not null and q.large = :large
              and (q.large or exists (select 1 from quoting.outbox o where o.number = q.number and o.attempt = q.attempt
                                      and o.created_at > :held_since))
            union all
            select i.caller, q.work_s
            from quoting.impacted_quotes e join quoting.impacts i on i.number = e.impact join quoting.quotes q on q.number = e.quote
            where e.status = 'accepted' and e.next_check_at is not null and q.large = :large
            union all
            select w.caller, c.work_s from quoting.what_if_copies c join quoting.what_ifs w on w.number = c.what_if
            where c.status = 'accepted' and c.next_check_at is not null and c.large = :large
        ) as all_of_them group by caller
    )
    select w.lies_in, w.number
    from waiting w left join under_way u using (caller)
    order by coalesce(u.work_s, 0) + sum(w.work_s) over (partition by w.caller order by w.class, w.turn, w.place), w.class, w.turn, w.place
    limit greatest(0, :most - (select coalesce(sum(runs), 0) from under_way))
""")


def admit_in_turn(
    database: Database, tables: Sequence[RunTable], *, most_in_flight: Mapping[bool, int], now: datetime, first_check_s: float
) -> list[tuple[RunTable, Start]]:
    """Runs whose turn has come, in that order: as many as keeps those under way at `most_in_flight` (of much work: `True`).

    Two who ask at once may admit a few more; the next ones admit fewer.
    """
    with database.transaction() as connection:
        return [
            begun
            for large, most in most_in_flight.items()
            for begun in _admit(connection, {table.table: table for table in tables}, large=large, most=most, now=now, first_check_s=first_check_s)
        ]  # fmt: skip


def _admit(
    connection: Connection, tables: Mapping[str, RunTable], *, large: bool, most: int, now: datetime, first_check_s: float
) -> list[tuple[RunTable, Start]]:  # fmt: skip
    held_since = now - timedelta(seconds=PLACE_HELD_S)
    chosen = connection.execute(NEXT, {"large": large, "most": most, "held_since": held_since}).all()
    starts: dict[str, Start] = {}
    for name, table in tables.items():
        numbers = [row.number for row in chosen if row.lies_in == name]
        if numbers:
            check = now + timedelta(seconds=first_look_s(first_check_s, large=large))
            starts |= {begun.number: begun for begun in _let_in(connection, table, numbers, check=check, now=now)}
    return [(tables[row.lies_in], starts[row.number]) for row in chosen if row.number in starts]


def _let_in(connection: Connection, table: RunTable, numbers: Sequence[str], *, check: datetime, now: datetime) -> list[Start]:
    """Those of the runs that nobody let in meanwhile."""
    mine = list(
        connection.execute(
            table.sql("update {table} set next_check_at = :check where number = any(:numbers) and next_check_at is null "
                      "and status = 'accepted' returning number"),
            {"check": check, "numbers": list(numbers)},
        ).scalars()
    )  # fmt: skip
    if table.has_outbox:
        connection.execute(
            text("update quoting.outbox set created_at = :now where number = any(:numbers)"), {"now": now, "numbers": mine}
        )
    rows = connection.execute(table.sql("{start} where r.number = any(:numbers)"), {"numbers": mine})
    return [as_start(row) for row in rows]
