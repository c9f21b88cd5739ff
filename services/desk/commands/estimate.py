"""Commands about an order as the ERP sees it, and the documents of a quote that go to the customer's system."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from services.desk.terminal import HERE, Folder, Json, Key, Url, answer, client_for, put, reported

if TYPE_CHECKING:
    from shared_schemas.estimate import EstimatePlan, PlannedQuantity

Out = Annotated[Path | None, typer.Option(help="The file to write; one that is there is replaced. Without it, it is printed.")]
Quantity = Annotated[int | None, typer.Option(min=1, help="One of those quoted; without it the one that is ordered.")]


def estimate(
    number: Annotated[str, typer.Argument(help="E-…, or the number of its quote.")],
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False, out: Out = None, quantity: Quantity = None,
    view: Annotated[Literal["plan", "full"], typer.Option(help="One quantity to plan from, or all with what explains them.")] = "plan",
    table: Annotated[
        Literal["operations", "materials", "tooling"] | None, typer.Option("--csv", help="One of its lists, as CSV.")
    ] = None,
) -> None:  # fmt: skip
    """Print a quote as a production order: operations, minutes, pieces, glass, tools and days."""
    number = "E" + number[1:] if number.startswith("Q-") else number
    with reported(as_json=as_json):
        with client_for(url, key, folder, role="erp") as desk:
            if table is not None:
                put(desk.estimate_csv(number, table, quantity), out)
                return
            if view == "full":
                put(desk.estimate(number, quantity).model_dump_json(indent=2) + "\n", out)
                return
            plan = desk.estimate_plan(number, quantity)
        if out is not None:
            put(plan.model_dump_json(indent=2) + "\n", out)
        else:
            answer(json.loads(plan.model_dump_json()), plan_lines(plan), as_json=as_json)


def ubl(
    number: Annotated[str, typer.Argument(help="The number of a ready quote.")],
    url: Url = None, key: Key = None, folder: Folder = HERE, as_json: Json = False, out: Out = None,
    document: Annotated[
        Literal["quotation", "order-response"], typer.Option(help="An order response is of an accepted quote.")
    ] = "quotation",
    revision: Annotated[int | None, typer.Option(min=1, help="A revision; without it the latest.")] = None,
) -> None:  # fmt: skip
    """Write a quote as OASIS UBL 2.1, for the customer's system: prices and dates, nothing of costs or routes."""
    with reported(as_json=as_json), client_for(url, key, folder, role="sales") as desk:
        put(desk.ubl(number, document, revision), out)


def plan_lines(plan: EstimatePlan) -> list[str]:
    """A production order on the terminal, in 80 columns: each part with its hours and days, then what is to be ordered, and the money."""
    (figures,) = plan.quantities
    state = "ordered" if plan.ordered_quantity == figures.quantity else "as quoted"
    lines = [f"{plan.number}: {figures.quantity:,} x {plan.title}, {state}" + (f", for {plan.customer}" if plan.customer else "")]
    lines += [f"purchase order {plan.purchase_order}"] if plan.purchase_order else []
    lines += [
        f"promised for {figures.promised_date or figures.ship_date}",
        "",
        f"{'part':<24}{'pieces':>8}{'machine h':>11}{'labour h':>10}  days",
    ]
    lines += _part_lines(figures)
    lines += ["", "to order by"]
    needs = [(one.order_by, one.item) for one in figures.materials]
    needs += [(one.order_by, one.item) for one in figures.bought_parts]
    needs += [(one.order_by, one.item) for one in figures.tooling]
    lines += [f"{day}  {item}" for day, item in sorted((day, item) for day, item in needs if day is not None)]
    tools = f", of which tools {figures.tooling_charges:,}" if figures.tooling_charges else ""
    return [*lines, "", f"payable {figures.total_payable:,} {plan.currency}{tools}", *figures.remarks]


def _part_lines(figures: PlannedQuantity) -> list[str]:
    operations, lines = figures.operations, []
    for part in dict.fromkeys(operations.part):
        places = [place for place, name in enumerate(operations.part) if name == part]
        machine_h = sum(operations.setup_min[place] + operations.run_min[place] for place in places) / 60
        labour_h = sum(operations.labour_min[place] for place in places) / 60
        days = f"{operations.starts[places[0]]} to {operations.finishes[places[-1]]}"
        lines.append(f"{part[:23]:<24}{operations.pieces_in[places[0]]:>8,}{machine_h:>11,.1f}{labour_h:>10,.1f}  {days}")
    return lines


def add_to(app: typer.Typer) -> None:
    """Make these commands of the command line."""
    for command in (estimate, ubl):
        app.command()(command)
