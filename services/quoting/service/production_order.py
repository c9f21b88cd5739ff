"""One quantity as a production order: minutes, pieces, glass, tools and days, out of the evaluation that the price was made of.

No figure is worked out a second way: operations and purchases are those of `services.quoting.costs`, days those of the schedule.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from services.quoting.costs.cost import MaterialCost, OperationCost, bought_part_cost, parts_bought
from services.quoting.costs.money import apportioned, exact, total
from services.quoting.costs.rework import batches_scrapped_by, kept_by
from services.quoting.costs.shared_runs import pieces_reaching, reach_after
from services.quoting.pricing.evaluation import Evaluation
from services.shop.minutes import MILLION
from shared_schemas.blanks import Blank, BlankForm, PurchaseLine
from shared_schemas.estimate import (
    EstimatedBlank,
    EstimatedMaterial,
    EstimatedOperation,
    EstimatedPart,
    EstimatedTool,
    EstimatedWorkCentre,
    EstimateQuantity,
)
from shared_schemas.operations import Tooling, operation_ids
from shared_schemas.quote import Break, QuoteBody, QuoteDecision
from shared_schemas.rate_rows_of_glass import StockFormRow
from shared_schemas.rate_rows_of_work import id_of
from shared_schemas.rates import RateMissing, Rates, WorkCentreRow

SEQUENCE_STEP = 10
"""Operations of a part are numbered 10, 20, … (common practice), so that one may be put between two."""

Days = Mapping[str, Sequence[tuple[date, date]]]


@dataclass(frozen=True)
class Purchase:
    """Pieces of one row of the stock, bought or taken from the store, and their share of what the purchase costs, unrounded."""

    item: str
    form: BlankForm
    parts: tuple[str, ...]
    pieces: int
    mass_g: float
    owned: bool
    lead_days: float
    amount: Decimal


def production_quantity(price_break: Break, body: QuoteBody, evaluation: Evaluation) -> EstimateQuantity:
    """A quantity of a quote with all that an ERP plans from; `evaluation` is of that quantity, on the day that dates it."""
    operations = operations_of(evaluation)
    tools = tools_of(price_break, body)
    days = evaluation.schedule.operation_days()
    operations_line = sum((line.amount for line in price_break.lines if line.kind == "operations"), Decimal(0))
    costs = sum((one.cost for one in operations), Decimal(0))
    return figures_of(price_break, body).model_copy(
        update={
            "operations": operations,
            "blanks": _blanks(evaluation),
            "materials": _materials(evaluation, days),
            "bought_parts": _bought_parts(evaluation, days),
            "tooling": tuple(
                tool.model_copy(update={"order_by": _order_by(days, (tool.part,), tool.days)}) for tool in tools
            ),
            "operations_difference": operations_line - costs,
            "remarks": () if costs == operations_line else (_another(costs, operations_line, body),),
        }
    )  # fmt: skip


def _another(costs: Decimal, operations_line: Decimal, body: QuoteBody) -> str:
    return f"The operations here cost {costs} {body.currency}, and the quote says {operations_line}: it is of an earlier release, by other rates or ways."


def figures_of(price_break: Break, body: QuoteBody) -> EstimateQuantity:
    """What a quote itself says of a quantity: its money, starts, tools and spares, without operations and materials."""
    tools = tools_of(price_break, body)
    charges = Decimal(0) if body.tooling_terms == "spread" else total(amounts=[tool.charge for tool in tools])
    return EstimateQuantity(
        quantity=price_break.quantity,
        start_quantities=price_break.start_quantities,
        unit_price=price_break.unit_price,
        lines=price_break.lines,
        total_price=price_break.total_price,
        tooling_charges=charges,
        total_payable=price_break.total_price + charges,
        unit_cost=price_break.unit_cost.planned,
        ship_date=price_break.lead_time.ship_date,
        tooling=tools,
        spare_parts=price_break.spare_parts,
        spares=price_break.spares,
        operations_difference=sum((line.amount for line in price_break.lines if line.kind == "operations"), Decimal(0)),
        operations=(),
    )


def operations_of(evaluation: Evaluation) -> tuple[EstimatedOperation, ...]:
    """Every operation of a quantity, part by part in the order of the routes; their costs add up to the Operations of the price."""
    per_base, minor_units = evaluation.plans.currency.per_base, evaluation.plans.currency.minor_units
    lines = [cost for route in evaluation.made.routes for cost in evaluation.operations[route.part]]
    shares = iter(apportioned([line.amount * per_base for line in lines], minor_units=minor_units))
    days, ids = evaluation.schedule.operation_days(), operation_ids(evaluation.made.routes)
    return tuple(
        _operation(cost, leaving, next(shares), per_base, place, ids[route.part][place], days[route.part][place])
        for route in evaluation.made.routes
        for place, (cost, leaving) in enumerate(
            zip(evaluation.operations[route.part], _leaving(evaluation, route.part), strict=True)
        )
    )


def _leaving(evaluation: Evaluation, part: str) -> Iterator[int]:
    """How many pieces of a part go on from each of its operations."""
    reach = 1.0
    for cost in evaluation.operations[part]:
        operation = cost.operation
        reach = reach_after(reach_share=reach, yield_share=kept_by(operation), batch_loss=batches_scrapped_by(operation))
        yield pieces_reaching(started=evaluation.starts[part].started, reach_share=reach)


def _operation(
    cost: OperationCost, leaving: int, share: Decimal, per_base: Decimal, place: int, name: str, days: tuple[date, date]
) -> EstimatedOperation:
    operation, centre = cost.operation, cost.work_centre
    machine, attended = round(cost.machine_min * MILLION), round(cost.attended_min * MILLION)
    setup = round(operation.setup_min * MILLION)
    goes_on = reach_after(reach_share=1.0, yield_share=kept_by(operation), batch_loss=batches_scrapped_by(operation))
    return EstimatedOperation(
        id=name,
        sequence=SEQUENCE_STEP * (place + 1),
        part=cost.part,
        operation=operation.operation,
        face=operation.face,
        method=operation.method,
        work_centre=centre.id,
        pieces_in=cost.pieces,
        pieces_out=leaving,
        batches=cost.batches,
        setup_min=setup / MILLION,
        run_min=(machine - setup) / MILLION,
        labour_min=attended / MILLION,
        machine_rate_per_h=_plain(centre.machine_rate_per_h * per_base),
        labour_rate_per_h=_plain(centre.labour_rate_per_h * per_base),
        consumables=_plain(exact(cost.borne, places=9) * operation.consumables * per_base),
        cost=share,
        yield_share=round(goes_on, 6),
        shared_run=operation.shared_run,
        starts=days[0],
        finishes=max(days),
    )


def _plain(amount: Decimal) -> Decimal:
    """An amount as it is, without zeros at the end of its fraction."""
    short = amount.normalize()
    return short.quantize(Decimal(1)) if short == short.to_integral_value() else short


def work_centres_of(evaluations: Sequence[Evaluation]) -> tuple[EstimatedWorkCentre, ...]:
    """The work centres that the operations of some quantities are done at, by id, with their rates in the currency of the quote."""
    centres: dict[str, tuple[WorkCentreRow, Decimal]] = {
        cost.work_centre.id: (cost.work_centre, evaluation.plans.currency.per_base)
        for evaluation in evaluations
        for lines in evaluation.operations.values()
        for cost in lines
    }
    return tuple(
        EstimatedWorkCentre(
            id=name,
            name=row.name,
            machine_rate_per_h=_plain(row.machine_rate_per_h * per_base),
            labour_rate_per_h=_plain(row.labour_rate_per_h * per_base),
        )
        for name, (row, per_base) in sorted(centres.items())
    )


def _blanks(evaluation: Evaluation) -> tuple[EstimatedBlank, ...]:
    stocks = {part: one.item for one in reversed([*_purchases(evaluation.materials)]) for part in one.parts}
    blanks, routes = evaluation.made.blanks, evaluation.made.routes
    return tuple(
        _blank(blanks[route.part], stocks.get(route.part, blanks[route.part].stock), evaluation.starts[route.part].started)
        for route in routes
        if route.part in blanks
    )


def _blank(blank: Blank, stock: str, pieces: int) -> EstimatedBlank:
    return EstimatedBlank(
        id=f"{id_of(blank.element)}-blank",
        part=blank.element,
        glass=blank.glass,
        form=blank.form,
        stock=stock,
        pieces=pieces,
        diameter_mm=blank.diameter_mm,
        thickness_mm=blank.thickness_mm,
        mass_kg=_kg(blank.mass_g * pieces),
    )


def _materials(evaluation: Evaluation, days: Days) -> tuple[EstimatedMaterial, ...]:
    currency, rates = evaluation.plans.currency, evaluation.plans.rates
    purchases = [*_purchases(evaluation.materials)]
    glass = {part: one.model.glass for one in evaluation.materials for part in one.model.members}
    costs = apportioned([one.amount * currency.per_base for one in purchases], minor_units=currency.minor_units)
    rows = {one.item: _stock_row(one.item, rates) for one in purchases}
    return tuple(
        EstimatedMaterial(
            id=id_of(one.item),
            item=one.item,
            glass=glass[one.parts[0]],
            maker=_maker(glass[one.parts[0]], rates),
            supplier=row.supplier if (row := rows[one.item]) else "",
            form=one.form,
            parts=one.parts,
            size_mm=_size_mm(row) if row else (),
            pieces=one.pieces,
            mass_kg=_kg(one.mass_g),
            from_store=one.owned,
            lead_days=0.0 if one.owned else one.lead_days,
            order_by=None if one.owned else _order_by(days, one.parts, one.lead_days),
            cost=cost,
        )
        for one, cost in zip(purchases, costs, strict=True)
    )


def bought_for(evaluation: Evaluation) -> tuple[EstimatedMaterial | EstimatedPart, ...]:
    """Everything that is bought for a quantity: its glass and its bought parts."""
    days = evaluation.schedule.operation_days()
    return (*_materials(evaluation, days), *_bought_parts(evaluation, days))


def _purchases(materials: Sequence[MaterialCost]) -> Iterator[Purchase]:
    """Every line of every purchase; a purchase whose step says no lines is one of its own."""
    for material in materials:
        for step, times in material.bought:
            lines = step.purchases or (
                PurchaseLine(stock=step.stock, form=step.form, members=material.model.members, pieces=step.pieces, plates=0,
                             amount=step.cost, piece_mass_g=step.bought_mass_g / step.pieces if step.pieces else 0.0),
            )  # fmt: skip
            whole = sum((line.amount for line in lines), Decimal(0))
            for line in lines:
                # A step costs what its lines do, to the cent: each bears its share of that.
                amount = step.cost * line.amount / whole if whole else step.cost / len(lines)
                pieces = times * line.pieces
                yield Purchase(
                    line.stock,
                    line.form,
                    line.members,
                    pieces,
                    pieces * line.piece_mass_g,
                    line.owned,
                    step.lead_days,
                    times * amount,
                )


def _bought_parts(evaluation: Evaluation, days: Days) -> tuple[EstimatedPart, ...]:
    currency, lens = evaluation.plans.currency, evaluation.made.lens.part
    lenses, parts = evaluation.starts[lens].started, evaluation.plans.bought_parts
    costs = apportioned(
        [bought_part_cost(part, lenses=lenses) * currency.per_base for part in parts], minor_units=currency.minor_units
    )
    return tuple(
        EstimatedPart(
            id=id_of(part.name),
            item=part.name,
            pieces=parts_bought(lenses=lenses, count=part.count),
            lead_days=part.lead_days,
            order_by=_order_by(days, (lens,), part.lead_days),
            cost=cost,
        )
        for part, cost in zip(parts, costs, strict=True)
    )


def tools_of(price_break: Break, body: QuoteBody) -> tuple[EstimatedTool, ...]:
    """The tools that a quantity needs, in the currency of the quote."""
    tools: Sequence[Tooling] = body.tooling if price_break.tooling is None else price_break.tooling
    return tuple(
        EstimatedTool(id=id_of(tool.name), item=tool.name, part=tool.part, charge=tool.charge, days=tool.lead_days)
        for tool in tools
    )


def _order_by(days: Days, parts: Sequence[str], lead_days: float) -> date | None:
    """The day on which something must be ordered so that the first of the parts that need it begins on its earliest day."""
    begins = [days[part][0][0] for part in parts if days.get(part)]
    return min(begins) - timedelta(days=math.ceil(lead_days)) if begins else None


def _stock_row(stock: str, rates: Rates) -> StockFormRow | None:
    """The row of the stock of that name; `None` for what lies in no row, such as a purchase for several."""
    try:
        return rates.stock_form(stock)
    except RateMissing:
        return None


def _maker(glass: str, rates: Rates) -> str:
    try:
        return rates.glass(glass).maker
    except RateMissing:
        return ""


def _size_mm(row: StockFormRow) -> tuple[float, ...]:
    sizes = (row.diameter_mm, row.length_mm, row.width_mm, row.thickness_mm)
    return tuple(size for size in sizes if size is not None)


def _kg(mass_g: float) -> float:
    return round(mass_g / 1000, 6)


def customers_word(decision: QuoteDecision | None, name: str) -> str | None:
    """What an acceptance says that is the customer's own, such as the number of the purchase order; `None` where it does not."""
    return getattr(decision, name, None) or None


def contact_of(decision: QuoteDecision | None, body: QuoteBody) -> str | None:
    """Whom the customer names: in the acceptance, or else in the request."""
    return customers_word(decision, "contact") or (body.order.contact if body.order else None) or None
