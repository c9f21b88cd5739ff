"""Commands about how true quotes came: quoted against actual, quotes won, and what the rates should learn from it."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from services.desk.terminal import HERE, Folder, Json, Key, Url, answer, client_for, put, reported

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shared_schemas.accuracy import Accuracy, AccuracyGroup, GroupedBy, Measure, MeasuredAccuracy
    from shared_schemas.learned import ClassEvidence, FactorEvidence, LearnedRates, OpenOrdersEffect
    from shared_schemas.win_rate import DecidedQuotes, WinRate, WonBy

CSV, SVG = "text/csv", "image/svg+xml"
Since = Annotated[datetime | None, typer.Option(formats=["%Y-%m-%d"], help="From this day on.")]
Until = Annotated[datetime | None, typer.Option(formats=["%Y-%m-%d"], help="Up to this day.")]
AsCsv = Annotated[bool, typer.Option("--csv", help="All of it as CSV.")]
Out = Annotated[Path | None, typer.Option(help="The file to write; one that is there is replaced. Without it, it is printed.")]


def accuracy(
    by: Annotated[Literal["month", "customer", "operation", "work_centre"], typer.Option(help="What is put together.")] = "month",
    measure: Annotated[Literal["hours", "cost", "yield", "days"], typer.Option(help="What is held against the quote.")] = "hours",
    since: Since = None, until: Until = None, as_csv: AsCsv = False,
    chart: Annotated[
        Literal["quoted_against_actual", "month", "customer", "operation", "work_centre"] | None, typer.Option(help="A chart, as SVG.")
    ] = None,
    out: Out = None, url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Show quoted against actual hours, cost, yield and days of the orders that are finished."""

    days = {"since": _day(since), "until": _day(until)}
    with reported(as_json=as_json), client_for(url, key, folder, role="engineer") as desk:
        if chart is not None:
            put(desk.accuracy_chart(chart, measure, **days), out)
        elif as_csv:
            put(desk.accuracy_csv(**days), out)
        else:
            report = desk.accuracy(**days)
            answer(report.model_dump(mode="json"), accuracy_lines(report, by, measure), as_json=as_json)


def accuracy_lines(report: Accuracy, by: GroupedBy, measure: Measure) -> list[str]:
    """The report on the terminal, in 80 columns: all jobs by each measure, then one measure by groups."""
    left_out = {
        "not finished": report.unfinished,
        "cancelled": report.cancelled,
        "not reported of": report.unreported,
        "not read yet": report.unread,
    }
    lines = [
        f"{report.jobs:,} finished orders; left out: "
        + (", ".join(f"{many:,} {why}" for why, many in left_out.items() if many) or "none")
    ]
    lines += ["", _head("all orders"), *(_measured(one.measure, one) for one in report.whole.measures)]
    groups: Sequence[AccuracyGroup] = getattr(report, f"by_{by}")
    lines += ["", _head(f"{measure} by {by.replace('_', ' ')}")]
    for group in groups:
        one = next(found for found in group.measures if found.measure == measure)
        lines.append(_measured(group.name or "(no name)", one))
    return lines + ([f"and {report.left_out[by]:,} more"] if report.left_out.get(by) else [])


def _head(words: str) -> str:
    return f"{words:<28}{'jobs':>7}{'error':>9}{'ratio':>7}{'middle half':>14}{'inside p80':>13}"


def _measured(name: str, one: MeasuredAccuracy) -> str:
    start = f"{name[:27]:<28}{one.jobs:>7,}"
    if one.mape_percent is None:
        return f"{start}  {'too few to tell'}"
    inside = f"{100 * one.inside_p80.share:.0f} %" if one.inside_p80 else "-"
    return (
        f"{start}{one.mape_percent:>7.1f} %{one.median_ratio:>7.2f}{f'{one.ratio_p25:.2f} to {one.ratio_p75:.2f}':>14}{inside:>13}"
    )


def win_rate(
    by: Annotated[Literal["markup", "customer", "month"], typer.Option(help="What is put together; markup is price over cost.")] = "markup",
    since: Since = None, until: Until = None, as_csv: AsCsv = False,
    chart: Annotated[Literal["markup", "customer", "month"] | None, typer.Option(help="A chart, as SVG.")] = None,
    out: Out = None, url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Show how many of the quotes that were decided were won, and between what and what the true share lies."""

    days = {"since": _day(since), "until": _day(until)}
    with reported(as_json=as_json), client_for(url, key, folder, role="sales") as desk:
        if chart is not None:
            put(desk.win_rate_chart(chart, **days), out)
        elif as_csv:
            put(desk.win_rate_csv(**days), out)
        else:
            report = desk.win_rate(**days)
            answer(report.model_dump(mode="json"), win_rate_lines(report, by), as_json=as_json)


def win_rate_lines(report: WinRate, by: WonBy) -> list[str]:
    """The win rate on the terminal, in 80 columns."""
    lines = [f"{report.whole.decided:,} quotes decided, {report.open:,} open"]
    lines += [f"{report.unread:,} of them are not read yet: ask again"] if report.unread else []
    head = "price over cost" if by == "markup" else by
    lines += ["", f"{head:<24}{'won':>6}{'declined':>10}{'expired':>9}{'win rate':>10}  95 times in 100"]
    groups: Sequence[DecidedQuotes] = getattr(report, f"by_{by}")
    lines += [_won(one.name or "(no name)", one) for one in groups]
    lines += [_won("all", report.whole)]
    reasons = ", ".join(f"{why.replace('_', ' ')} {many:,}" for why, many in report.whole.declined_because.items())
    return lines + ([f"declined because: {reasons}"] if reasons else [])


def _won(name: str, one: DecidedQuotes) -> str:
    start = f"{name[:23]:<24}{one.accepted:>6,}{one.declined:>10,}{one.expired:>9,}"
    if one.win_share is None or one.low is None or one.high is None:
        return start
    return f"{start}{100 * one.win_share:>8.0f} %  {100 * one.low:.0f} to {100 * one.high:.0f} %"


def learned(
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Show which rows of the rates reported jobs speak against, with the evidence. Nothing is changed by it."""

    with reported(as_json=as_json), client_for(url, key, folder, role="engineer") as desk:
        found = desk.learned_rates()
        answer(found.model_dump(mode="json"), learned_lines(found), as_json=as_json)


def learned_lines(found: LearnedRates) -> list[str]:
    """What was learned on the terminal, in 80 columns: each row with its evidence, and what it would become."""
    other = f", {found.orders_of_other_rates:,} of other rates left out" if found.orders_of_other_rates else ""
    lines = [f"beside rates {found.rate_revision}, from {found.orders:,} reported orders{other}"]
    for row in found.rows:
        lines += ["", row.row, f"  {'operation':<26}{'part':<7}{'jobs':>5}{'ratio':>7}  {'4 times in 5':<14}{'error'}"]
        for one in row.evidence:
            lines += [_evidence(one), *(_of_class(mix) for mix in one.classes)]
        patch = ", ".join(f"{name} {figure:g}" for name, figure in row.patch.items())
        lines += [f"  would become: {patch}"] if patch else []
        lines += [f"  judge these tables too: {', '.join(row.rests_on)}"] if row.rests_on else []
        lines += [_effect(row.open_orders)] if row.open_orders else []
    for change in found.changes:
        what = f"{change.operation.replace('_', ' ')} {change.time}"
        lines += ["", f"{change.work_centre} is another since {change.since}, {100 * change.chance:.0f} % sure:"]
        lines += [f"  {what} takes {change.ratio:.2f} times the planned minutes, before {change.ratio_before:.2f} times"]
    return lines if found.rows or found.changes else [*lines, "no row of the rates is surely off"]


def _evidence(one: FactorEvidence) -> str:
    name = f"{one.operation.replace('_', ' ')} {one.method}".strip()
    sure = "" if one.is_sure else "  not sure"
    error = f"{100 * one.error_before:.0f} -> {100 * one.error_after:.0f} %"
    return f"  {name[:25]:<26}{one.time:<7}{one.jobs:>5}{one.ratio:>7.2f}  {f'{one.low:.2f} to {one.high:.2f}':<14}{error}{sure}"


def _of_class(one: ClassEvidence) -> str:
    name = " ".join(word for word in (one.glass_class, one.tolerance_class) if word) or "no class"
    return f"    {name[:23]:<31}{one.jobs:>5}{one.ratio:>7.2f}  {one.low:.2f} to {one.high:.2f}"


def _effect(effect: OpenOrdersEffect) -> str:
    hours = f"{effect.planned_h:,.1f} h planned, {effect.learned_h:,.1f} h learned"
    return f"  {effect.orders:,} orders under way: {hours}, {effect.cost:+,} {effect.currency}"


def _day(moment: datetime | None) -> str | None:
    return None if moment is None else moment.date().isoformat()


def add_to(app: typer.Typer) -> None:
    """Make these commands of the command line."""
    app.command()(accuracy)
    app.command(name="win-rate")(win_rate)
    app.command()(learned)
