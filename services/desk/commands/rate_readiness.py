"""The command of an engineer who makes the rates the shop's own: what of the money quoted rests on invented or stale rows."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

import typer

from services.desk.terminal import HERE, Folder, Json, Key, Patience, Url, client_for, reported, say

if TYPE_CHECKING:
    from rich.console import RenderableType

    from shared_schemas.rate_readiness import RateReadiness, RowToMakeReady

ROWS_SHOWN = 25


def readiness(
    quote: Annotated[list[str] | None, typer.Option(help="Go by this quote in the place of the open book; may be given several times.")] = None,
    demo: Annotated[bool, typer.Option("--demo", help="Quote the demo lens, and go by that.")] = False,
    most: Annotated[int, typer.Option(min=1, max=200, help="So many rows, the largest first.")] = ROWS_SHOWN,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False, timeout_s: Patience = 120.0,
) -> None:  # fmt: skip
    """Say how much of the money quoted rests on rate rows that are invented or stale, the largest first, and what to do."""

    with reported(as_json=as_json):
        numbers = [*(quote or ()), *([_demo(url, key, folder, timeout_s, quiet=as_json)] if demo else [])]
        with client_for(url, key, folder, role="engineer") as desk:
            found = desk.readiness(numbers)
        if as_json:
            typer.echo(found.model_dump_json())
            return
        from services.desk.texts.page_parts import console_for  # noqa: PLC0415

        console_for(sys.stdout).print(readiness_page(found, most))


def _demo(url: str | None, key: str | None, folder: Folder, timeout_s: float, *, quiet: bool) -> str:
    """The number of a quote of the demo lens, made now."""
    from services.desk.commands.quote import DEMO  # noqa: PLC0415
    from services.desk.request_file import read_request  # noqa: PLC0415

    request = read_request(DEMO, {})
    with client_for(url, key, folder, role="sales") as desk:
        number = desk.request_quote(request).number
        say(f"{number}: {request.prescription.title}", quiet=quiet)
        return desk.wait_for_quote(number, timeout_s).number


def readiness_page(found: RateReadiness, most: int) -> RenderableType:
    """The whole by origin and by table, and the rows to make ready."""
    from rich.console import Group  # noqa: PLC0415
    from rich.text import Text  # noqa: PLC0415

    from services.desk.texts.page_parts import cells, listed, money, section, table_with  # noqa: PLC0415

    quotes = f"{found.quotes} quote{'' if found.quotes == 1 else 's'}"
    head = Text()
    head.append("Readiness", style="bold")
    head.append(f" of rate revision {found.rate_revision}, by {quotes} of {money(found.total)} {found.currency}.")
    if found.quotes_untold:
        head.append(f" {found.quotes_untold} more do not tell what they rest on; requote them to have them counted.")
    tables = table_with("table", ">money", ">share", ">invented", ">stale", ">review after")
    for one in found.by_table:
        days = f"{one.review_days} days"
        tables.add_row(*cells(one.table, money(one.money), f"{one.share:.1%}", money(one.invented), money(one.stale), days))
    rows = table_with("row", "of", ">money", ">share", "origin", ">days old", "what to do")
    for row in found.rows[:most]:
        rows.add_row(*cells(row.row, row.table, money(row.money), f"{row.share:.1%}", row.origin, _age(row), row.what_to_do))
    return Group(
        head,
        *listed("By origin", list(_by_origin(found))),
        *(section("By table", tables) if found.by_table else []),
        *(section(f"To make ready: {found.rows_to_make_ready} rows", rows) if found.rows else []),
        *listed("No quote rests on", [f"{one.table}: {one.invented} invented, {one.stale} stale" for one in found.unused]),
    )


def _by_origin(found: RateReadiness) -> Iterator[str]:
    for one in found.by_origin:
        rows = f"{one.rows} row{'' if one.rows == 1 else 's'}"
        yield f"{one.origin or 'no longer there'}: {one.money:,} {found.currency}, {one.share:.1%}, on {rows}"
    yield f"stale, whatever the origin: {found.stale:,} {found.currency}, {found.stale_share:.1%}"


def _age(row: RowToMakeReady) -> str:
    return f"{row.age_days:,}{' (stale)' if row.stale else ''}"
