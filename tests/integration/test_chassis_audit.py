"""The audit log in a real database: a chain that anybody can check, written with the change it tells of, and never changed."""

from __future__ import annotations

import hashlib
import json
import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import Connection, text
from sqlalchemy.exc import DBAPIError

from services.chassis import audit
from services.chassis.audit import AuditLog
from services.chassis.database import Database
from services.chassis.epoch import begin_epoch
from services.chassis.keys import Caller
from services.chassis.migrate import PARTS
from shared_schemas.audit import AuditEntry, report_on

NOW = datetime(2026, 11, 2, 9, 0, 0, 250, tzinfo=UTC)


def note(database: Database, *subjects: str) -> None:
    for subject in subjects:
        with database.transaction() as connection:
            audit.record(
                connection, action="rates.publish", subject=subject, at=NOW, by="k1", label="an engineer", details={"n": 1}
            )


def chain(database: Database) -> list[AuditEntry]:
    return list(AuditLog(database).entries())


def test_the_chain_can_be_followed_by_sha_256_and_json_alone(database: Database) -> None:
    note(database, "revision 2", "révision 3 “neu”")
    last = "0" * 64
    for entry in chain(database):
        fields = {"number": entry.number, "at": entry.at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ"), "action": entry.action,
                  "by": entry.by, "label": entry.label, "subject": entry.subject, "details": entry.details, "previous": last}  # fmt: skip
        written = json.dumps(fields, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        last = hashlib.sha256(written.encode("utf-8")).hexdigest()
        assert entry.hash == last
    report = report_on(chain(database))
    assert (report.fault, report.last_hash, report.entries) == (None, last, 3)
    assert chain(database)[-1].at == NOW


def test_the_first_rates_of_a_shop_are_the_first_entry(database: Database) -> None:
    (first,) = chain(database)
    assert (first.number, first.action, first.by, first.subject) == (1, "rates.publish", "blankwright", "revision 1")
    assert first.details["reason"] == "the rates that the suite is delivered with"


def test_an_entry_goes_with_its_change_or_not_at_all(database: Database) -> None:
    def change_that_fails() -> None:
        with database.transaction() as connection:
            audit.record(connection, action="key.make", subject="k9", at=NOW)
            connection.execute(text("select 1 / 0"))

    with pytest.raises(DBAPIError):
        change_that_fails()
    assert [entry.action for entry in chain(database)] == ["rates.publish"]


def test_an_entry_names_the_key_that_asks(database: Database) -> None:
    token = audit.asking.set(Caller("k7", "admin", "the office"))
    try:
        with database.transaction() as connection:
            audit.record(connection, action="key.make", subject="k9", at=NOW)
    finally:
        audit.asking.reset(token)
    assert (chain(database)[-1].by, chain(database)[-1].label) == ("k7", "the office")


@pytest.mark.parametrize("statement", [
    "update chassis.audit set details = '{}'", "delete from chassis.audit", "truncate chassis.audit",
    "insert into chassis.audit select number + 7, at, action, by_key, label, subject, details, repeat('a', 64), repeat('b', 64) from chassis.audit",
])  # fmt: skip
def test_not_even_the_owner_changes_an_entry_or_puts_one_elsewhere(database: Database, statement: str) -> None:
    with pytest.raises(DBAPIError, match="audit log"), database.transaction() as connection:
        connection.execute(text(statement))


def tampered(change: Callable[[Connection], object], database: Database) -> None:
    """Change entries as only somebody can who owns the tables and switches off what guards them."""
    with database.transaction() as connection:
        connection.execute(text("alter table chassis.audit disable trigger user"))
        change(connection)
        connection.execute(text("alter table chassis.audit enable trigger user"))


@pytest.mark.parametrize(("statement", "broken_at"), [
    ("update chassis.audit set label = 'somebody else' where number = 3", 3),
    ("update chassis.audit set at = at - interval '1 second' where number = 2", 2),
    ("update chassis.audit set details = '{\"n\":2}' where number = 3", 3),
    ("update chassis.audit set details = '{\"n\":1.5}' where number = 3", 3),
    ("delete from chassis.audit where number = 3", 4),
    ("delete from chassis.audit where number = 1", 2),
    ("update chassis.audit set number = 9 where number = 3", 4),
])  # fmt: skip
def test_the_first_entry_that_was_tampered_with_is_named(database: Database, statement: str, broken_at: int) -> None:
    note(database, "a", "b", "c", "d")
    tampered(lambda connection: connection.exec_driver_sql(statement), database)
    fault = report_on(chain(database)).fault
    assert fault is not None
    assert fault.number == broken_at


def test_a_log_cut_short_or_written_anew_is_known_by_the_hash_that_was_kept(database: Database) -> None:
    note(database, "a", "b")
    kept = report_on(chain(database))
    known = (kept.number, kept.last_hash)
    note(database, "c")
    assert report_on(chain(database), known=known).fault is None
    tampered(lambda connection: connection.execute(text("delete from chassis.audit where number >= 3")), database)
    assert report_on(chain(database)).fault is None, "a chain alone does not know its end"
    fault = report_on(chain(database), known=known).fault
    assert fault is not None
    assert fault.reason == "it is not there any more"
    note(database, "something else")
    fault = report_on(chain(database), known=known).fault
    assert fault is not None
    assert "which it had before" in fault.reason


def test_entries_of_many_at_once_follow_one_another(database: Database) -> None:
    threads = [threading.Thread(target=note, args=(database, *(f"{one}-{two}" for two in range(5)))) for one in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    report = report_on(chain(database))
    assert (report.fault, report.entries) == (None, 31)


def test_after_a_restore_the_chain_goes_on_with_numbers_of_its_own(database: Database) -> None:
    note(database, "a")
    epoch = begin_epoch(database, PARTS, now=NOW + timedelta(hours=1), why="restored from x.dump")
    last = chain(database)[-1]
    assert (last.action, last.details["why"], last.number) == ("database.restore", "restored from x.dump", epoch.first_number)
    assert report_on(chain(database)).fault is None


def test_details_hold_no_fractions_as_not_every_language_writes_them_alike(database: Database) -> None:
    with pytest.raises(ValueError, match=r"not 1\.5"), database.transaction() as connection:
        audit.record(connection, action="key.make", subject="k9", at=NOW, details={"x": [1.5]})


def test_a_page_is_of_one_action_subject_or_key(database: Database) -> None:
    note(database, "a", "b", "a")
    log = AuditLog(database)
    assert [entry.number for entry in log.page(before=None, most=2)] == [4, 3]
    assert [entry.number for entry in log.page(before=4, most=9, subject="a")] == [2]
    assert [entry.number for entry in log.page(before=None, most=9, by="blankwright")] == [1]
    assert log.page(before=None, most=9, action="key.make") == []
