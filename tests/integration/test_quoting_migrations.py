"""Tables with quotes in them are brought up to date, and what stood in them is not changed."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime
from itertools import count

import psycopg
import pytest
from alembic import command
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from services.chassis.database import Database
from services.chassis.migrate import PARTS, _config, migrate, newest
from services.quoting.store.repository import QuoteStore
from tests.integration.parts import listed

NOW = datetime(2026, 11, 2, 8, 0, tzinfo=UTC)
_numbers = count()


@pytest.fixture
def of_before(postgres_url: str) -> Iterator[Database]:
    """A database as it was before quotes had revisions: a ready quote, a failed one, one in work."""
    name = f"before_{next(_numbers)}"
    with psycopg.connect(f"{postgres_url}/postgres", autocommit=True) as connection:
        connection.execute(f"create database {name}")  # type: ignore[call-overload]
    database = Database(f"{postgres_url}/{name}")
    with database.transaction() as connection:
        connection.execute(text("create schema quoting"))
        command.upgrade(_config(PARTS["quoting"], connection=connection, schema="quoting"), "0001")
        for position, status in enumerate(("ready", "failed", "accepted"), start=1):
            number = f"Q-2026-{position:06d}"
            connection.execute(
                text("insert into quoting.quotes (number, position, status, customer, title, request, rate_revision, quoted_on, attempt, "
                     "trace, created_at) values (:n, :p, :s, 'c', 't', '{}', 1, '2026-11-02', 1, 't', :now)"),
                {"n": number, "p": position, "s": status, "now": NOW},
            )  # fmt: skip
        connection.execute(
            text("insert into quoting.outcomes (number, attempt, status, digest, body, problem, finished_at, feed_position) values "
                 "('Q-2026-000001', 1, 'ready', 'd', '{\"valid_until\":\"2026-12-17\"}', null, :now, 1), "
                 "('Q-2026-000002', 1, 'failed', 'e', null, '{}', :now, null)"),
            {"now": NOW},
        )  # fmt: skip
        connection.execute(
            text("insert into quoting.idempotency_keys (caller, route, key, body_sha256, number, created_at) "
                 "values ('c', 'POST /v1/quotes', 'k', 'h', 'Q-2026-000001', :now)"),
            {"now": NOW},
        )  # fmt: skip
    yield database
    database.close()
    with psycopg.connect(f"{postgres_url}/postgres", autocommit=True) as connection:
        connection.execute(f"drop database {name} with (force)")  # type: ignore[call-overload]


def test_quotes_of_before_are_first_revisions_under_their_own_number(of_before: Database) -> None:
    assert migrate(of_before, now=NOW) == newest()
    store = QuoteStore(of_before)
    ready = store.quote("Q-2026-000001")
    assert (ready.number, ready.quote_number, ready.revision, ready.latest_revision) == ("Q-2026-000001", "Q-2026-000001", 1, 1)
    assert (ready.valid_until, ready.digest, ready.decision) == (date(2026, 12, 17), "d", None)
    assert listed(of_before) == ["Q-2026-000003", "Q-2026-000002", "Q-2026-000001"]
    assert listed(of_before, state="open") == [ready.number]
    assert store.quote("Q-2026-000002").status == "failed"


def test_a_step_back_leaves_the_tables_as_they_were(of_before: Database) -> None:
    with of_before.transaction() as connection:
        config = _config(PARTS["quoting"], connection=connection, schema="quoting")
        command.upgrade(config, "0002")
        command.downgrade(config, "0001")
        columns = connection.execute(
            text("select column_name from information_schema.columns where table_schema = 'quoting' and table_name = 'quotes'")
        ).scalars()
        assert not {"quote_number", "batch", "batch_place"} & set(columns)
        command.upgrade(config, "0002")


def test_a_step_back_over_impacts_leaves_keys_as_they_were(of_before: Database) -> None:
    with of_before.transaction() as connection:
        config = _config(PARTS["quoting"], connection=connection, schema="quoting")
        command.upgrade(config, "0004")
        connection.execute(
            text("insert into quoting.impacts values ('I-2026-000001', 1, 'yields', -1, 'd', 1, 0, :now, 'a', 't')"), {"now": NOW}
        )
        connection.execute(
            text("insert into quoting.idempotency_keys (caller, route, key, body_sha256, impact, created_at) "
                 "values ('c', 'POST /v1/rates/impact', 'k', 'h', 'I-2026-000001', :now)"),
            {"now": NOW},
        )  # fmt: skip
        command.downgrade(config, "0003")
        assert list(connection.execute(text("select route from quoting.idempotency_keys")).scalars()) == ["POST /v1/quotes"]
        command.upgrade(config, "0004")


def test_quotes_of_before_the_book_of_load_have_none_and_a_step_back_keeps_what_was_asked(of_before: Database) -> None:
    def changed(column: str, value: object) -> None:
        with pytest.raises(DBAPIError, match="what was asked is never changed"), of_before.transaction() as connection:
            connection.execute(
                text(f"update quoting.quotes set {column} = :value where number = 'Q-2026-000003'"), {"value": value}
            )

    migrate(of_before, now=NOW)
    assert QuoteStore(of_before).quote("Q-2026-000001").load_snapshot is None
    changed("load_snapshot", 3)
    changed("title", "another")
    with of_before.transaction() as connection:
        config = _config(PARTS["quoting"], connection=connection, schema="quoting")
        command.downgrade(config, "0005")
        columns = connection.execute(
            text("select column_name from information_schema.columns where table_schema = 'quoting' and table_name in "
                 "('quotes', 'decisions', 'handovers')")
        ).scalars()  # fmt: skip
        assert not {"load_snapshot", "promised", "document"} & set(columns)
    changed("title", "another")
    assert migrate(of_before, now=NOW) == newest()
