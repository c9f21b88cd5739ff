"""The command line `blankwright`.

Exit codes: 0 ready or done, 1 no answer in time or a fault of the server, 2 the command or its file needs mending,
3 the quote was refused, 4 it failed or was cancelled, 5 a file has open questions, or assumptions that nobody confirmed.
"""

from __future__ import annotations

from typing import Annotated

import typer

from services.chassis.version import VERSION
from services.desk import (
    accuracy_commands,
    archive_commands,
    audit_commands,
    estimate_commands,
    feed_commands,
    impact_commands,
    intake_commands,
    keeping_commands,
    key_commands,
    load_commands,
    operator_commands,
    order_commands,
    quote_commands,
    rate_commands,
    requote_commands,
    table_commands,
    webhook_commands,
    what_if_commands,
    worksheet_commands,
)

app = typer.Typer(
    help="From a lens prescription and a quantity to a quote the shop can sign.",
    no_args_is_help=True, add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False,
)  # fmt: skip
for commands in (
    quote_commands,
    intake_commands,
    requote_commands,
    what_if_commands,
    worksheet_commands,
    table_commands,
    estimate_commands,
    feed_commands,
    order_commands,
    accuracy_commands,
    load_commands,
    rate_commands,
    impact_commands,
    operator_commands,
    key_commands,
    audit_commands,
    webhook_commands,
    keeping_commands,
    archive_commands,
):
    commands.add_to(app)


def _say_version(asked: bool) -> None:
    if asked:
        typer.echo(f"blankwright {VERSION}")
        raise typer.Exit


@app.callback()
def _of_every_command(
    version: Annotated[
        bool, typer.Option("--version", callback=_say_version, is_eager=True, help="The version, and nothing else.")
    ] = False,
) -> None: ...


def main() -> None:
    """The entry of the command `blankwright`."""
    app(prog_name="blankwright")


if __name__ == "__main__":
    main()
