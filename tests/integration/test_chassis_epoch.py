"""A new epoch: numbers go on above the highest ever given out, and cursors of before are not taken for those of now."""

from __future__ import annotations

import base64
from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace
from typing import cast

import pytest
from sqlalchemy import text

from services.chassis.database import Database
from services.chassis.epoch import CLOCK_BEGINS, above, begin_epoch, current_epoch, first_free, numbers_given
from services.chassis.migrate import PARTS
from services.chassis.resources import Resources
from services.orders.domain.snapshot import Booking
from services.orders.store.repository import BookStore
from services.quoting.api.parts import cursor_of, read_cursor, read_places
from services.quoting.errors import CursorOfAnotherEpoch, CursorUnreadable
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import NUMBER, NewQuote

NOW = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)


def accepted(database: Database) -> str:
    new = NewQuote(b"{}", "Tarn & Fell", "A lens", 1, date(2026, 11, 2), "t" * 32)
    return QuoteStore(database).accept(new, None, now=NOW)[0].number


def place(number: str) -> int:
    return int(number.rpartition("-")[2])


def tools_of(database: Database) -> Resources:
    with database.transaction() as connection:
        return cast(Resources, SimpleNamespace(epoch=current_epoch(connection)))


def test_where_the_highest_is_known_numbers_go_on_close_above_it(database: Database) -> None:
    assert place(accepted(database)) == 1
    epoch = begin_epoch(database, PARTS, now=NOW, why="restored", seen={"quoting.quote_numbers": 4711})
    assert epoch.number == 2
    assert accepted(database) == "Q-2026-006001"


def test_where_nobody_knows_two_restores_of_one_backup_give_out_no_number_twice(database: Database) -> None:
    # Each begins from the same table, as both are of the same backup; only the clock has gone on.
    backup = numbers = None
    given: set[int] = set()
    for minutes in (0, 1):
        with database.transaction() as connection:
            if backup is None:
                backup = numbers_given(connection, PARTS)
            for name, last in backup.items():
                connection.execute(
                    text("select setval(cast(:n as regclass), :last, :given)"), {"n": name, "last": max(last, 1), "given": last > 0}
                )
        begin_epoch(database, PARTS, now=NOW + timedelta(minutes=minutes), why="restored")
        numbers = {place(accepted(database)) for _ in range(3)}
        assert not numbers & given
        given |= numbers
    with database.transaction() as connection:
        assert all(last > 1000 for last in numbers_given(connection, ["quoting"]).values())
    assert NUMBER.fullmatch(accepted(database))


def test_numbers_by_the_clock_have_room_for_a_hundred_years() -> None:
    minutes = 100 * 366 * 24 * 60
    assert NUMBER.fullmatch(f"Q-2126-{minutes * 10_000:06d}")
    assert above(10**12, None, 5) == 10**12, "never below the table"
    assert above(1, None, 5) == 5
    assert above(7, 3, 10**9) == 2000


def test_revisions_and_snapshots_go_on_above_too_and_fit_their_four_bytes(database: Database) -> None:
    epoch = begin_epoch(database, PARTS, now=NOW, why="restored")
    assert epoch.first_number == (NOW - CLOCK_BEGINS).total_seconds() // 60 * 100
    with database.transaction() as connection:
        assert first_free(connection, 7) == epoch.first_number
        assert first_free(connection, 2_000_000_000) == 2_000_000_001
    book = BookStore(database)
    assert book.put("erp", lambda _: [Booking("erp", "A", "saw", date(2026, 11, 2), 5, None)], now=NOW)
    assert book.latest().number == epoch.first_number
    assert datetime(2065, 12, 1, tzinfo=UTC) - CLOCK_BEGINS < timedelta(minutes=2**31 / 100)


def test_a_cursor_is_good_in_its_epoch_and_gone_in_the_next(database: Database) -> None:
    tools = tools_of(database)
    cursor = cursor_of(tools, "q", 17, 2)
    assert read_places(tools, "q", cursor) == (17, 2)
    begin_epoch(database, PARTS, now=NOW, why="restored")
    after = tools_of(database)
    with pytest.raises(CursorOfAnotherEpoch, match=r"2026-11-02 09:00.*from the beginning"):
        read_places(after, "q", cursor)
    assert read_cursor(after, "q", None) is None


@pytest.mark.parametrize("plain", ["e17", "e17.3"])
def test_a_cursor_of_before_there_were_epochs_is_of_the_first(database: Database, plain: str) -> None:
    cursor = base64.urlsafe_b64encode(plain.encode()).decode().rstrip("=")
    assert read_cursor(tools_of(database), "e", cursor) == 17
    begin_epoch(database, PARTS, now=NOW, why="restored")
    with pytest.raises(CursorOfAnotherEpoch):
        read_cursor(tools_of(database), "e", cursor)


@pytest.mark.parametrize("cursor", ["zzz", "!!!", "ZTE3QHp6", ""])
def test_what_is_no_cursor_of_ours_is_not_called_one_of_another_epoch(database: Database, cursor: str) -> None:
    with pytest.raises(CursorUnreadable):
        read_cursor(tools_of(database), "e", cursor)
