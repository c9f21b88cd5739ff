"""A quote as a table: the lens and what was asked, one row a surface, to be looked over, changed and sent again."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from services.desk.terminal import HERE, Folder, Json, Key, Url, client_for, put, reported, unusable, write_file

Out = Annotated[Path | None, typer.Option(help="lens.csv or lens.xlsx; one that is there is replaced. Without it, CSV is printed.")]


def table(
    number: Annotated[str, typer.Argument(help="The number of a quote.")],
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False, out: Out = None,
    revision: Annotated[int | None, typer.Option(min=1, help="A revision; without it the latest.")] = None,
) -> None:  # fmt: skip
    """Write what a quote was asked as as a table, which `blankwright quote` reads to the same lens and terms."""
    from services.desk.intake.export import table_of, workbook_of  # noqa: PLC0415

    with reported(as_json=as_json):
        kind = ".csv" if out is None else out.suffix.lower()
        if kind not in (".csv", ".xlsx"):
            raise unusable("--out", str(out), "a file that ends in .csv or .xlsx")
        with client_for(url, key, folder, role="sales") as desk:
            asked = desk.request_of(number, revision)
        if out is not None and kind == ".xlsx":
            write_file(out, workbook_of(asked))
            typer.echo(f"{out} is written")
        else:
            put(table_of(asked), out)


def add_to(app: typer.Typer) -> None:
    """Make this command of the command line."""
    app.command()(table)
