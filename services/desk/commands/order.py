"""Commands about orders under way: how far they are, and what really happened to their operations."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from services.client.errors import ServerRefused
from services.desk.terminal import HERE, USAGE, Folder, Json, Key, Url, answer, client_for, reported
from services.desk.texts.reported_lines import Report, read_report, refused_lines
from services.desk.texts.wording import problem_lines

if TYPE_CHECKING:
    from services.client import Client
    from shared_schemas.actuals import ActualsTaken, OperationProgress, OrderProgress
    from shared_schemas.load import OrderInBook, OrderPage
    from shared_schemas.problem import ProblemDetail

MOST_TRIES = 20
"""So often a report is sent again without what was refused of it; a hundred lines are named at once."""


def orders_list(
    cursor: Annotated[str | None, typer.Option(help="Cursor of the page before.")] = None,
    late: Annotated[bool, typer.Option("--late", help="Of this page only those that will be late.")] = False,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Show accepted orders, newest first: done, late, and when they will be ready, a page at a time."""

    with reported(as_json=as_json), client_for(url, key, folder, role="sales") as desk:
        page = desk.orders(cursor)
        if late:
            items = tuple(one for one in page.items if one.state == "booked" and one.progress and one.progress.days_late)
            page = page.model_copy(update={"items": items})
        answer(page.model_dump(mode="json"), order_lines(page), as_json=as_json)


def order_lines(page: OrderPage) -> list[str]:
    """A page of orders on the terminal, in 80 columns."""
    lines = [f"{'order':<15}{'state':<10}{'pieces':>7}  {'customer':<13}{'promised':<11}{'forecast':<11}{'done':>6} late"]
    lines += [_order_line(one) for one in page.items]
    lines = lines if page.items else ["no orders"]
    return lines + ([f"more with: blankwright orders list --cursor {page.next}"] if page.next else [])


def _order_line(order: OrderInBook) -> str:
    progress = order.progress
    under_way = progress is not None and order.state == "booked"
    done = f"{progress.done}/{progress.operations_in_all}" if progress else ""
    forecast = str(progress.forecast_ship_date) if progress and under_way else ""
    late = f"{progress.late:>5}" if progress and under_way else ""
    pieces = "" if order.quantity is None else f"{order.quantity:,}"
    return f"{order.order:<15}{order.state:<10}{pieces:>7}  {order.customer[:12]:<13}{order.ship_date or ''!s:<11}{forecast:<11}{done:>6}{late}".rstrip()


def orders_show(
    number: Annotated[str, typer.Argument(help="Q-…, or the number of its estimate.")],
    late: Annotated[bool, typer.Option("--late", help="Only operations that are late.")] = False,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Show how far an order is: what is done, what is late, what it cost so far, and when it will be ready."""

    number = ("Q" + number[1:]).partition(".")[0] if number.startswith("E-") else number
    with reported(as_json=as_json), client_for(url, key, folder, role="sales") as desk:
        order = desk.order(number)
        answer(order.model_dump(mode="json"), order_page(order, only_late=late), as_json=as_json)


def order_page(order: OrderInBook, *, only_late: bool = False) -> list[str]:
    """One order on the terminal, in 80 columns."""
    for_whom = f", for {order.customer}" if order.customer else ""
    pieces = f"{order.quantity:,} x " if order.quantity else ""
    lines = [f"{order.order}: {pieces}{order.title}, {order.state}{for_whom}"]
    if order.progress is None:
        return [*lines, f"promised for {order.ship_date}"]
    lines += progress_lines(order.progress, f"promised for {order.ship_date}, ")
    shown = [one for one in order.progress.operations if one.late or not only_late]
    if shown:
        lines += ["", f"{'operation':<27}{'state':<6} {'ends':<11}{'expected':<11}{'quoted h':>9}{'actual h':>9}"]
        lines += [_operation_line(one) for one in shown]
    bought = [one for one in order.progress.materials if not only_late]
    if bought:
        lines += ["", f"{'glass and bought parts':<45}{'quoted':>12}{'paid':>12}"]
        lines += [
            f"{one.item[:44]:<45}{one.quoted_cost:>12,}{'-' if one.price_paid is None else f'{one.price_paid:,}':>12}"
            for one in bought
        ]
    return lines


def progress_lines(progress: OrderProgress, promised: str = "") -> list[str]:
    """What is done and late, the forecast and the cost so far."""
    days = progress.days_late
    moved = f": {days} day{'' if days == 1 else 's'} late" if days else ": in time"
    lines = [
        f"{promised}forecast {progress.forecast_ship_date}{moved}",
        f"{progress.done} of {progress.operations_in_all} operations done, {progress.late} late",
    ]
    if not progress.quoted_cost:
        return lines
    quoted, so_far = progress.quoted_cost_so_far, progress.cost_so_far
    against = f" ({100 * (so_far / quoted - 1):+.1f} %)" if quoted else ""
    return [
        *lines,
        f"cost so far {so_far:,} {progress.currency}, quoted for the same {quoted:,}{against}",
        f"all of it was quoted to cost {progress.quoted_cost:,} {progress.currency}",
    ]


def _operation_line(one: OperationProgress) -> str:
    actual = f"{one.actual_h:,.1f}" if one.actual_h else ""
    mark = "  late" if one.late else ""
    return (
        f"{one.id[:26]:<27}{one.state:<6} {one.ends!s:<11}{one.expected_end!s:<11}{one.quoted_h:>9,.1f}{actual:>9}{mark}".rstrip()
    )


def actuals(
    number: Annotated[str, typer.Argument(help="E-…, the number of the estimate that was ordered, or that of its order.")],
    file: Annotated[Path, typer.Argument(help="CSV with a column for each field, or JSON; - reads from standard input.")],
    skip_refused: Annotated[bool, typer.Option("--skip-refused", help="Send the rest again where lines are refused.")] = False,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Report what happened to operations of an order. Exit code 2 when a line is refused; then nothing of the report is kept, unless the rest is sent again."""
    with reported(as_json=as_json):
        report = read_report(file)
        with client_for(url, key, folder, role="erp") as desk:
            taken, sent, refused = _posted(desk, number, report, skip_refused=skip_refused)
        answer(_document(taken, sent, refused), taken_lines(taken, sent, refused, report), as_json=as_json)
        if refused:
            raise typer.Exit(USAGE)


def _posted(
    desk: Client, number: str, report: Report, *, skip_refused: bool
) -> tuple[ActualsTaken | None, Report, list[ProblemDetail]]:
    """What became of a report, what of it was sent at last, and what is wrong with the rest, by its lines. Raises `ServerRefused` for all else."""

    refused: list[ProblemDetail] = []
    for _ in range(MOST_TRIES):
        try:
            return desk.report_actuals(number, report.body(), media_type=report.media_type), report, refused
        except ServerRefused as fault:
            found = refused_lines(fault.errors, report)
            if fault.status != 422 or not found:
                raise
            refused += [detail for _, detail in found]
            rest = report.without({entry for entry, _ in found})
        if not skip_refused or not rest.entries:
            return None, replace(report, entries=()), refused
        report = rest
    return None, replace(report, entries=()), refused


def _document(taken: ActualsTaken | None, sent: Report, refused: list[ProblemDetail]) -> dict[str, object]:
    return {
        "taken": taken.taken if taken else 0,
        "unchanged": taken.unchanged if taken else 0,
        "lines_taken": [one.line for one in sent.entries],
        "refused": [one.model_dump(mode="json") for one in refused],
        "progress": json.loads(taken.progress.model_dump_json()) if taken else None,
    }


def taken_lines(taken: ActualsTaken | None, sent: Report, refused: list[ProblemDetail], report: Report) -> list[str]:
    """What was taken of a report, what was refused and why, and how far the order is."""
    lines = [f"refused: {line}" for line in problem_lines(refused)]
    if taken is None:
        return [*lines, f"nothing of {report.name} was kept: mend what is refused, or send the rest with --skip-refused"]
    known = f", {taken.unchanged} known already" if taken.unchanged else ""
    lines.append(f"{taken.order}: {taken.taken} taken{known} ({_ranges([one.line for one in sent.entries], sent)})")
    return [*lines, *progress_lines(taken.progress)]


def _ranges(numbers: list[int], report: Report) -> str:
    """`lines 2 to 5, 7`."""
    runs: list[list[int]] = []
    for one in numbers:
        if runs and one == runs[-1][-1] + 1:
            runs[-1].append(one)
        else:
            runs.append([one])
    words = [str(run[0]) if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs]
    return f"{report.unit if len(numbers) == 1 else report.units} {', '.join(words)}"


def add_to(app: typer.Typer) -> None:
    """Make these commands of the command line."""
    orders = typer.Typer(help="Accepted orders and how far they are.", no_args_is_help=True, rich_markup_mode=None)
    orders.command(name="list")(orders_list)
    orders.command(name="show")(orders_show)
    app.add_typer(orders, name="orders")
    app.command()(actuals)
