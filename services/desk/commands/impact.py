"""The command of an engineer who would change rates: what that would do to open quotes."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from services.client.errors import ServerRefused
from services.desk.errors import FileUnreadable
from services.desk.terminal import HERE, Folder, Json, Key, Patience, Url, client_for, reported, say

if TYPE_CHECKING:
    from services.client import Client
    from shared_schemas.rate_impact import RateImpactAccepted

LARGEST_FILE_BYTES = 1024 * 1024
ROW = re.compile(r"^/rows/([0-9]{1,5})(/|$)")


def impact(
    file: Annotated[Path | None, typer.Argument(help="The table as it would be: all its rows, as CSV or JSON.")] = None,
    table: Annotated[str | None, typer.Option(help="Which table it is, such as polishing; without it the name of the file.")] = None,
    draft: Annotated[int | None, typer.Option(min=1, help="A draft of rates, in the place of a file.")] = None,
    quote: Annotated[list[str] | None, typer.Option(help="An open quote; may be given several times.")] = None,
    customer: Annotated[str | None, typer.Option(help="Only open quotes of this customer.")] = None,
    since: Annotated[str | None, typer.Option(help="Only open quotes issued on this day or later, as 2026-11-02.")] = None,
    refused: Annotated[bool, typer.Option("--refused", help="Also requests that were refused, which may become possible.")] = False,
    most: Annotated[int, typer.Option(min=1, max=2000, help="So many of the newest open quotes, when none is named.")] = 2000,
    number: Annotated[str | None, typer.Option(help="An impact that was asked for before: print it.")] = None,
    cursor: Annotated[str | None, typer.Option(help="Cursor of the page before; goes with --number.")] = None,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False, timeout_s: Patience = 600.0,
) -> None:  # fmt: skip
    """Say what a draft or a rate table would do to open quotes if it were published. Nothing is published, and no quote is touched."""
    if sum(given is not None for given in (file, number, draft)) != 1:
        raise typer.BadParameter("name a table to propose, a --draft, or with --number an impact that was asked for")
    with reported(as_json=as_json):
        rows = read_table(file) if file is not None else None
        with client_for(url, key, folder, role="engineer") as desk:
            if number is None:
                chosen = {"most": most, "quotes": quote, "customer": customer, "issued_since": since, "refused": refused}
                accepted = _proposed(desk, table or file.stem if file else None, rows, {**chosen, "draft": draft})
                count = f"{accepted.quotes} quote{'' if accepted.quotes == 1 else 's'}"
                against = "the proposed table" if draft is None else f"draft {draft}"
                say(f"impact {accepted.number}: {count} held against {against}", quiet=as_json)
                state = desk.wait_for_impact(accepted.number, timeout_s, _progress(accepted.quotes, quiet=as_json))
            else:
                state = desk.impact(number, cursor)
        if as_json:
            typer.echo(state.model_dump_json())
            return
        from services.desk.texts.impact import impact_page  # noqa: PLC0415
        from services.desk.texts.page_parts import console_for  # noqa: PLC0415

        console_for(sys.stdout).print(impact_page(state))


def _progress(quotes: int, *, quiet: bool) -> Callable[[int], None]:
    """Says how many quotes are worked out, whenever that is more than before."""
    said = 0

    def hear(worked_out: int) -> None:
        nonlocal said
        if worked_out > said:
            said = worked_out
            say(f"{worked_out} of {quotes} worked out", quiet=quiet)

    return hear


def _proposed(
    desk: Client, table: str | None, rows: list[dict[str, Any]] | str | None, chosen: dict[str, Any]
) -> RateImpactAccepted:  # fmt: skip
    """The impact that was asked for; what the server has against a row of CSV is told by its line."""
    try:
        return desk.rate_impact(table, rows, **chosen)
    except ServerRefused as fault:
        if not isinstance(rows, str):
            raise
        by_line = [one.model_copy(update={"pointer": ROW.sub(_by_line, one.pointer)}) for one in fault.problem.errors]
        raise ServerRefused(fault.problem.model_copy(update={"errors": tuple(by_line)})) from fault


def _by_line(row: re.Match[str]) -> str:
    # The heads are the first line, and a person counts lines from 1.
    return f"line {int(row[1]) + 2}" + (", " if row[2] else "")


def read_table(path: Path) -> list[dict[str, Any]] | str:
    """The rows of a JSON file (a list, or an object with `rows` as the server gives a table), or the text of a CSV file.

    Cells are the server's to judge. Raises `FileUnreadable`.
    """
    from services.desk.request_file import decoded  # noqa: PLC0415

    try:
        content = path.read_bytes()
    except OSError as fault:
        raise FileUnreadable(str(path), (fault.strerror or str(fault)).lower()) from fault
    if len(content) > LARGEST_FILE_BYTES:
        raise FileUnreadable(path.name, f"it is larger than {LARGEST_FILE_BYTES // 1024} KiB, which no rate table is")
    text = decoded(content, path.name)
    if path.suffix.lower() != ".json":
        return text
    try:
        document = json.loads(text)
    except (ValueError, RecursionError) as fault:
        raise FileUnreadable(path.name, f"it is not JSON: {fault}") from fault
    rows = document.get("rows") if isinstance(document, dict) else document
    if not isinstance(rows, list):
        raise FileUnreadable(path.name, "it must hold the rows of a table: a list, or an object with rows")
    return rows


def add_to(app: typer.Typer) -> None:
    """Make this command one of the command line."""
    app.command()(impact)
