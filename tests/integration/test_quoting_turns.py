"""Whose turn it is on a real PostgreSQL: each key has its share of the work, however much another one asks for."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from services.chassis.database import Database
from services.quoting.errors import KeyHasEnough
from services.quoting.store.batches import BatchStore
from services.quoting.store.bounds import Bounds
from services.quoting.store.impacts import IMPACT_RUNS
from services.quoting.store.repository import QUOTE_RUNS, QuoteStore
from services.quoting.store.rows import NewQuote, Outcome, Start
from services.quoting.store.turns import PLACE_HELD_S, admit_in_turn

NOW = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)
NEW = NewQuote(request=b"{}", customer="Tarn & Fell", title="A lens", rate_revision=1, quoted_on=NOW.date(), trace="t" * 32)
REFUSED = Outcome("refused", "d", problem=b"{}")
ONE_AT_ONCE = Bounds(most_at_once=1)


def by(caller: str, work_s: float = 1.0, *, large: bool = False) -> NewQuote:
    """A quote that the key `caller` asks for."""
    return replace(NEW, caller=caller, work_s=work_s, large=large)


def let_in(database: Database, most: int, most_large: int = 0, now: datetime = NOW) -> list[Start]:
    """Those whose turn has come when so many may be under way."""
    tables = (QUOTE_RUNS, IMPACT_RUNS)
    admitted = admit_in_turn(database, tables, most_in_flight={False: most, True: most_large}, now=now, first_check_s=15)
    return [start for _, start in admitted]


def callers(database: Database, starts: list[Start]) -> list[str]:
    """Who asked for each."""
    with database.transaction() as connection:
        found = dict(connection.exec_driver_sql("select number, caller from quoting.quotes").all())  # type: ignore[arg-type]
    return [found[start.number] for start in starts]


def test_a_single_quote_goes_before_the_thousands_that_another_key_asked_for(database: Database) -> None:
    batches, store = BatchStore(database), QuoteStore(database)
    batches.accept([by("greedy")] * 50, None, now=NOW)
    assert callers(database, let_in(database, 4)) == ["greedy"] * 4
    began, _ = store.accept(by("modest"), None, now=NOW, bounds=ONE_AT_ONCE)
    assert not began.waits, "the first of a key waits for no turn"
    second, _ = store.accept(by("modest"), None, now=NOW, bounds=ONE_AT_ONCE)
    assert second.waits
    assert let_in(database, 5) == []
    assert [start.number for start in let_in(database, 6)] == [second.number]


def test_keys_get_alike_shares_of_the_work_and_not_of_the_number(database: Database) -> None:
    batches, store = BatchStore(database), QuoteStore(database)
    batches.accept([by("heavy", 3.0)] * 40, None, now=NOW)
    batches.accept([by("light", 1.0)] * 40, None, now=NOW)
    done: Counter[str] = Counter()
    flying: list[Start] = []
    for _ in range(32):
        flying += let_in(database, 4)
        first = flying.pop(0)
        done.update(callers(database, [first]))
        store.runs.settle(first.number, 1, REFUSED, now=NOW)
    assert done["light"] > 2 * done["heavy"] > 0, done


def test_of_one_key_single_quotes_go_before_batches(database: Database) -> None:
    batches, store = BatchStore(database), QuoteStore(database)
    batches.accept([by("a")] * 3, None, now=NOW)
    for _ in range(2):
        store.accept(by("a"), None, now=NOW, bounds=Bounds(most_at_once=0))
    admitted = let_in(database, 3)
    numbers = [start.number for start in admitted]
    assert numbers[:2] == sorted(numbers)[-2:], "they were asked for last"


def test_much_work_takes_no_place_of_little(database: Database) -> None:
    store = QuoteStore(database)
    bombs = [store.accept(by("bomber", 30.0, large=True), None, now=NOW, bounds=ONE_AT_ONCE)[0] for _ in range(3)]
    assert all(bomb.waits for bomb in bombs)
    assert [start.large for start in let_in(database, 4, 2)] == [True, True]
    store.accept(by("a"), None, now=NOW, bounds=Bounds(most_at_once=0))
    assert [start.large for start in let_in(database, 4, 2)] == [False]
    again, _ = store.runs.overdue(now=NOW.replace(minute=4), most_attempts=6)
    assert [start.large for start in again] == [False], "what takes long is not taken for lost"


def test_quotes_that_a_dead_worker_took_with_it_keep_nobody_out_for_long(database: Database) -> None:
    batches, store = BatchStore(database), QuoteStore(database)
    batches.accept([by("a")] * 6, None, now=NOW)
    bomb, _ = store.accept(by("b", 30.0, large=True), None, now=NOW, bounds=ONE_AT_ONCE)
    store.accept(by("b", 30.0, large=True), None, now=NOW, bounds=ONE_AT_ONCE)
    lost = let_in(database, 2, 1)
    assert bomb.number in {start.number for start in lost}
    soon, later = (NOW + timedelta(seconds=PLACE_HELD_S + by_s) for by_s in (-1, 1))
    assert let_in(database, 2, 1, soon) == []
    next_ones = let_in(database, 2, 1, later)
    assert [start.large for start in next_ones] == [False, False], "much work takes longer, and is not taken for lost"
    again, _ = store.runs.overdue(now=NOW + timedelta(seconds=16), most_attempts=6)
    assert {start.number for start in again} == {start.number for start in lost if not start.large}
    assert let_in(database, 4, 1, NOW + timedelta(seconds=16)) == [], "started again, they hold places again"


def test_a_key_with_enough_under_way_gets_no_more_and_another_does(database: Database) -> None:
    bounds = Bounds(most_unfinished=100, most_of_key=5)
    batches, store = BatchStore(database), QuoteStore(database)
    batches.accept([by("a")] * 3, None, now=NOW, bounds=bounds)
    store.accept(by("a"), None, now=NOW, bounds=bounds)
    with pytest.raises(KeyHasEnough, match=r"4 quotes of this key .* at most 5 .* asks for 2 more"):
        batches.accept([by("a")] * 2, None, now=NOW, bounds=bounds)
    batches.accept([by("b")] * 5, None, now=NOW, bounds=bounds)
    begun, _ = store.accept(by("a"), None, now=NOW, bounds=bounds)
    store.runs.settle(begun.number, 1, REFUSED, now=NOW)
    store.accept(by("a"), None, now=NOW, bounds=bounds)
