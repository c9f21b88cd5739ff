"""Why costs are what they are: purchases of glass, operations with their minutes and runs, bought parts, pieces started."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from services.optics.law import changed_figure, column, decided, figure_of, given
from services.quoting.costs.cost import (
    MaterialCost,
    OperationCost,
    attended_with_rework_min,
    batches_of,
    blanks_for,
    bought_cost,
    full_lots_of,
    machine_min,
    operation_cost,
    operation_cost_with_charge,
    parts_bought,
    purchase_cost,
    purchase_mass_g,
    rework_of,
    run_of_batches_min,
    run_of_times_min,
    times_left,
    times_spared,
)
from services.quoting.costs.learning import NOTHING_LEARNED, Learning, learning_of
from services.quoting.costs.money import total
from services.quoting.costs.rework import (
    batches_scrapped_by,
    kept_by,
    kept_share,
    rework_run_min,
    reworked_pieces,
    scrapped_batches,
)
from services.quoting.costs.shared_runs import (
    borne_batches,
    pieces_reaching,
    reach_after,
    room_in_all,
    run_share,
    runs_for,
)
from services.quoting.explain.quantity import Quantity
from services.quoting.pricing.price import contingency_on, margin_on, overhead_on
from services.quoting.pricing.quoted_money import converted_figure
from services.shop.minutes import attended_min, exact_minutes_cost
from services.shop.purchases import figures_of_step
from shared_schemas.blanks import MaterialStep
from shared_schemas.figure import Figure
from shared_schemas.operations import Operation, Sampled
from shared_schemas.rates import Rates

UNIT_CURVE = "sum of n^log2(learning_share) over the pieces n, from learned_after on as the last: unit curve, J. R. Crawford (1944), from memory"
ONE_FOR_ALL = "no more learned: each piece takes as long as the first"


def purchase_figures(quantity: Quantity) -> tuple[Figure, ...]:
    """What each purchase of glass costs, in the base currency."""
    return tuple(_purchase(material, quantity) for material in quantity.evaluation.materials)


def _purchase(material: MaterialCost, quantity: Quantity) -> Figure:
    last = material.model.steps[-1]
    lot = given("lot_cost", last.cost, quantity.base, source=f"the purchase for {last.blanks} blanks, of the blank plan")
    if material.full_lots:
        lot = _bought(last, "lot_cost", quantity) if last.purchases else _at_own_price(material, lot)
    return figure_of(
        purchase_cost, name=f"glass {material.model.name}", unit=quantity.base, full_lots=_full_lots(material, quantity), lot_cost=lot,
        rest_cost=_rest(material, quantity),
    )  # fmt: skip


def _at_own_price(material: MaterialCost, otherwise: Figure) -> Figure:
    """What a blank costs whose price an estimator set."""
    figure = next((one for one in material.model.basis if one.name == "cost" and one.reason), None)
    return otherwise if figure is None else changed_figure(figure, name="lot_cost")


def _full_lots(material: MaterialCost, quantity: Quantity) -> Figure:
    starts = tuple(started(member, quantity) for member in material.model.members)
    return figure_of(
        full_lots_of,
        name="full_lots",
        blanks=figure_of(blanks_for, name="blanks", starts=starts),
        lot_blanks=given("lot_blanks", material.model.steps[-1].blanks, source="the largest purchase of the blank plan"),
    )


def _rest(material: MaterialCost, quantity: Quantity) -> Figure:
    """What the blanks cost that are left after whole lots: of the purchases the smallest that is enough."""
    left = material.blanks - material.full_lots * material.model.steps[-1].blanks
    steps = material.model.steps
    if material.rest is None:
        return given("rest_cost", Decimal(0), quantity.base, source="no blank is left after whole lots")
    chosen = steps.index(material.rest)
    others = [_step(step, quantity) for step in steps[max(chosen - 1, 0) : chosen + 2] if step is not material.rest]
    return decided(
        "rest_cost", material.rest.cost, f"the smallest purchase of the blank plan that gives {left} blanks", unit=quantity.base,
        alternatives=[_bought(material.rest, f"for {material.rest.blanks} blanks", quantity), *others],
    )  # fmt: skip


def _bought(step: MaterialStep, name: str, quantity: Quantity) -> Figure:
    """What a purchase costs, down to the rows of its stocks."""
    figures = figures_of_step(step=step, rates=quantity.plans.rates)
    return next(figure for figure in figures if figure.name == "cost").model_copy(update={"name": name})


def _step(step: MaterialStep, quantity: Quantity) -> Figure:
    return given(f"for {step.blanks} blanks", step.cost, quantity.base, source="the blank plan")


def material_needs(quantity: Quantity) -> Iterator[Figure]:
    """The lines of the bill of materials: what is bought, and what it costs in the currency of the quote."""
    for number, (material, cost) in enumerate(zip(quantity.evaluation.materials, purchase_figures(quantity), strict=True)):
        last, rest = material.model.steps[-1], material.rest
        yield figure_of(
            purchase_mass_g, name=f"materials {number} quantity", unit="g", full_lots=_full_lots(material, quantity),
            lot_mass_g=given("lot_mass_g", last.bought_mass_g, "g", source="the largest purchase of the blank plan"),
            rest_mass_g=given("rest_mass_g", rest.bought_mass_g if rest else 0.0, "g", source="the purchase for the rest"),
        )  # fmt: skip
        yield converted_figure(cost, quantity.plans, name=f"materials {number} cost")
    lens = quantity.evaluation.made.lens.part
    for number, (part, cost) in enumerate(
        zip(quantity.plans.bought_parts, bought_figures(quantity), strict=True), len(quantity.evaluation.materials)
    ):
        count = given("count", part.count, at=f"/bought_parts/{number - len(quantity.evaluation.materials)}/count")
        yield figure_of(
            parts_bought, name=f"materials {number} quantity", unit="piece", lenses=started(lens, quantity), count=count
        )  # fmt: skip
        yield converted_figure(cost, quantity.plans, name=f"materials {number} cost")


def bought_figures(quantity: Quantity) -> tuple[Figure, ...]:
    """What each bought part costs, in the base currency."""
    lens = quantity.evaluation.made.lens.part
    return tuple(
        figure_of(
            bought_cost, name=part.name, unit=quantity.base, lenses=started(lens, quantity),
            count=given("count", part.count, at=f"/bought_parts/{position}/count"),
            lot_charge=_of_plan("lot_charge", part.lot_charge, part.basis, quantity.base),
            unit_price=_of_plan("unit_price", part.unit_price, part.basis, quantity.base),
        )
        for position, part in enumerate(quantity.plans.bought_parts)
    )  # fmt: skip


def _of_plan(name: str, amount: Decimal, basis: tuple[Figure, ...], unit: str) -> Figure:
    """An amount of the operation plan in the base currency, as the plan explains it."""
    figure = next((one for one in basis if one.name == name and one.value == amount), None)
    return figure or given(name, amount, unit, source="the operation plan, in the base currency")


def started(part: str, quantity: Quantity) -> Figure:
    return given(part, quantity.evaluation.starts[part].started, "pieces", at=quantity.at("start_quantities", _token(part)))


def _token(name: str) -> str:
    return name.replace("~", "~0").replace("/", "~1")


def parts_figures(quantity: Quantity) -> tuple[Figure, ...]:
    """What all operations of each part cost, in the base currency."""
    return tuple(
        figure_of(total, name=part, unit=quantity.base, amounts=tuple(_operations(part, quantity)))
        for part in quantity.evaluation.operations
    )


def _operations(part: str, quantity: Quantity) -> Iterator[Figure]:
    reach = 1.0
    costs = quantity.evaluation.operations[part]
    for position, cost in enumerate(costs):
        yield _operation(cost, position, _reach(part, position, reach, quantity), quantity)
        operation = cost.operation
        reach = reach_after(reach_share=reach, yield_share=kept_by(operation), batch_loss=batches_scrapped_by(operation))


def _reach(part: str, position: int, reach: float, quantity: Quantity) -> Figure:
    """The share of the started pieces that reaches an operation."""
    if position == 0:
        return given("reach_share", 1.0, source="the first operation: all pieces started")
    before = quantity.evaluation.operations[part][position - 1].operation
    earlier = reach / (kept_by(before) * (1 - batches_scrapped_by(before)))
    return figure_of(
        reach_after, name="reach_share",
        reach_share=given("reach_share", earlier, source="explained at the operation before"),
        yield_share=_kept(part, before, position - 1, quantity),
        batch_loss=_scrapped(part, before, position - 1, quantity),
    )  # fmt: skip


def _kept(part: str, operation: Operation, position: int, quantity: Quantity) -> Figure:
    """What an operation leaves of single pieces, its rework counted in."""
    first = given("yield_share", operation.yield_share, at=quantity.operation_at(part, position, "yield"))
    if not operation.rework_share:
        return first
    share, good = _of_rework(part, operation, position, quantity)
    return figure_of(kept_share, name="yield_share", yield_share=first, rework_share=share, rework_yield=good)


def _scrapped(part: str, operation: Operation, position: int, quantity: Quantity) -> Figure:
    """The chance that a batch is lost for good."""
    first = given("batch_loss", operation.batch_loss, at=quantity.operation_at(part, position, "batch_loss"))
    if not operation.rework_share:
        return first
    share, good = _of_rework(part, operation, position, quantity)
    return figure_of(scrapped_batches, name="batch_loss", batch_loss=first, rework_share=share, rework_yield=good)


def _of_rework(part: str, operation: Operation, position: int, quantity: Quantity) -> tuple[Figure, Figure]:
    """The share that is reworked, and what of it is good then."""
    return (
        given("rework_share", operation.rework_share, at=quantity.operation_at(part, position, "rework_share")),
        given("rework_yield", operation.rework_yield, at=quantity.operation_at(part, position, "rework_yield")),
    )


def _operation(cost: OperationCost, position: int, reach: Figure, quantity: Quantity) -> Figure:
    operation, row = cost.operation, Rates.ref("work_centres", cost.work_centre)
    name = " ".join(filter(None, (operation.operation, operation.face, operation.method)))
    setup = _of_card("setup_min", operation.setup_min, "min", cost, position, quantity)
    run = _run(cost, position, reach, quantity)
    minutes = figure_of(
        exact_minutes_cost, name="minutes_cost", unit=quantity.base,
        machine_min=figure_of(machine_min, setup_min=setup, run_min=run, rework_min=_rework(cost, position, reach, quantity)),
        attended_min=figure_of(
            attended_with_rework_min,
            attended_min=figure_of(
                attended_min, setup_min=setup, run_min=given("run_min", run.value, "min", source="the run of machine_min"),
                attended_share=_of_card("attended_share", operation.attended_share, "", cost, position, quantity),
            ),
            rework_min=given("rework_min", rework_of(operation, cost.pieces), "min", source="the rework of machine_min"),
        ),
        machine_rate_per_h=column("machine_rate_per_h", cost.work_centre.machine_rate_per_h, f"{quantity.base}/h", row),
        labour_rate_per_h=column("labour_rate_per_h", cost.work_centre.labour_rate_per_h, f"{quantity.base}/h", row),
    )  # fmt: skip
    batches = _batches(cost, position, reach, quantity)
    consumables = _of_plan("consumables", operation.consumables, operation.basis, f"{quantity.base}/batch")
    if not operation.lot_charge:
        return figure_of(
            operation_cost, name=name, unit=quantity.base, minutes_cost=minutes, batches=batches, consumables=consumables
        )
    return figure_of(
        operation_cost_with_charge, name=name, unit=quantity.base, minutes_cost=minutes, batches=batches, consumables=consumables,
        lot_charge=_of_plan("lot_charge", operation.lot_charge, operation.basis, quantity.base),
    )  # fmt: skip


def _rework(cost: OperationCost, position: int, reach: Figure, quantity: Quantity) -> Figure:
    """Minutes of rework; none where the rates have no rework for it."""
    operation = cost.operation
    if not operation.rework_share:
        return given("rework_min", 0.0, "min", source="the rates have no rework for it")
    again = figure_of(
        reworked_pieces, pieces=_pieces(cost, reach, quantity),
        yield_share=_of_card("yield", operation.yield_share, "", cost, position, quantity),
        batch_loss=_of_card("batch_loss", operation.batch_loss, "", cost, position, quantity),
        rework_share=_of_card("rework_share", operation.rework_share, "", cost, position, quantity),
    )  # fmt: skip
    each = _of_card("rework_min", operation.rework_min, "min", cost, position, quantity)
    return figure_of(rework_run_min, name="rework_min", unit="min", reworked_pieces=again, rework_min=each)


def _of_card(field: str, value: float, unit: str, cost: OperationCost, position: int, quantity: Quantity) -> Figure:
    """A figure of the route card, where it stands in the quote."""
    return given(field, value, unit, at=quantity.operation_at(cost.part, position, field))


def _pieces(cost: OperationCost, reach: Figure, quantity: Quantity) -> Figure:
    return figure_of(pieces_reaching, name="pieces", unit="pieces", started=started(cost.part, quantity), reach_share=reach)


def _run(cost: OperationCost, position: int, reach: Figure, quantity: Quantity) -> Figure:
    """Minutes without the set-up: by batches and pieces, or where hands learn or a sample is enough by times of a piece."""
    operation = cost.operation
    batch = _of_card("batch_min", operation.batch_min, "min", cost, position, quantity)
    piece = _of_card("piece_min", operation.piece_min, "min", cost, position, quantity)
    if operation.sampled or learning_of(operation, cost.work_centre) is not NOTHING_LEARNED:
        return figure_of(
            run_of_times_min, name="run_min", times=_times(cost, position, reach, quantity), batch_min=batch, piece_min=piece
        )
    return figure_of(
        run_of_batches_min, name="run_min", batches=_batches(cost, position, reach, quantity), batch_min=batch,
        pieces=_pieces(cost, reach, quantity), piece_min=piece,
    )  # fmt: skip


def _batches(cost: OperationCost, position: int, reach: Figure, quantity: Quantity) -> Figure:
    size = _of_card("batch_size", cost.operation.batch_size, "pieces", cost, position, quantity)
    pieces = _pieces(cost, reach, quantity)
    shared = quantity.evaluation.runs.by_name.get(cost.operation.shared_run or "")
    if shared is None:
        return figure_of(batches_of, name="batches", pieces=pieces, batch_size=size)
    sharing = [
        (other, at) for costs in quantity.evaluation.operations.values() for at, other in enumerate(costs)
        if other.operation.shared_run == cost.operation.shared_run
    ]  # fmt: skip
    room = figure_of(room_in_all, name="room", shares=tuple(_share(other, at, quantity) for other, at in sharing))
    parts = [other.part for other, _ in sharing]
    most = given("most_times", max(map(parts.count, parts)), source="the most operations of that name on one part's route card")
    runs = figure_of(runs_for, name="runs", room=room, most_times=most)
    return figure_of(
        borne_batches,
        name="batches",
        runs=runs,
        pieces=pieces,
        batch_size=size,
        room=given("room", room.value, source="the room of runs"),
    )


def _share(cost: OperationCost, position: int, quantity: Quantity) -> Figure:
    return figure_of(
        run_share, name=f"{cost.part} {cost.operation.face or ''}".strip(),
        pieces=given("pieces", cost.pieces, "pieces", source=f"explained at {cost.operation.operation} of {cost.part}"),
        batch_size=_of_card("batch_size", cost.operation.batch_size, "pieces", cost, position, quantity),
    )  # fmt: skip


def _times(cost: OperationCost, position: int, reach: Figure, quantity: Quantity) -> Figure:
    """How many times the minutes of a piece are spent: fewer than pieces where hands learn, or where a sample is enough."""
    learning, sampled = learning_of(cost.operation, cost.work_centre), cost.operation.sampled
    times = _learned("times", cost.pieces, learning, cost, (_pieces(cost, reach, quantity),))
    if not sampled:
        return times
    spared = tuple(_spared(each, number, learning, cost, position, quantity) for number, each in enumerate(sampled))
    return figure_of(times_left, name="times", times=times, spared=spared)


def _learned(name: str, pieces: int, learning: Learning, cost: OperationCost, more: tuple[Figure, ...] = ()) -> Figure:
    """Times of the first piece that so many take together."""
    row = Rates.ref("work_centres", cost.work_centre)
    rate = () if learning is NOTHING_LEARNED else (
        column("learning_share", learning.rate, "", row), column("learned_after", learning.after, "pieces", row),
    )  # fmt: skip
    how = ONE_FOR_ALL if learning is NOTHING_LEARNED else UNIT_CURVE
    return Figure(name=name, value=learning.total(pieces), source=how, inputs=(*more, *rate))


def _spared(each: Sampled, number: int, learning: Learning, cost: OperationCost, position: int, quantity: Quantity) -> Figure:
    """What is spared where a sample is enough: for the pieces not in it their share of the minutes."""
    looked_at = cost.pieces - each.spared(cost.pieces)
    sample = given("sample", looked_at, "pieces", source="ISO 2859-1: sample size of a lot of so many pieces, from memory")
    return figure_of(
        times_spared, name=f"spared, {each.looks_at}",
        share=given("share", each.share, at=quantity.operation_at(cost.part, position, f"sampled/{number}/share")),
        times=_learned("times", cost.pieces, learning, cost),
        times_of_sample=_learned("times_of_sample", looked_at, learning, cost, (sample,)),
    )  # fmt: skip


def markup_figures(quantity: Quantity, cost: Figure) -> dict[str, Figure]:
    """Overhead, contingency and margin on a cost, in the base currency."""
    terms = quantity.plans.terms_at(quantity.evaluation.quantity)
    overhead = figure_of(
        overhead_on,
        name="overhead",
        unit=quantity.base,
        cost=cost,
        overhead_share=quantity.term("overhead_share", terms.overhead_share),
    )
    contingency = figure_of(
        contingency_on, name="contingency", unit=quantity.base, cost=_short(cost), overhead=overhead,
        contingency_share=quantity.term("contingency_share", terms.contingency_share),
    )  # fmt: skip
    margin = figure_of(
        margin_on, name="margin", unit=quantity.base, cost=_short(cost), overhead=_short(overhead), contingency=contingency,
        margin_share=quantity.term("margin_share", terms.margin_at(quantity.evaluation.quantity)),
    )  # fmt: skip
    return {"overhead": overhead, "contingency": contingency, "margin": margin}


def _short(figure: Figure) -> Figure:
    """A figure that is explained beside this place, without its inputs."""
    return given(figure.name, figure.value, figure.unit, source="explained beside it, in the same line")
