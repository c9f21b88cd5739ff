"""Who may do what in the database: a role for each part with tables, which has rights on its own alone, and one that reads keys.

The owner of the tables migrates and makes keys; no process that serves or works connects as the owner. A role is no superuser,
owns nothing, and so can neither empty a table nor switch off a trigger. What a part never changes or never deletes it says in `RIGHTS` of its
store, and its role has no right to.

Roles are made and their passwords set where the settings tell them (`BLANKWRIGHT_QUOTING_DATABASE_PASSWORD`, and so on). Rights are given
to every role that there is: a database whose owner may make no roles has them made by whoever may.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from sqlalchemy import Connection, text

from services.chassis.settings import told

READERS = "keys"
"""The role of the parts that have no tables of their own: it reads the chassis', with the keys of callers, and nothing else."""

EVERY_RIGHT = "select, insert, update, delete"


def passwords_told(parts: Iterable[str]) -> dict[str, str]:
    """The password of each part's role, as far as the settings tell them."""
    said = {part: told(f"BLANKWRIGHT_{part.upper()}_DATABASE_PASSWORD") for part in (*parts, READERS)}
    return {part: password for part, password in said.items() if password}


def give_rights(
    connection: Connection, rights: Mapping[str, Mapping[str, str]], passwords: Mapping[str, str], *,
    of_chassis: Mapping[str, Mapping[str, str]], hidden: Collection[str] = (),
) -> tuple[str, ...]:  # fmt: skip
    """Make the roles that `passwords` names and give every role its rights anew; the roles that there are then.

    `rights`: for each part, the tables on which its role has fewer rights than all, or on which every role has some that the chassis keeps.
    `of_chassis`: for each part, what its role alone may do to tables of the chassis; `hidden` are those of them that no other role reads.
    In one transaction, so that whoever works meanwhile never misses a right.
    """
    prefix = str(connection.execute(text("select current_database()")).scalar_one())
    for part, password in passwords.items():
        _make(connection, f"{prefix}_{part}", password)
    parts = [part for part in rights if part != "chassis"]
    wanted = {f"{prefix}_{part}": part for part in (*parts, READERS)}
    there = connection.execute(text("select rolname from pg_roles where rolname = any(:names)"), {"names": list(wanted)}).scalars()
    given = tuple(sorted(there))
    for role in given:
        for schema in rights:
            _run(connection, "revoke all on all tables in schema %I from %I", schema, role)
            _run(connection, "grant usage on schema %I to %I", schema, role)
            _run(connection, "grant select on %I.alembic_version to %I", schema, role)
        _run(connection, "grant select on all tables in schema chassis to %I", role)
        for table in hidden:
            _run(connection, "revoke all on chassis.%I from %I", table, role)
        part = wanted[role]
        _give(connection, role, "chassis", rights["chassis"])
        _give(connection, role, "chassis", of_chassis.get(part, {}))
        if part in rights:
            _give(connection, role, part, dict.fromkeys(_tables_of(connection, part), EVERY_RIGHT) | dict(rights[part]))
            _run(connection, "grant usage, select on all sequences in schema %I to %I", part, role)
    return given


def _give(connection: Connection, role: str, schema: str, rights: Mapping[str, str]) -> None:
    for table, some in rights.items():
        _run(connection, f"grant {some} on %I.%I to %I", schema, table, role)


def _tables_of(connection: Connection, schema: str) -> list[str]:
    names = connection.execute(text("select tablename from pg_tables where schemaname = :schema"), {"schema": schema}).scalars()
    return [name for name in names if name != "alembic_version"]


def _make(connection: Connection, role: str, password: str) -> None:
    known = connection.execute(text("select 1 from pg_roles where rolname = :role"), {"role": role}).scalar()
    if not known:
        _run(connection, "create role %I login nosuperuser nocreatedb nocreaterole noreplication", role)
    # Worked out here, so that the password itself is in no log of the server.
    pgconn = connection.connection.driver_connection.pgconn  # type: ignore[union-attr]
    verifier = pgconn.encrypt_password(password.encode(), role.encode(), b"scram-sha-256").decode()
    statement = connection.execute(
        text("select format('alter role %I password %L', cast(:role as text), cast(:verifier as text))"),
        {"role": role, "verifier": verifier},
    ).scalar_one()
    connection.exec_driver_sql(statement)


def _run(connection: Connection, statement: str, *names: str) -> None:
    """Run a statement with quoted names in the places of `%I`."""
    places = ", ".join(f"cast(:n{at} as text)" for at in range(len(names)))
    quoted = connection.execute(
        text(f"select format(:statement, {places})"), {"statement": statement, **{f"n{at}": name for at, name in enumerate(names)}}
    )  # nosec B608  the places are counted, never filled in here
    connection.exec_driver_sql(quoted.scalar_one())
