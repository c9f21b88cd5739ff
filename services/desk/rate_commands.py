"""The commands of whoever keeps the rates: `blankwright rates ...`."""

from __future__ import annotations

import typer

from services.desk.impact_commands import impact
from services.desk.rate_begin_commands import begin
from services.desk.rate_readiness_commands import readiness


def add_to(app: typer.Typer) -> None:
    """Make these commands of the command line."""
    rates = typer.Typer(help="Look at, change and publish the rates.", no_args_is_help=True, rich_markup_mode=None)
    for name, of_rates in (("begin", begin), ("impact", impact), ("readiness", readiness)):
        rates.command(name=name)(of_rates)
    app.add_typer(rates, name="rates")
