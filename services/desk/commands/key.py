"""Commands for keys: made, listed, exchanged, revoked.

Over HTTP with an administrator's key (that of the one box, where it runs); or in the database itself, where BLANKWRIGHT_DATABASE_URL names
it and no server is named: so the first key is made, and those that parts of the suite show each other.
"""

from __future__ import annotations

from datetime import UTC, datetime, time
from typing import TYPE_CHECKING, Annotated

import typer

from services.desk import machine
from services.desk.terminal import HERE, Folder, Json, Key, Url, answer, client_for, reported, unusable
from shared_schemas.keys import LONGEST_OVERLAP_HOURS, KeyInfo, KeyRotation

if TYPE_CHECKING:
    pass

ROLES = ("sales", "erp", "engineer", "admin", "service")
Scopes = Annotated[
    list[str] | None, typer.Option("--scope", help="read_only, or table:NAME for an engineer; may be said several times.")
]
Until = Annotated[str | None, typer.Option("--until", help="A day such as 2027-03-31, at whose end (UTC) the key ends.")]


def keys_list(url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False) -> None:
    """List every key without its secret, newest first."""
    with reported(as_json=as_json):
        if machine.has_database(url):
            known = machine.list_keys()
        else:
            with client_for(url, key, folder, role="admin") as desk:
                known = list(desk.every_key(limit=200))
        now = datetime.now(UTC)
        lines = [_line(one, now) for one in known]
        answer([one.model_dump(mode="json") for one in known], lines or ["no keys yet"], as_json=as_json)


def _line(one: KeyInfo, now: datetime) -> str:
    if one.revoked_at is not None:
        state = f"revoked {one.revoked_at:%Y-%m-%d}"
    elif one.expires_at is None:
        state = "good"
    else:
        state = f"{'ended' if one.expires_at <= now else 'good until'} {one.expires_at:%Y-%m-%d %H:%M}"
    used = f"used {one.last_used_at:%Y-%m-%d %H:%M}" if one.last_used_at else "never used"
    more = "".join(f"  {scope}" for scope in one.scopes) + (f"  in the place of {one.rotated_from}" if one.rotated_from else "")
    return f"{one.id}  {one.role:<9}  {state:<27}  {used:<21}  {one.label}{more}"


def keys_make(
    role: Annotated[str, typer.Argument(help="sales, erp, engineer, admin; in the database itself also service.")],
    label: Annotated[str, typer.Option(help="Whose it is.")] = "",
    scope: Scopes = None, until: Until = None,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Make a key and show it, this once."""
    if role not in ROLES:
        raise typer.BadParameter(f"there is no role {role}; the roles are {', '.join(ROLES)}")
    with reported(as_json=as_json):
        ends = _end_of(until)
        if machine.has_database(url):
            made = machine.add_key(role, label, scopes=tuple(scope or ()), expires_at=ends)
        elif role == "service":
            raise unusable("role", role, "one of sales, erp, engineer, admin; keys of the suite itself are made in the database")
        else:
            wanted = {"role": role, "label": label or f"{role} key", "scopes": scope or [], "expires_at": ends and ends.isoformat()}
            with client_for(url, key, folder, role="admin") as desk:
                made = desk.make_key(wanted)
        answer({"role": role, **made.model_dump(mode="json")}, [made.key], as_json=as_json)


def keys_rotate(
    key_id: Annotated[str, typer.Argument(help="The id of the key, as blankwright keys list has it.")],
    overlap_h: Annotated[int, typer.Option("--overlap", min=0, max=LONGEST_OVERLAP_HOURS, help="So many hours the old key stays good.")] = 24,
    until: Until = None,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Make a key that takes the place of another, and show it, this once. The old one is good for some hours more."""
    with reported(as_json=as_json):
        asked = KeyRotation(overlap_hours=overlap_h, expires_at=_end_of(until))
        if machine.has_database(url):
            made = machine.rotate_key(key_id, asked)
        else:
            with client_for(url, key, folder, role="admin") as desk:
                made = desk.rotate_key(_id(key_id), asked)
        answer(made.model_dump(mode="json"), [made.key], as_json=as_json)


def keys_new(as_json: Json = False) -> None:
    """Make a key and show it, without storing it anywhere: for deploy/example.env."""
    key = machine.fresh_key()
    answer({"key": key}, [key], as_json=as_json)


def keys_revoke(
    key_id: Annotated[str, typer.Argument(help="The id of the key.")],
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Revoke a key: within five seconds it is good nowhere."""
    with reported(as_json=as_json):
        if machine.has_database(url):
            machine.revoke_key(key_id)
        else:
            with client_for(url, key, folder, role="admin") as desk:
                desk.revoke_key(_id(key_id))
        answer({"revoked": key_id}, [f"{key_id} is revoked"], as_json=as_json)


def _id(text: str) -> str:
    """The id of a key, for a path."""
    if not (text.isascii() and text.isalnum()):
        raise unusable("key_id", text[:40], "the id of a key, letters and digits alone; never the key itself")
    return text


def _end_of(day: str | None) -> datetime | None:
    """The end of a day; raises `OptionUnusable` for what is none."""
    if day is None:
        return None
    try:
        return datetime.combine(datetime.strptime(day, "%Y-%m-%d").date(), time(23, 59, 59), tzinfo=UTC)  # noqa: DTZ007  a day
    except ValueError as fault:
        raise unusable("--until", day[:40], "a day such as 2027-03-31") from fault


def add_to(app: typer.Typer) -> None:
    """Make these commands of the command line."""
    keys = typer.Typer(help="Hand out, list, exchange and revoke keys.", no_args_is_help=True, rich_markup_mode=None)
    named = (
        ("list", keys_list),
        ("make", keys_make),
        ("add", keys_make),
        ("rotate", keys_rotate),
        ("new", keys_new),
        ("revoke", keys_revoke),
    )
    for name, of_keys in named:
        keys.command(name=name, hidden=name == "add")(of_keys)
    app.add_typer(keys, name="keys")
