"""What a release needs of the rates of an older shop is added to them, and nothing of the shop's own is changed."""

from __future__ import annotations

import json
from typing import Any

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from services.chassis.migrate import migrate
from services.chassis.version import VERSION
from services.rates.domain.needs import completed
from services.rates.store.repository import RateStore
from shared_schemas.rate_row import ADDED_BY_RELEASE
from shared_schemas.rates import TABLES
from tests.upgrade.conftest import COMPLETE, NOW, Upgraded


def rows_at(upgraded: Upgraded, revision: int) -> dict[str, list[dict[str, Any]]]:
    """The rows of every table as a revision has them."""
    store = RateStore(upgraded.database)
    return {table: json.loads(store.table(table, revision).rows) for table in TABLES}


def test_what_is_missing_is_added_in_one_revision_and_says_so(upgraded: Upgraded) -> None:
    store = RateStore(upgraded.database)
    wanted = upgraded.rate_revision + (upgraded.state not in COMPLETE)
    assert store.latest_number() == wanted
    before, after = rows_at(upgraded, upgraded.rate_revision), rows_at(upgraded, wanted)
    for table in TABLES:
        names = {row["name"] for row in before[table]}
        added = [row for row in after[table] if row["name"] not in names]
        assert all(row["source"].startswith(f"{ADDED_BY_RELEASE} {VERSION}") for row in added)
    assert not completed(after, release="x").gaps
    found = store.shortcomings()
    assert found is not None
    assert not found.gaps
    assert bool(found.unconfirmed) == (upgraded.state not in COMPLETE)


def test_no_figure_of_the_shop_is_changed(upgraded: Upgraded) -> None:
    before = rows_at(upgraded, upgraded.rate_revision)
    after = rows_at(upgraded, RateStore(upgraded.database).latest_number())
    assert any(row["source"] == "wages of our own, 2026" for row in after["work_centres"])
    for table in TABLES:
        own = {row["name"]: row for row in after[table]}
        for row in before[table]:
            assert {**own[row["name"]], **row, "source": ""} == {**own[row["name"]], "source": ""}


def test_another_migration_adds_nothing(upgraded: Upgraded) -> None:
    newest = RateStore(upgraded.database).latest_number()
    migrate(upgraded.database, now=NOW)
    assert RateStore(upgraded.database).latest_number() == newest


def test_revisions_of_before_stand(upgraded: Upgraded) -> None:
    with pytest.raises(DBAPIError, match="never changed"), upgraded.database.transaction() as connection:
        connection.execute(text("update rates.revisions set reason = 'x'"))


def test_readiness_names_what_an_engineer_has_to_confirm(upgraded: Upgraded) -> None:
    with_rates = upgraded.shop.ask("GET", "/readyz").json()["parts"]
    assert with_rates["rates"] == "yes"
    assert (with_rates["rates_added"] == "yes") == (upgraded.state in COMPLETE)
