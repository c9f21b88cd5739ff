"""Commands that look at the rates: tables, rows, revisions, differences, history; and all tables in one file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from services.desk.errors import OptionUnusable
from services.desk.terminal import HERE, Folder, Json, Key, Url, client_for, reported, say, write_file
from shared_schemas.problem import ProblemDetail

ZIP, XLSX = "application/zip", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
KINDS = {".zip": ZIP, ".xlsx": XLSX}


def list_(
    revisions: Annotated[bool, typer.Option("--revisions", help="Revisions in place of tables.")] = False,
    drafts: Annotated[bool, typer.Option("--drafts", help="Drafts in place of tables.")] = False,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """List the rate tables with what they are for and how many rows are invented; or revisions, or drafts."""
    from services.desk.texts import rate as rate_text  # noqa: PLC0415

    with reported(as_json=as_json), client_for(url, key, folder, role="engineer") as desk:
        if revisions:
            page = desk.rate_revisions()
            typer.echo(page.model_dump_json()) if as_json else rate_text.print_revisions(page)
        elif drafts:
            found = desk.drafts()
            typer.echo(found.model_dump_json()) if as_json else rate_text.print_drafts(found.items)
        else:
            tables = desk.rate_tables()
            typer.echo(tables.model_dump_json()) if as_json else rate_text.print_tables(tables)


def show(
    table: Annotated[str, typer.Argument(help="A table, such as work_centres.")],
    row: Annotated[str | None, typer.Argument(help="One row of it, with every field and its meaning.")] = None,
    draft: Annotated[int | None, typer.Option(min=1, help="As it stands in a draft.")] = None,
    revision: Annotated[int | None, typer.Option(min=1, help="As it stood in a revision.")] = None,
    as_csv: Annotated[bool, typer.Option("--csv", help="All of it as CSV.")] = False,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Show a rate table, or one row of it with what each field means."""
    from services.desk.texts import rate as rate_text  # noqa: PLC0415

    with reported(as_json=as_json), client_for(url, key, folder, role="engineer") as desk:
        if as_csv:
            content = desk.draft_table_csv(draft, table)[0] if draft else desk.rate_table_csv(table, revision)
            typer.echo(content.decode(), nl=False)
            return
        page, _ = desk.draft_table(draft, table) if draft else desk.rate_table(table, revision)
        if row is None:
            typer.echo(page.model_dump_json()) if as_json else rate_text.print_rows(page)
            return
        found = next((one for one in page.rows if one["name"] == row), None)
        if found is None:
            raise OptionUnusable(ProblemDetail(pointer="ROW", reason=f"{table} has no row {row}", remedy="a name that show lists"))
        columns = desk.rate_columns(table)
        typer.echo(page.model_copy(update={"rows": (found,)}).model_dump_json()) if as_json else rate_text.print_row(found, columns)


def diff(
    first: Annotated[int | None, typer.Argument(min=1, help="A revision.")] = None,
    second: Annotated[int | None, typer.Argument(min=1, help="Another one, the newest unless told.")] = None,
    draft: Annotated[int | None, typer.Option(min=1, help="What a draft changes.")] = None,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Say what differs between two revisions, or what a draft changes, field by field."""
    from services.desk.texts import rate as rate_text  # noqa: PLC0415

    if (first is None) == (draft is None):
        raise typer.BadParameter("name a revision, or a --draft")
    with reported(as_json=as_json), client_for(url, key, folder, role="engineer") as desk:
        found = desk.compare_rates(first, second) if first is not None else desk.compare_draft(draft or 0)
        typer.echo(found.model_dump_json()) if as_json else rate_text.print_difference(found)


def history(
    table: Annotated[str, typer.Argument(help="A table, such as work_centres.")],
    row: Annotated[str, typer.Argument(help="The name of a row.")],
    cursor: Annotated[str | None, typer.Option(help="Cursor of the page before.")] = None,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Say who changed a row, when and why."""
    from services.desk.texts import rate as rate_text  # noqa: PLC0415

    with reported(as_json=as_json), client_for(url, key, folder, role="engineer") as desk:
        found = desk.row_history(table, row, cursor)
        if as_json:
            typer.echo(found.model_dump_json())
            return
        rate_text.print_history(found)
        if found.next:
            say(f"more with --cursor {found.next}")


def export(
    file: Annotated[Path, typer.Argument(help="rates.zip (a CSV each) or rates.xlsx (a sheet each).")],
    revision: Annotated[int | None, typer.Option(min=1, help="A revision other than the newest.")] = None,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Write all rate tables to one file, to be edited and imported."""
    with reported(as_json=as_json), client_for(url, key, folder, role="engineer") as desk:
        content, number = desk.rate_archive(kind_of(file), revision)
        write_file(file, content)
        say(f"revision {number} is in {file}", quiet=as_json)


def kind_of(file: Path) -> str:
    """The media type of a file of tables; raises `OptionUnusable`."""
    kind = KINDS.get(file.suffix.lower())
    if kind is None:
        raise OptionUnusable(
            ProblemDetail(pointer="FILE", reason=f"{file.name} ends in neither .zip nor .xlsx", remedy="one of the two")
        )
    return kind
