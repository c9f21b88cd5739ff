"""Commands about the next revision of a quote: ask for it, with what is to be changed."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated, Any

import typer

from services.desk.commands.intake import Answers, Said, Sheet, Yes, server_option
from services.desk.request_changes import told_as_written, written_operations
from services.desk.terminal import HERE, Folder, Json, Key, Patience, Url, client_for, followed, numbers_in, reported, show_quote

Sets = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        help="PATH=VALUE, once for each: names with dots between them, from the request or the prescription on, such as "
        "elements.L2.front.form='3/2(0.5)', spaces.L1-L2.gap_mm=4 or quantities='[5,25]'. The value is read as JSON where it is "
        "JSON, otherwise as text.",
    ),
]
Unsets = Annotated[list[str] | None, typer.Option("--unset", help="A PATH to take out, such as elements.L2.front.coating.")]
Patch = Annotated[
    Path | None, typer.Option(help="A JSON Patch on the request, elements by their names; --set and --unset come after.")
]


def requote(
    number: str, url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False, timeout_s: Patience = 120.0,
    quantities: Annotated[str | None, typer.Option(help="Other quantities, such as 5,25,100.")] = None,
    currency: Annotated[str | None, typer.Option(help="Another currency, such as USD.")] = None,
    customer: Annotated[str | None, typer.Option(help="For whom, now.")] = None,
    customer_class: Annotated[str | None, typer.Option(help="Another class of customer.")] = None,
    confidence: Annotated[float | None, typer.Option(help="Probability that enough pieces are started.")] = None,
    needed_by: Annotated[str | None, typer.Option(help="Another day, such as 2027-03-01.")] = None,
    changes: Annotated[Path | None, typer.Option(help="A JSON merge patch on the request; options given here override it.")] = None,
    table: Annotated[
        Path | None, typer.Option(help="An amended table of the customer: what it says otherwise is changed, the rest stays as it is.")
    ] = None,
    answer: Answers = None, yes: Yes = False, sheet: Sheet = None,
    save_patch: Annotated[Path | None, typer.Option(help="Write what the table changes to a file, as a JSON Patch; nothing is sent.")] = None,
    patch: Patch = None, sets: Sets = None, unsets: Unsets = None,
    rates: Annotated[int | None, typer.Option(min=1, help="A rate revision; without it the latest.")] = None,
) -> None:  # fmt: skip
    """Ask for the next revision of a quote at today's rates, wait for it and print it. Exit code 5 while what a table changes is not confirmed."""
    from services.desk.amended_table import AmendedTable  # noqa: PLC0415
    from services.desk.request_file import read_object  # noqa: PLC0415

    with reported(as_json=as_json):
        asked: dict[str, Any] = {
            "quantities": numbers_in(quantities), "currency": currency, "customer": customer, "customer_class": customer_class,
            "confidence": confidence, "needed_by": _day_in(needed_by),
        }  # fmt: skip
        merge = (read_object(changes) if changes else {}) | {name: value for name, value in asked.items() if value is not None}
        written = written_operations(patch, sets or (), unsets or ())
        said = Said(f"requote {number} --table", answer, sheet, yes=yes, as_json=as_json, options=server_option(url))
        with client_for(url, key, folder, role="sales") as desk:
            if table is not None:
                written = [*AmendedTable(table, said, save_patch).operations(desk, number), *written]
                if not written and not merge and rates is None:
                    raise typer.Exit
            operations = [one.operation for one in written]
            with told_as_written(written):
                answered = followed(
                    desk,
                    lambda: desk.requote(number, merge, patch=operations, rate_revision=rates),
                    timeout_s=timeout_s,
                    quiet=as_json,
                )
        show_quote(answered, as_json=as_json)


def _day_in(text: str | None) -> str | None:
    """A day as it is written on a command line."""
    if text is None:
        return None
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError as fault:
        raise typer.BadParameter(f"{text!r} is not a date; write year, month and day, as in 2027-03-01") from fault


def add_to(app: typer.Typer) -> None:
    """Make these commands of the command line."""
    app.command()(requote)
