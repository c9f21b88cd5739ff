"""The command that follows the feed of job estimates, as an ERP would."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from datetime import UTC
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from services.client.errors import ServerRefused, ServerUnreachable
from services.desk.cursor_file import read_cursor, write_cursor
from services.desk.terminal import HERE, Folder, Json, Key, Url, client_for, reported, say

if TYPE_CHECKING:
    from services.client import Client
    from shared_schemas.estimate_feed import EstimateEntry, EstimatePage

WIDTH = 80
READ_AT_ONCE = 200
WAITS_S = 20
"""Below the time in which an answer is given up."""
FIRST_PAUSE_S, LONGEST_PAUSE_S = 1.0, 60.0
HEAD = f"{'UTC':<18}{'what':<13}{'estimate':<19}order"


def estimates(
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
    after: Annotated[str | None, typer.Option(help="The cursor to go on from; without it from the first entry.")] = None,
    types: Annotated[
        list[str] | None,
        typer.Option("--type", help="Only ready, accepted, declined, expired, superseded, cancelled, rescheduled, withdrawn or expiring. May be repeated."),
    ] = None,
    since: Annotated[str | None, typer.Option(help="Only from this moment on, such as 2026-11-02T00:00:00Z.")] = None,
    follow: Annotated[bool, typer.Option("--follow", help="Go on and print whatever happens, until it is interrupted.")] = False,
    cursor: Annotated[
        Path | None,
        typer.Option(help="A file that keeps where you are: written after the entries were printed, read when no --after is given."),
    ] = None,
) -> None:  # fmt: skip
    """Print what happened to job estimates, oldest first; with --json one JSON document a line.

    With --cursor each run goes on where the last one ended. Should a run fall between printing and writing, the next prints
    those entries once more: an entry is known by its id.
    """
    with reported(as_json=as_json):
        start = after if after is not None or cursor is None else read_cursor(cursor)
        with client_for(url, key, folder, role="erp") as desk:
            _print(desk, start, types or [], since, follow=follow, as_json=as_json, cursor=cursor)


def _print(
    desk: Client, start: str | None, types: list[str], since: str | None, *, follow: bool, as_json: bool,
    cursor: Path | None,
) -> None:  # fmt: skip
    is_first, end = True, start
    with suppress(KeyboardInterrupt):
        for page in _pages(desk, start, types, since, follow=follow):
            if page.items and is_first and not as_json:
                typer.echo(HEAD)
            for entry in page.items:
                typer.echo(entry.model_dump_json() if as_json else entry_line(entry))
                is_first = False
            sys.stdout.flush()
            if cursor is not None and page.next is not None and page.next != end:
                write_cursor(cursor, page.next)
            end = page.next
    if cursor is None:
        say(f"go on with: --after {end}" if end else "nothing has happened yet", quiet=as_json)


def _pages(desk: Client, after: str | None, types: list[str], since: str | None, *, follow: bool) -> Iterator[EstimatePage]:
    """Pages until one is empty, or for ever; a server that is away while it is followed is asked again, ever more seldom."""
    pause_s, is_away = FIRST_PAUSE_S, False
    heard = False
    while True:
        try:
            page = desk.estimates(after, types=types, since=since, wait_s=WAITS_S if follow and heard else None, limit=READ_AT_ONCE)
        except (ServerUnreachable, ServerRefused) as fault:
            if not follow or not heard or (isinstance(fault, ServerRefused) and fault.status < 500):
                raise
            say(f"{fault} It is asked again.", quiet=is_away)
            is_away = True
            time.sleep(pause_s)
            pause_s = min(pause_s * 2, LONGEST_PAUSE_S)
            continue
        heard, is_away, pause_s = True, False, FIRST_PAUSE_S
        yield page
        if not page.items and not follow:
            return
        after = page.next


def entry_line(entry: EstimateEntry) -> str:
    """An entry on the terminal, in 80 columns: when, what, which estimate, and in a few words the rest."""
    said = ", ".join(word for word in (*_words(entry), entry.customer) if word)
    line = f"{entry.at.astimezone(UTC):%Y-%m-%d %H:%M}  {entry.type:<13}{entry.number:<18} {said}"
    return line if len(line) <= WIDTH else line[: WIDTH - 1] + "…"


def _words(entry: EstimateEntry) -> Iterator[str]:
    """What happened, shortly: the newest first, as the line may be cut off."""
    decision, moved, cancelled = entry.decision, entry.rescheduled, entry.cancellation
    if moved is not None:
        yield f"{moved.old_date} -> {moved.new_date}"
    if cancelled is not None:
        yield cancelled.reason.replace("_", " ")
        yield f"charge {cancelled.charge:,} {cancelled.currency}" if cancelled.charge else ""
    yield f"{decision.quantity:,} x {entry.title}" if decision is not None and decision.quantity else entry.title
    if decision is not None:
        yield decision.purchase_order or ""
        yield f"for {decision.promised.ship_date}" if decision.promised and moved is None else ""
        yield decision.reason.replace("_", " ") if decision.reason else ""


def add_to(app: typer.Typer) -> None:
    """Make this command of the command line."""
    app.command()(estimates)
