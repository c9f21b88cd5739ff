"""The command line `blankwright`."""

from __future__ import annotations

from typing import Annotated

import typer

from services.chassis.version import VERSION
from services.desk.commands import (
    accuracy,
    archive,
    audit,
    estimate,
    explain,
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
    quotes,
    rate,
    requote,
    table,
    webhook,
    what_if,
    worksheet,
)
from services.desk.terminal import EXIT_CODES, INTERRUPTED

EPILOG = "Exit codes: " + "; ".join(f"{code} {meaning}" for code, meaning in EXIT_CODES.items()) + "."

app = typer.Typer(
    help="From a lens prescription and a quantity to a quote the shop can sign.",
    epilog=EPILOG, no_args_is_help=True, rich_markup_mode=None, pretty_exceptions_enable=False,
)  # fmt: skip
for commands in (
    quote,
    quotes,
    offers,
    letterhead,
    intake,
    requote,
    what_if,
    worksheet,
    explain,
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
    try:
        app(prog_name="blankwright")
    except SystemExit as end:
        raise SystemExit(INTERRUPTED if _is_interrupt(end) else end.code) from None


def _is_interrupt(end: BaseException | None) -> bool:
    """Whether a command ended by the keyboard: what ended it has that behind it."""
    while end is not None:
        if isinstance(end, KeyboardInterrupt):
            return True
        end = end.__cause__ or end.__context__
    return False


if __name__ == "__main__":
    main()
