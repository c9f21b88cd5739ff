"""Rights in a real database: a part's role works on its own tables, and can do nothing to what is never changed or to another's."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing

import psycopg
import pytest
from psycopg.errors import InsufficientPrivilege

from services.chassis.database import Database
from services.chassis.keys import Keys
from services.chassis.migrate import current, migrate, newest
from tests.integration.conftest import NOW, PASSWORD

NAME = "with_roles"
PARTS = ("quoting", "orders", "rates", "keys")


@pytest.fixture(scope="module")
def owner(postgres_url: str, migrated: str) -> Iterator[Database]:
    """A database of this module's own, as the owner of its tables sees it, with a role for every part."""
    with psycopg.connect(f"{postgres_url}/postgres", autocommit=True) as connection:
        connection.execute(f"create database {NAME} template {migrated}".encode())
    made = Database(f"{postgres_url}/{NAME}")
    with pytest.MonkeyPatch.context() as patch:
        for part in PARTS:
            patch.setenv(f"BLANKWRIGHT_{part.upper()}_DATABASE_PASSWORD", PASSWORD + part)
        migrate(made, now=NOW)
    yield made
    made.close()
    with psycopg.connect(f"{postgres_url}/postgres", autocommit=True) as connection:
        connection.execute(f"drop database {NAME} with (force)".encode())
        for part in PARTS:
            connection.execute(f"drop role {NAME}_{part}".encode())


@pytest.fixture
def as_role(owner: Database, postgres_url: str) -> dict[str, str]:
    """Addresses of that database, by the part whose role connects."""
    server = postgres_url.rpartition("@")[2]
    return {part: f"postgresql://{NAME}_{part}:{PASSWORD}{part}@{server}/{NAME}" for part in PARTS}


def refused(url: str, statement: str) -> bool:
    with psycopg.connect(url) as connection:
        try:
            connection.execute(statement.encode())
        except InsufficientPrivilege:
            return True
        connection.rollback()
        return False


MAKE = "insert into chassis.api_keys (id, hash, role, label, created_at) values ('x', 'x', '{role}', 'x', now())"


def test_every_role_sees_keys_and_the_revision_of_every_part_and_one_alone_may_make_keys(
    as_role: dict[str, str], owner: Database
) -> None:
    key = Keys(owner).add(role="sales", label="x", now=NOW)
    for part, url in as_role.items():
        with closing(Database(url)) as mine:
            assert Keys(mine).caller(key) is not None
            assert current(mine) == newest()
            Keys(mine).note_uses({key.split("_")[1]: NOW})
        assert refused(url, MAKE.format(role="admin")) == (part != "quoting")
        for statement in (
            "update chassis.api_keys set role = 'admin'",
            "update chassis.api_keys set hash = 'x'",
            "delete from chassis.api_keys",
        ):
            assert refused(url, statement), (part, statement)


def test_the_role_that_makes_keys_makes_none_of_the_suite_and_revives_none(as_role: dict[str, str], owner: Database) -> None:
    keys = Keys(owner)
    key_id = keys.add(role="sales", label="x", now=NOW).split("_")[1]
    keys.revoke(key_id, now=NOW)
    for statement, why in (
        (MAKE.format(role="service"), "only the owner"),
        (f"update chassis.api_keys set revoked_at = null where id = '{key_id}'", "stays revoked"),
        ("update chassis.api_keys set expires_at = null", "longer"),
    ):
        with psycopg.connect(as_role["quoting"]) as connection:
            if why == "longer":
                connection.execute("update chassis.api_keys set expires_at = now() where revoked_at is null")
            with pytest.raises(psycopg.errors.RaiseException, match=why):
                connection.execute(statement.encode())
            connection.rollback()
    Keys(owner).add(role="service", label="x", now=NOW)


def test_who_keeps_changes_adds_to_the_audit_log_and_nobody_changes_it(as_role: dict[str, str]) -> None:
    add = (
        "insert into chassis.audit select number + 1, now(), 'x', 'x', 'x', 'x', '{}', hash, repeat('b', 64) "
        "from chassis.audit order by number desc limit 1"
    )
    for part, url in as_role.items():
        assert refused(url, add) == (part == "keys"), part
        assert refused(url, "select 1 from chassis.audit") == (part == "keys"), part
        for statement in (
            "update chassis.audit set label = label",
            "delete from chassis.audit",
            "truncate chassis.audit",
            "alter table chassis.audit disable trigger all",
            "drop table chassis.audit",
        ):
            assert refused(url, statement), (part, statement)


@pytest.mark.parametrize(
    ("part", "table"),
    [("quoting", "decisions"), ("quoting", "handovers"), ("quoting", "outcomes"), ("orders", "snapshots"), ("rates", "revisions"), ("rates", "table_versions")],
)  # fmt: skip
def test_what_is_never_changed_its_own_role_has_no_right_to_change(as_role: dict[str, str], part: str, table: str) -> None:
    column = {"decisions": "note", "handovers": "document", "outcomes": "digest", "snapshots": "digest"}.get(table, "digest")
    for statement in (
        f"update {part}.{table} set {column} = {column}",
        f"truncate {part}.{table} cascade",
        f"alter table {part}.{table} disable trigger all",
        f"drop table {part}.{table} cascade",
        "set session_replication_role = replica",
    ):
        assert refused(as_role[part], statement), statement


def test_nobody_reads_or_writes_the_tables_of_another(as_role: dict[str, str]) -> None:
    for part, table in (("quoting", "quotes"), ("orders", "orders"), ("rates", "revisions")):
        for other in PARTS:
            assert refused(as_role[other], f"select 1 from {part}.{table}") == (other != part), (other, table)
    assert refused(as_role["quoting"], "create table quoting.mine (x int)")
    assert refused(as_role["quoting"], "create role mine")


def test_a_role_adds_to_what_it_may_not_change(as_role: dict[str, str]) -> None:
    for part, statement in (
        ("rates", "insert into rates.revisions values (2, 'd', now(), 'x', 'x', '{}')"),
        ("orders", "insert into orders.snapshots values (2, 'd', now(), 0, '')"),
        ("quoting", "insert into quoting.events (number, kind, detail, at) select 'x', 'x', 'x', now() where false"),
        ("quoting", "select nextval('quoting.quote_numbers')"),
    ):
        assert not refused(as_role[part], statement), statement


def test_a_second_migration_leaves_rights_as_they_were_and_takes_a_new_password(
    as_role: dict[str, str], owner: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BLANKWRIGHT_KEYS_DATABASE_PASSWORD", PASSWORD + "another")
    migrate(owner, now=NOW)
    with pytest.raises(psycopg.OperationalError, match="password"):
        psycopg.connect(as_role["keys"])
    with psycopg.connect(as_role["keys"].replace(f"{PASSWORD}keys", f"{PASSWORD}another")) as connection:
        assert connection.execute("select count(*) from chassis.api_keys").fetchone()
    assert refused(as_role["rates"], "delete from rates.revisions")
