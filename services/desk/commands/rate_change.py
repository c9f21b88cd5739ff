"""Commands that change the rates: edit a table, check, publish, restore, import. Nothing is in force before it was seen and asked."""

from __future__ import annotations

import os
import shlex
import subprocess
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from services.client.errors import ServerRefused
from services.desk.commands.rate_look import kind_of
from services.desk.errors import FileUnreadable, OptionUnusable
from services.desk.terminal import HERE, Folder, Json, Key, Url, client_for, reported, say
from services.desk.texts.wording import problem_lines
from shared_schemas.problem import ProblemDetail

if TYPE_CHECKING:
    from services.client import Client
    from shared_schemas.rate_drafts import Draft, DraftCheck

DRAFTS = "/v1/rates/drafts"
CSV = "text/csv; charset=utf-8"
USUAL_EDITOR = "vi"
LARGEST_FILE_BYTES = 8 * 1024 * 1024

Why = Annotated[str | None, typer.Option("--reason", help="Why it is changed.")]
Yes = Annotated[bool, typer.Option("--yes", help="Publish without asking; what needs a second look still needs --confirm.")]
Confirm = Annotated[list[str] | None, typer.Option(help="The code of a second look that is meant so; may be given several times.")]
From = Annotated[str | None, typer.Option("--from", help="When it comes into force, as 2027-01-01T00:00:00Z; now without it.")]


def edit(
    table: Annotated[str, typer.Argument(help="A table, such as work_centres.")],
    draft: Annotated[int | None, typer.Option(min=1, help="A draft to go on with.")] = None,
    reason: Why = None, yes: Yes = False, confirm: Confirm = None, effective_from: From = None,
    impact: Annotated[bool, typer.Option("--impact/--no-impact", help="Say what it does to open quotes before it asks.")] = True,
    url: Url = None, key: Key = None, folder: Folder = HERE,
) -> None:  # fmt: skip
    """Open a table in $EDITOR as CSV, check it, show the difference and what it does to open quotes, ask, and publish."""
    with reported(as_json=False), client_for(url, key, folder, role="engineer") as desk:
        number = draft if draft is not None else _begin(desk, f"edit {table}"[:60], reason or f"{table} edited")
        if not _edited(desk, number, table):
            say("nothing was changed")
            if draft is None:
                desk.delete_draft(number)
            return
        _offer(desk, number, yes=yes, confirm=confirm, effective_from=effective_from, impact=impact)


def check(
    file: Annotated[Path | None, typer.Argument(help="A table as CSV, or all of them as .zip or .xlsx.")] = None,
    table: Annotated[str | None, typer.Option(help="Which table the CSV is; without it the name of the file.")] = None,
    draft: Annotated[int | None, typer.Option(min=1, help="A draft, in the place of a file.")] = None,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Name everything that stands between a draft or a file and its revision. Nothing is kept or published."""
    from services.desk.texts import rate as rate_text  # noqa: PLC0415

    if (file is None) == (draft is None):
        raise typer.BadParameter("name a file, or a --draft")
    with reported(as_json=as_json), client_for(url, key, folder, role="engineer") as desk:
        number = draft if file is None or draft is not None else _draft_of(desk, file, table, "a check")
        assert number is not None
        try:
            found = _check(desk, number)
        finally:
            if draft is None:
                desk.delete_draft(number)
        typer.echo(found.model_dump_json()) if as_json else rate_text.print_check(found)
        if not found.publishable:
            raise typer.Exit(2)


def publish(
    number: Annotated[int, typer.Argument(min=1, help="A draft.")],
    yes: Yes = False, confirm: Confirm = None, effective_from: From = None,
    impact: Annotated[bool, typer.Option("--impact/--no-impact", help="Say what it does to open quotes before it asks.")] = True,
    url: Url = None, key: Key = None, folder: Folder = HERE,
) -> None:  # fmt: skip
    """Show what a draft changes and does to open quotes, ask, and publish it."""
    with reported(as_json=False), client_for(url, key, folder, role="engineer") as desk:
        _offer(desk, number, yes=yes, confirm=confirm, effective_from=effective_from, impact=impact)


def restore(
    revision: Annotated[int, typer.Argument(min=1, help="The revision to bring back, all of its tables.")],
    reason: Why = None, yes: Yes = False, confirm: Confirm = None, effective_from: From = None,
    impact: Annotated[bool, typer.Option("--impact/--no-impact", help="Say what it does to open quotes before it asks.")] = True,
    url: Url = None, key: Key = None, folder: Folder = HERE,
) -> None:  # fmt: skip
    """Bring an old revision back as a draft, show what that changes, ask, and publish it."""
    with reported(as_json=False), client_for(url, key, folder, role="engineer") as desk:
        number = _begin(desk, f"restore {revision}", reason or f"revision {revision} again", from_revision=revision)
        _offer(desk, number, yes=yes, confirm=confirm, effective_from=effective_from, impact=impact)


def import_(
    file: Annotated[Path, typer.Argument(help="rates.zip or rates.xlsx, as export wrote it; or one table as CSV.")],
    table: Annotated[str | None, typer.Option(help="Which table the CSV is; without it the name of the file.")] = None,
    reason: Why = None, yes: Yes = False, confirm: Confirm = None, effective_from: From = None,
    impact: Annotated[bool, typer.Option("--impact/--no-impact", help="Say what it does to open quotes before it asks.")] = True,
    url: Url = None, key: Key = None, folder: Folder = HERE,
) -> None:  # fmt: skip
    """Make a draft of a file of tables, show what it changes, ask, and publish it."""
    with reported(as_json=False), client_for(url, key, folder, role="engineer") as desk:
        number = _draft_of(desk, file, table, reason or f"imported from {file.name}"[:400])
        _offer(desk, number, yes=yes, confirm=confirm, effective_from=effective_from, impact=impact)


def _begin(desk: Client, name: str, reason: str, **more: Any) -> int:

    return desk.make_draft(name, reason, **more).number


def _draft_of(desk: Client, file: Path, table: str | None, reason: str) -> int:
    """A draft of a file: one table as CSV, or an archive."""
    try:
        if file.stat().st_size > LARGEST_FILE_BYTES:
            raise FileUnreadable(file.name, f"it is larger than {LARGEST_FILE_BYTES // 1024} KiB")
        content = file.read_bytes()
    except OSError as fault:
        raise FileUnreadable(str(file), (fault.strerror or str(fault)).lower()) from fault
    if file.suffix.lower() in (".zip", ".xlsx"):
        return desk.make_draft_of_archive(content, kind_of(file), reason=reason, name=f"import {file.name}"[:60]).number
    number = _begin(desk, f"import {file.name}"[:60], reason)
    try:
        _put(desk, number, table or file.stem, content)
    except ServerRefused:
        desk.delete_draft(number)
        raise
    return number


def _put(desk: Client, number: int, table: str, content: bytes) -> None:
    _, tag = desk.draft_table(number, table)
    desk.put_draft_table(number, table, content, tag)


def _edited(desk: Client, number: int, table: str) -> bool:
    """Whether the table was changed in the editor; one with wrong cells is opened again as long as that is wished."""
    before, _ = desk.draft_table_csv(number, table)
    with tempfile.TemporaryDirectory(prefix="blankwright-") as place:
        file = Path(place) / f"{table}.csv"
        file.write_bytes(before)
        while True:
            _open(file)
            content = file.read_bytes()
            if content == before:
                return False
            try:
                _put(desk, number, table, content)
            except ServerRefused as fault:
                if fault.status != 422:
                    raise
                for line in (str(fault), *problem_lines(fault.errors)):
                    say(line)
                if not typer.confirm("Open it again?", default=True, err=True):
                    raise
            else:
                return True


def _open(file: Path) -> None:
    command = shlex.split(os.environ.get("VISUAL") or os.environ.get("EDITOR") or USUAL_EDITOR)
    try:
        ended = subprocess.run([*command, str(file)], check=False).returncode  # nosec B603  the user's own editor
    except OSError as fault:
        ended = fault.errno or 1
    if ended:
        detail = ProblemDetail(
            pointer="EDITOR", reason=f"{command[0]} cannot be run or failed", remedy="set EDITOR to an editor that is there"
        )
        raise OptionUnusable(detail)


def _check(desk: Client, number: int) -> DraftCheck:

    return desk.check_draft(number)


def _offer(
    desk: Client, number: int, *, yes: bool, confirm: list[str] | None, effective_from: str | None, impact: bool
) -> None:  # fmt: skip
    """Show what a draft changes, what stands in its way and what it does to open quotes; ask, and publish it."""
    from services.desk.texts import rate as rate_text  # noqa: PLC0415

    rate_text.print_difference(desk.compare_draft(number))
    found = _check(desk, number)
    rate_text.print_check(found)
    kept = f"Draft {number} is kept. Go on with: blankwright rates publish {number}"
    if not found.publishable:
        say(kept)
        raise typer.Exit(2)
    if impact:
        _say_impact(desk, number)
    open_codes = [look.code for look in found.second_looks if look.code not in (confirm or ())]
    if yes and open_codes:
        say(f"{len(open_codes)} of it needs --confirm. {kept}")
        raise typer.Exit(2)
    asks = f"Publish draft {number}" + (f", and confirm {len(open_codes)} as meant so?" if open_codes else "?")
    if not yes and not typer.confirm(asks, default=False, err=True):
        say(kept)
        return
    done = _published(desk, number, [*(confirm or ()), *open_codes], effective_from)
    when = f"comes into force at {done.effective_from}" if done.status == "scheduled" else f"is revision {done.published_revision}"
    say(f"draft {number} {when}")


def _published(desk: Client, number: int, codes: list[str], effective_from: str | None) -> Draft:

    _, tag = desk.draft(number)
    return desk.publish_draft(number, tag, confirm=codes, effective_from=effective_from)


def _say_impact(desk: Client, number: int) -> None:
    accepted = desk.rate_impact(None, None, draft=number)
    if not accepted.quotes:
        say("no quote is open")
        return
    state = desk.wait_for_impact(accepted.number, 600.0)
    totals = state.totals
    say(
        f"{accepted.quotes} open quotes: {totals.dearer} dearer, {totals.cheaper} cheaper; more with: blankwright impact --number {accepted.number}"
    )
