"""Keys on a real PostgreSQL: only a hash is kept, a revoked key stops."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from sqlalchemy import text

from services.chassis.database import Database
from services.chassis.keys import Keys

NOW = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)


def test_a_key_says_who_is_asking_and_is_nowhere_stored(database: Database) -> None:
    keys = Keys(database)
    key = keys.add(role="sales", label="front desk", now=NOW)
    caller = keys.caller(key)
    assert caller is not None
    assert (caller.role, caller.label) == ("sales", "front desk")
    with database.transaction() as connection:
        row = str(connection.execute(text("select * from chassis.api_keys")).one())
    assert key not in row
    assert key.split("_", 2)[2] not in row


def test_a_revoked_key_stops(database: Database) -> None:
    keys = Keys(database)
    key = keys.add(role="erp", label="erp", now=NOW)
    (record,) = keys.listed()
    assert keys.revoke(record.key_id, now=NOW) is True
    assert keys.caller(key) is None
    assert keys.revoke(record.key_id, now=NOW) is False


@pytest.mark.parametrize(
    "change", [lambda key: key[:-1], lambda key: key + "x", lambda key: key.replace("bw_", "cw_"), lambda key: ""]
)
def test_a_key_that_is_not_quite_right_is_nobodys(database: Database, change: object) -> None:
    keys = Keys(database)
    key = keys.add(role="sales", label="x", now=NOW)
    assert callable(change)
    assert keys.caller(change(key)) is None


def test_a_role_that_does_not_exist_gets_no_key(database: Database) -> None:
    with pytest.raises(ValueError, match="there is no role king"):
        Keys(database).add(role="king", label="x", now=NOW)
