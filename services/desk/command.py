"""The command line `blankwright`.

Exit codes: 0 ready or done, 1 no answer in time or a fault of the server, 2 the command or its file needs mending,
3 the quote was refused, 4 it failed or was cancelled, 5 a file has open questions, or assumptions that nobody confirmed.
"""

from __future__ import annotations

from typing import Annotated

import typer

from services.chassis.version import VERSION
from services.desk.commands import (
    accuracy,
    archive,
    audit,
    estimate,
    feed,
    impact,
    intake,
    keeping,
    key,
    letterhead,
    load,
    offers,
    operator,
    order,
    quote,
    rate,
    requote,
    table,
    webhook,
    what_if,
    worksheet,
)

app = typer.Typer(
    help="From a lens prescription and a quantity to a quote the shop can sign.",
    no_args_is_help=True, add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False,
)  # fmt: skip
for commands in (
    quote,
    offers,
    letterhead,
    intake,
    requote,
    what_if,
    worksheet,
    table,
    estimate,
    feed,
    order,
    accuracy,
    load,
    rate,
    impact,
    operator,
    key,
    audit,
    webhook,
    keeping,
    archive,
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
