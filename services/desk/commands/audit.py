"""Commands for the audit log: shown, taken out as JSON Lines, and its chain of hashes walked."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from pydantic import ValidationError

from services.desk.errors import FileUnreadable, FileUnwritable
from services.desk.terminal import HERE, UNREACHABLE, Folder, Json, Key, Url, answer, client_for, reported, unusable
from shared_schemas.audit import AuditEntry, report_on

if TYPE_CHECKING:
    from services.client import Client

KNOWN = re.compile(r"([1-9][0-9]{0,17}):([0-9a-f]{64})")
Known = Annotated[str | None, typer.Option("--known", help="NUMBER:HASH as an earlier verify said it: what was kept elsewhere.")]


def audit_list(
    action: Annotated[str | None, typer.Option(help="Only this action, such as rates.publish or key.make.")] = None,
    subject: Annotated[str | None, typer.Option(help="Only what was done to this, such as Q-2026-000001.")] = None,
    by: Annotated[str | None, typer.Option("--by", help="Only what the key of this id did.")] = None,
    cursor: Annotated[str | None, typer.Option(help="Cursor of the page before.")] = None,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Show changes of rates, keys and decisions, newest first, a page at a time."""
    with reported(as_json=as_json), client_for(url, key, folder, role="admin") as desk:
        page = desk.audit(cursor, action=action, subject=subject, key=by)
        lines = [_line(entry) for entry in page.items]
        lines += [f"more with: blankwright audit list --cursor {page.next}"] if page.next else []
        answer(page.model_dump(mode="json"), lines or ["nothing yet"], as_json=as_json)


def _line(entry: AuditEntry) -> str:
    by = f"{entry.label} ({entry.by})" if entry.label else entry.by
    return f"{entry.number:>7}  {entry.at:%Y-%m-%d %H:%M:%S}  {entry.action:<16}  {entry.subject}  by {by}"


def audit_export(
    out: Annotated[Path, typer.Option(help="File to write, one entry a line.")],
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Write the whole log to a file of JSON Lines, oldest entry first. A file that is there is not overwritten."""
    with reported(as_json=as_json), client_for(url, key, folder, role="admin") as desk:
        count = 0
        try:
            with out.open("x", encoding="utf-8", newline="\n") as file:
                for entry in _entries(desk):
                    file.write(entry.model_dump_json() + "\n")
                    count += 1
        except OSError as fault:
            raise FileUnwritable(str(out), str(fault)) from fault
        answer({"file": str(out), "entries": count}, [f"{out}: {count} entries"], as_json=as_json)


def audit_verify(
    file: Annotated[Path | None, typer.Option("--file", help="An export instead of the log of the server.")] = None,
    known: Known = None, url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Walk the log from its first entry to its last. Exit code 1 when an entry was changed, left out or put in between.

    Keep what it says elsewhere and show it next time as --known: only so is it seen when the end of the log is cut off.
    """
    with reported(as_json=as_json):
        kept = _known(known)
        if file is not None:
            report = report_on(_of_file(file), known=kept)
        else:
            with client_for(url, key, folder, role="admin") as desk:
                report = report_on(_entries(desk), known=kept)
        if report.fault is None:
            lines = [
                f"{report.entries} entries, each follows the one before",
                f"keep elsewhere: {report.number}:{report.last_hash}",
            ]
        else:
            lines = [
                f"broken at entry {report.fault.number}: {report.fault.reason}",
                f"{report.entries} entries before it are whole",
            ]
        answer(report.model_dump(mode="json"), lines, as_json=as_json)
        if report.fault is not None:
            raise typer.Exit(UNREACHABLE)


def _entries(desk: Client) -> Iterator[AuditEntry]:
    """Every entry, oldest first, fetched here so that it is not the server that says its own log is whole."""
    after = "0"
    while True:
        page = desk.audit(after=after, limit=1000)
        yield from page.items
        if page.next is None:
            return
        after = page.next


def _of_file(file: Path) -> Iterator[AuditEntry]:
    try:
        with file.open(encoding="utf-8") as lines:
            for at, line in enumerate(lines, start=1):
                try:
                    yield AuditEntry.model_validate_json(line)
                except ValidationError as fault:
                    raise FileUnreadable(str(file), f"line {at} is no entry of an audit log") from fault
    except (OSError, UnicodeDecodeError) as fault:
        raise FileUnreadable(str(file), str(fault)) from fault


def _known(text: str | None) -> tuple[int, str] | None:
    if text is None:
        return None
    found = KNOWN.fullmatch(text.strip())
    if found is None:
        raise unusable("--known", text[:90], "a number, a colon and a hash, as blankwright audit verify says them")
    return int(found[1]), found[2]


def add_to(app: typer.Typer) -> None:
    """Make these commands of the command line."""
    audit = typer.Typer(help="The log of changes of rates, keys and decisions.", no_args_is_help=True, rich_markup_mode=None)
    for name, command in (("list", audit_list), ("export", audit_export), ("verify", audit_verify)):
        audit.command(name=name)(command)
    app.add_typer(audit, name="audit")
