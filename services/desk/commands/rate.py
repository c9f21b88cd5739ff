"""The commands of whoever keeps the rates: `blankwright rates ...`."""

from __future__ import annotations

from collections.abc import Callable

import typer

from services.desk.commands import rate_change as change
from services.desk.commands import rate_look as look
from services.desk.commands.impact import impact
from services.desk.commands.rate_begin import begin
from services.desk.commands.rate_readiness import readiness

COMMANDS: dict[str, Callable[..., None]] = {
    "list": look.list_,
    "show": look.show,
    "edit": change.edit,
    "check": change.check,
    "diff": look.diff,
    "impact": impact,
    "publish": change.publish,
    "history": look.history,
    "restore": change.restore,
    "export": look.export,
    "import": change.import_,
    "begin": begin,
    "readiness": readiness,
}


def add_to(app: typer.Typer) -> None:
    """Make these commands of the command line."""
    rates = typer.Typer(help="Look at, change and publish the rates.", no_args_is_help=True, rich_markup_mode=None)
    for name, of_rates in COMMANDS.items():
        rates.command(name=name)(of_rates)
    app.add_typer(rates, name="rates")
