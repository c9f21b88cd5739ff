"""Rate revisions on a real PostgreSQL: one after the other, never changed."""

from __future__ import annotations

import threading
from datetime import UTC, datetime
from decimal import Decimal

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from services.chassis.database import Database
from services.chassis.migrate import current, migrate, newest
from services.rates.domain.revision import canonical_rows, digest_of_revision, digest_of_table, tables_of
from services.rates.domain.seed import seed_rates
from services.rates.domain.table_csv import validated_rows
from services.rates.errors import RevisionStale, RevisionUnknown, TableContradicts, TableUnknown, TableUnreadable
from services.rates.store.publication import Author
from services.rates.store.repository import RateStore
from shared_schemas.rates import TABLES, RateRevision, RateRow, Rates

NOW = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)


@pytest.fixture
def store(database: Database) -> RateStore:
    return RateStore(database)


def dearer(rates: Rates) -> tuple[RateRow, ...]:
    return tuple(row.model_copy(update={"labour_rate_per_h": row.labour_rate_per_h + 1}) for row in rates.work_centres)


def publish(store: RateStore, rows: tuple[RateRow, ...], seen: str, table: str = "work_centres") -> bool:
    return store.publish(table, rows, seen={seen}, by=Author("an engineer", "a test", NOW))[1]


def test_revision_1_is_the_seed_to_the_last_row(store: RateStore) -> None:
    first = RateRevision.model_validate_json(store.revision(1))
    assert first.rates == seed_rates()
    assert store.latest_number() == 1


def test_a_change_makes_the_next_revision_and_leaves_the_one_before(store: RateStore, rates: Rates) -> None:
    before = store.table("work_centres")
    assert publish(store, dearer(rates), before.digest) is True
    assert store.latest_number() == 2
    assert RateRevision.model_validate_json(store.revision(1)).rates == rates
    second = RateRevision.model_validate_json(store.revision(2))
    assert second.rates.work_centres[0].labour_rate_per_h == rates.work_centres[0].labour_rate_per_h + 1
    assert second.rates.glasses == rates.glasses
    newest_summary = store.summaries(before=None, most=1)[0]
    assert newest_summary.changed == ("work_centres",)
    assert newest_summary.digest == second.digest


def test_the_digest_of_revision_1_can_be_worked_out_from_its_rows(store: RateStore, rates: Rates) -> None:
    digests = {table: digest_of_table(table, canonical_rows(rows)) for table, rows in tables_of(rates).items()}
    assert store.digest(1) == digest_of_revision(digests)
    assert store.revision(1) == store.revision(1)
    assert store.table("yields").digest == digests["yields"]


def test_a_change_to_one_table_leaves_the_digest_of_another_and_its_rows_are_stored_once(
    store: RateStore, rates: Rates, database: Database
) -> None:
    glasses = store.table("glasses")
    publish(store, dearer(rates), store.table("work_centres").digest)
    assert store.table("glasses").digest == glasses.digest
    assert store.table("glasses").revision == 2
    with database.transaction() as connection:
        assert connection.execute(text("select count(*) from rates.table_versions")).scalar() == len(TABLES) + 1


def test_a_table_that_came_later_has_no_rows_in_an_old_revision(store: RateStore, database: Database) -> None:
    with database.transaction() as connection:
        connection.execute(text("insert into rates.revisions values (2, 'd', now(), 'a', 'an older suite', '{}')"))
    assert store.table("glasses", 2).rows == b"[]"
    assert RateRevision.model_validate_json(store.revision(2)).rates.glasses == ()


def test_the_same_rows_again_make_no_revision(store: RateStore, rates: Rates) -> None:
    assert publish(store, rates.work_centres, store.table("work_centres").digest) is False
    assert store.latest_number() == 1


def test_going_back_gives_the_digest_there_was(store: RateStore, rates: Rates) -> None:
    first = store.table("work_centres").digest
    publish(store, dearer(rates), first)
    publish(store, rates.work_centres, store.table("work_centres").digest)
    assert store.table("work_centres").digest == first
    digests = [summary.digest for summary in store.summaries(before=None, most=9)]
    assert digests[0] == digests[2] != digests[1]


def test_a_change_to_a_table_that_was_changed_meanwhile_is_stale(store: RateStore, rates: Rates) -> None:
    seen = store.table("work_centres").digest
    publish(store, dearer(rates), seen)
    assert publish(store, dearer(rates), seen) is False, "what stands already is done"
    with pytest.raises(RevisionStale, match="work_centres"):
        publish(store, dearer(rates)[:-1], seen)


def test_of_two_changes_at_once_one_wins(store: RateStore, rates: Rates) -> None:
    seen = store.table("work_centres").digest
    outcomes: list[str] = []

    def change(cents: int) -> None:
        rows = tuple(
            row.model_copy(update={"machine_rate_per_h": row.machine_rate_per_h + Decimal(cents)}) for row in rates.work_centres
        )
        try:
            publish(store, rows, seen)
            outcomes.append("won")
        except RevisionStale:
            outcomes.append("stale")

    threads = [threading.Thread(target=change, args=(n,)) for n in (1, 2, 3, 4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(outcomes) == ["stale", "stale", "stale", "won"]
    assert store.latest_number() == 2


def test_a_stored_revision_cannot_be_changed_even_by_hand(store: RateStore, database: Database) -> None:
    for statement in (
        "update rates.table_versions set rows = ''",
        "delete from rates.revisions",
        "update rates.revision_tables set digest = ''",
        "delete from rates.revision_tables",
        "truncate rates.revisions cascade",
        "truncate rates.table_versions cascade",
    ):
        with pytest.raises(DBAPIError, match="never changed"), database.transaction() as connection:
            connection.execute(text(statement))
    assert store.latest_number() == 1


def test_stock_of_a_glass_that_is_not_there_is_refused_at_its_row(store: RateStore, rates: Rates) -> None:
    rows = (rates.stock_forms[0], rates.stock_forms[1].model_copy(update={"glass": "N-MARBLE"}))
    with pytest.raises(TableContradicts) as caught:
        publish(store, rows, store.table("stock_forms").digest, "stock_forms")
    assert caught.value.errors[0].pointer == "/rows/1/glass"
    assert "N-MARBLE" in caught.value.errors[0].reason


def test_a_week_without_work_is_refused(store: RateStore, rates: Rates) -> None:
    rows = tuple(row.model_copy(update={"hours": 0.0}) for row in rates.calendar)
    with pytest.raises(TableContradicts, match="calendar"):
        publish(store, rows, store.table("calendar").digest, "calendar")


def test_what_is_not_there_is_named(store: RateStore) -> None:
    with pytest.raises(TableUnknown, match="the tables are glasses".replace("the", "The")):
        store.table("marbles")
    with pytest.raises(RevisionUnknown, match="the latest is 1"):
        store.revision(9)
    with pytest.raises(RevisionUnknown, match="the latest is 1"):
        store.table("glasses", 2)


def test_a_price_of_nothing_is_no_row(rates: Rates) -> None:
    row = rates.stock_forms[0].model_dump(mode="json", by_alias=True)
    row["prices"][0]["price_per_kg"] = "0"
    with pytest.raises(TableUnreadable) as caught:
        validated_rows("stock_forms", [row])
    assert caught.value.errors[0].pointer == "/rows/0/prices/0/price_per_kg"


def test_migrating_twice_changes_nothing(database: Database) -> None:
    before = current(database)
    assert migrate(database, now=NOW) == before == newest()
    assert RateStore(database).latest_number() == 1
