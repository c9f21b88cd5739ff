"""Commands about days: when a quote would be ready if it were ordered today, and how full the shop is."""

from __future__ import annotations

import sys
from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from services.desk.terminal import HERE, Folder, Json, Key, Url, answer, client_for, reported

if TYPE_CHECKING:
    from shared_schemas.lead_times import Delivery, Promise

WEEKS_SHOWN = 6


def promise(
    number: str, quantity: Annotated[int, typer.Option(min=1, help="How many; any number, not only those that were quoted.")],
    deliver: Annotated[list[str] | None, typer.Option(help="A part of them, 10 or 10@2027-03-15; once for each, adding up to all.")] = None,
    revision: Annotated[int | None, typer.Option(min=1, help="A revision; without it the latest.")] = None,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Say when so many would be ready if they were ordered today; the quote stays as it is."""
    from pydantic import ValidationError  # noqa: PLC0415

    from shared_schemas.lead_times import PromiseRequest  # noqa: PLC0415

    parts = tuple(delivery_of(text) for text in deliver or ())
    try:
        asked = PromiseRequest(quantity=quantity, revision=revision, deliveries=parts)
    except ValidationError as fault:
        first = fault.errors(include_url=False, include_input=False)[0]
        raise typer.BadParameter(first["msg"], param_hint="--deliver") from fault
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="sales") as desk:
            found = desk.promise(number, asked)
        answer(found.model_dump(mode="json"), promise_lines(found), as_json=as_json)


def delivery_of(text: str) -> Delivery:
    """A part of an order as it is written at a terminal."""
    from pydantic import ValidationError  # noqa: PLC0415

    from shared_schemas.lead_times import Delivery  # noqa: PLC0415

    many, _, day = text.partition("@")
    try:
        return Delivery(quantity=int(many), by=date.fromisoformat(day) if day else None)
    except (ValueError, ValidationError) as fault:
        raise typer.BadParameter(f"{text} is no delivery; write 10, or 10@2027-03-15", param_hint="--deliver") from fault


def promise_lines(found: Promise) -> list[str]:
    """A promise on the terminal, in 80 columns."""
    days = found.days
    lines = [
        f"{found.number} revision {found.revision}: {found.quantity:,} pieces, ordered on {found.ordered_on}",
        f"half are ready by {days.p50}, 8 in 10 by {days.p80}, 9 in 10 by {days.p90}",
    ]
    if found.quoted_ship_date is not None:
        moved = (days.p90 - found.quoted_ship_date).days
        apart = "1 day" if abs(moved) == 1 else f"{abs(moved)} days"
        words = "as quoted" if not moved else f"{apart} {'later' if moved > 0 else 'sooner'} than quoted"
        lines.append(f"quoted {found.quoted_ship_date}: {words}")
    book = f"by snapshot {found.load_snapshot} of the book of load" if found.load_snapshot else "without a book of load"
    lines.append(book)
    if found.deliveries:
        lines += [
            "",
            f"{'pieces':>7}  {'by':<10}  {'of one lot':<10}  {'lot of its own':<14}  {'adds ' + found.currency:>12}  in time",
        ]
        lines += [
            f"{one.quantity:>7,}  {one.by or '-'!s:<10}  {one.of_one_lot.p90!s:<10}  {one.as_own_lot.p90!s:<14}  {one.price_effect:>12,}  "
            f"{(one.in_time or '-').replace('_', ' ')}"
            for one in found.deliveries
        ]
    return lines


def load(
    weeks: Annotated[int, typer.Option(min=1, max=52, help="So many weeks from this one on.")] = WEEKS_SHOWN,
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False,
) -> None:  # fmt: skip
    """Print how much of the hours of each work centre is booked, week by week."""
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="sales") as desk:
            book = desk.load(weeks)
        if as_json:
            answer(book.model_dump(mode="json"), [], as_json=True)
            return
        from services.desk.texts.page_parts import cells, console_for, table_with  # noqa: PLC0415

        shown = [centre for centre in book.work_centres if any(week.booked_h for week in centre.weeks)]
        heads = [f">{week.week:%d %b}" for week in (book.work_centres[0].weeks if book.work_centres else ())]
        table = table_with("work centre", *heads)
        for centre in shown:
            table.add_row(*cells(centre.work_centre, *(f"{100 * week.share:.0f} %" for week in centre.weeks)))
        out = console_for(sys.stdout)
        out.print(f"snapshot {book.snapshot}, {book.orders} orders, weeks from {book.first_week}")
        out.print(table if shown else "nothing is booked")


def add_to(app: typer.Typer) -> None:
    """Make these commands of the command line."""
    for command in (promise, load):
        app.command()(command)
