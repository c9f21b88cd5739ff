"""Bring every part's tables up to date, in one step, under one lock, before anything serves.

Each part with tables has a PostgreSQL schema of its own name and a folder of Alembic revisions; after them its
`furnish(database, now)` puts in what it must never be without. Last, the roles of the parts have their rights (`roles.py`).
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, text

from services.chassis.database import Database
from services.chassis.roles import give_rights, passwords_told

if TYPE_CHECKING:
    from alembic.config import Config

LOCK = 7_460_213
"""Number of the advisory lock that keeps two migrations apart."""

HERE = Path(__file__).resolve().parent
PARTS: dict[str, Path] = {
    "chassis": HERE / "migrations",
    "rates": HERE.parent / "rates" / "store" / "migrations",
    "orders": HERE.parent / "orders" / "store" / "migrations",
    "quoting": HERE.parent / "quoting" / "store" / "migrations",
}
"""Parts that have tables, with their revisions."""

WRITTEN_BY_ALL: dict[str, str] = {"key_uses": "select, insert, update"}
"""Tables of the chassis that every part's role may write to, with the rights."""

AUDIT = "select, insert"
"""What the role of a part that keeps changes may do to the audit log; the other roles have no right to it at all."""
WRITTEN_BY: dict[str, dict[str, str]] = {
    "rates": {"audit": AUDIT},
    "orders": {"audit": AUDIT},
    # It serves the routes of keys. A trigger keeps it from making keys of the suite itself, and any key from becoming another.
    "quoting": {"audit": AUDIT, "api_keys": "insert, update (expires_at, revoked_at)"},  # pragma: allowlist secret
}
"""Tables of the chassis to which the role of one part has rights of its own."""
HIDDEN = ("audit",)
"""Tables of the chassis that a role reads only where it has rights of its own to them."""


def migrate(database: Database, *, now: datetime) -> dict[str, str]:
    """Bring every part to its newest revision; the revisions they are at then. Waits while another process does it."""
    from alembic import command  # noqa: PLC0415  heavy, and only a migration needs it

    with database.engine.connect() as lock:
        lock.execute(text("set statement_timeout = 0"))
        lock.execute(text("set lock_timeout = 0"))
        lock.execute(text("select pg_advisory_lock(:n)"), {"n": LOCK})
        try:
            wanted = newest()
            for part, folder in PARTS.items():
                with database.transaction() as connection:
                    if _revision_of(connection, part) != wanted[part]:
                        connection.execute(text(f'create schema if not exists "{part}"'))
                        command.upgrade(_config(folder, connection=connection, schema=part), "head")
            for part in PARTS:
                if part != "chassis":
                    import_module(f"services.{part}.store").furnish(database, now)
            with database.transaction() as connection:
                passwords = passwords_told(part for part in PARTS if part != "chassis")
                give_rights(connection, rights_kept(), passwords, of_chassis=WRITTEN_BY, hidden=HIDDEN)
        finally:
            lock.execute(text("select pg_advisory_unlock(:n)"), {"n": LOCK})
    return current(database)


def rights_kept() -> dict[str, dict[str, str]]:
    """For each part the tables on which its role has not every right; of the chassis, those that every role may write to."""
    of_parts = {part: dict(import_module(f"services.{part}.store").RIGHTS) for part in PARTS if part != "chassis"}
    return {"chassis": dict(WRITTEN_BY_ALL), **of_parts}


def newest() -> dict[str, str]:
    """The newest revision of each part that this code knows: revisions are numbered, and their files named by number."""
    return {part: max(path.name.split("_")[0] for path in folder.glob("[0-9]*.py")) for part, folder in PARTS.items()}


def current(database: Database, parts: Iterable[str] = tuple(PARTS)) -> dict[str, str]:
    """The revision each part is at in the database, an empty text for a part without tables."""
    with database.transaction() as connection:
        return {part: _revision_of(connection, part) for part in parts}


def _revision_of(connection: Connection, part: str) -> str:
    if connection.execute(text("select to_regclass(:t)"), {"t": f"{part}.alembic_version"}).scalar() is None:
        return ""
    return str(connection.execute(text(f'select version_num from "{part}".alembic_version')).scalar() or "")  # nosec B608  a key of PARTS


def _config(folder: Path, **attributes: object) -> Config:
    from alembic.config import Config  # noqa: PLC0415

    config = Config()
    config.set_main_option("script_location", str(HERE / "alembic"))
    config.set_main_option("version_locations", str(folder))
    config.set_main_option("path_separator", "newline")
    config.attributes.update(attributes)
    return config
