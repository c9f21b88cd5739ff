"""Why a price is what it is: its figures down to formulas and rate rows.

The formula of an amount is written in the names of its inputs, so it can be worked out again from them. `x` is times.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal

from services.quoting.costs.cost import OperationCost, bought_part_cost
from services.quoting.costs.learning import NOTHING_LEARNED, Learning, learning_of
from services.quoting.costs.shared_runs import SharedRun
from services.quoting.explain.basis_of_date import lead_time_figure
from services.quoting.explain.basis_of_risk import expedite_figures, spread_figure
from services.quoting.pricing.evaluation import Evaluation, Plans
from services.quoting.pricing.starts import PartStart
from services.quoting.risk.losses import Batches
from services.shop.purchases import figures_of_step
from shared_schemas.blanks import MaterialStep
from shared_schemas.figure import Figure
from shared_schemas.operations import Sampled, Tooling
from shared_schemas.rates import Rates

SUM = "sum of the inputs"
OPERATION = "machine_min / 60 x machine_rate_per_h + attended_min / 60 x labour_rate_per_h + batches x consumables"
RUN = "batches x batch_min + pieces x piece_min"
ONE_AT_A_TIME = "times x (batch_min + piece_min)"
LEARNED = "sum of n^log2(learning_share) over the pieces n, from learned_after on as the last: the unit curve (Crawford)"
ROUTE_CARD = "the route card of the part"
ELSEWHERE = "a figure of its own in this explanation"


def basis_of(found: Evaluation, plans: Plans) -> tuple[Figure, ...]:
    """Figures that explain one quantity: unit and total price, each line, start quantities, unit cost, lead time."""
    unit_price = _unit_price(found, plans)
    total = Figure(
        name="total_price",
        value=found.price.total,
        unit=plans.currency.name,
        formula="unit_price x quantity",
        inputs=(unit_price, _quantity(found)),
    )
    return (
        unit_price,
        total,
        *_lines(found, plans),
        _unit_cost(found, plans),
        spread_figure(found, plans),
        _starts(found, plans),
        lead_time_figure(found, plans),
        *expedite_figures(found, plans),
    )


def _quantity(found: Evaluation) -> Figure:
    return Figure(name="quantity", value=found.quantity, source="the request")


def _per_base(plans: Plans) -> Figure:
    return Figure(
        name="per_base",
        value=plans.currency.per_base,
        unit=f"{plans.currency.name} for 1 {plans.rates.base_currency}",
        rate_row=Rates.ref("currencies", plans.currency),
    )


def _term(name: str, value: float | Decimal, plans: Plans, unit: str = "") -> Figure:
    return Figure(name=name, value=value, unit=unit, rate_row=Rates.ref("commercial", plans.terms))


def _money(
    name: str, value: Decimal, unit: str, formula: str | None = None, inputs: tuple[Figure, ...] = (), source: str | None = None
) -> Figure:
    return Figure(name=name, value=value, unit=unit, formula=formula, inputs=inputs, source=source)


def _unit_price(found: Evaluation, plans: Plans) -> Figure:
    currency = plans.currency.name
    step = _money(
        "step", found.price.step, currency, "rounding, raised to a whole number of minor units",
        (
            _term("rounding", plans.terms.rounding, plans, currency),
            Figure(name="minor_units", value=plans.currency.minor_units, rate_row=Rates.ref("currencies", plans.currency)),
        ),
    )  # fmt: skip
    lines = _money("lines", found.price.before_rounding, currency, "sum of the lines before rounding")
    return _money("unit_price", found.price.unit, currency, "ceil(lines / quantity / step) x step", (lines, _quantity(found), step))


def _lines(found: Evaluation, plans: Plans) -> tuple[Figure, ...]:
    explained = _formulas(found, plans)
    per_base = _per_base(plans)
    figures = []
    for line in found.price.lines:
        formula, inputs = explained[line.kind]
        if "per_base" in formula:
            inputs = (*inputs, per_base)
        figures.append(_money(f"line {line.kind}", line.amount, plans.currency.name, formula, inputs))
    return tuple(figures)


def _formulas(found: Evaluation, plans: Plans) -> dict[str, tuple[str, tuple[Figure, ...]]]:
    """For each kind of line its formula, and what goes into it but for the change of currency."""
    base, put_on, terms = plans.rates.base_currency, found.price.markups, plans.terms
    cost = _cost(found, plans)
    overhead_share = _term("overhead_share", terms.overhead_share, plans)
    contingency_share = _term("contingency_share", terms.contingency_share, plans)
    overhead = _money("overhead", put_on.overhead, base, "cost x overhead_share", (cost, overhead_share))
    contingency = _money(
        "contingency", put_on.contingency, base, "(cost + overhead) x contingency_share", (cost, overhead, contingency_share)
    )
    lines = found.price.lines
    before = _money(
        "lines",
        sum((line.amount for line in lines if line.kind not in {"minimum_order", "rounding"}), Decimal(0)),
        plans.currency.name,
        "sum of the lines before",
    )
    return {
        "material": ("material x per_base", (_money("material", found.costs.material, base, SUM, _purchases(found, plans)),)),
        "operations": ("operations x per_base", (_money("operations", found.costs.operations, base, SUM, _parts(found, base)),)),
        "bought_parts": (
            "bought_parts x per_base",
            (_money("bought_parts", found.costs.bought_parts, base, SUM, _bought(found, plans)),),
        ),
        "overhead": ("cost x overhead_share x per_base", (cost, overhead_share)),
        "contingency": ("(cost + overhead) x contingency_share x per_base", (cost, overhead, contingency_share)),
        "margin": (
            "(cost + overhead + contingency) x margin_share / (1 - margin_share) x per_base",
            (cost, overhead, contingency, _term("margin_share", terms.margin_at(found.quantity), plans)),
        ),
        "tooling": (
            "tooling x per_base",
            (_money("tooling", found.costs.tooling, base, SUM, tuple(_tool(tool, base) for tool in plans.tooling)),),
        ),
        "minimum_order": ("minimum_order x per_base - lines", (_term("minimum_order", terms.minimum_order, plans, base), before)),
        "rounding": (
            "total_price - lines",
            (
                _money("total_price", found.price.total, plans.currency.name, source=ELSEWHERE),
                _money("lines", found.price.before_rounding, plans.currency.name, "sum of the lines before rounding"),
            ),
        ),
    }


def _cost(found: Evaluation, plans: Plans) -> Figure:
    parts = ("material", found.costs.material), ("operations", found.costs.operations), ("bought_parts", found.costs.bought_parts)
    base = plans.rates.base_currency
    inputs = tuple(_money(name, amount, base, source=ELSEWHERE) for name, amount in parts)
    return _money("cost", found.costs.total, base, "material + operations + bought_parts", inputs)


def _purchases(found: Evaluation, plans: Plans) -> tuple[Figure, ...]:
    return tuple(
        _money(
            f"glass {material.model.name}"[:60], material.amount, plans.rates.base_currency,
            "cost of the first step with enough blanks; past the last step whole lots and the step for the rest",
            (
                Figure(name="blanks", value=material.blanks, formula="largest start quantity of the members"),
                Figure(name="lots", value=material.lots, formula="whole lots of the last step, and one for the rest"),
                *(figure for bought in material.bought for figure in _lot(bought.step, plans.rates)),
            ),
        )
        for material in found.materials
    )  # fmt: skip


def _lot(step: MaterialStep, rates: Rates) -> Iterator[Figure]:
    for figure in figures_of_step(step=step, rates=rates):
        yield figure.model_copy(update={"name": f"lot {figure.name}"})


def _tool(tool: Tooling, base: str) -> Figure:
    return _money(tool.name, tool.charge, base, inputs=tool.basis, source="the operation plan")


def _parts(found: Evaluation, base: str) -> tuple[Figure, ...]:
    return tuple(
        _money(
            part,
            sum((cost.amount for cost in costs), Decimal(0)),
            base,
            SUM,
            tuple(_operation(cost, base, found.runs.by_name) for cost in costs),
        )
        for part, costs in found.operations.items()
    )


def _operation(cost: OperationCost, base: str, runs: Mapping[str, SharedRun]) -> Figure:
    row = Rates.ref("work_centres", cost.work_centre)
    name = " ".join(filter(None, (cost.operation.operation, cost.operation.face, cost.operation.method)))
    return _money(
        name[:60], cost.amount, base, OPERATION,
        (
            Figure(name="pieces", value=cost.pieces, formula="started x yields of the operations before, rounded up"),
            _batches(cost, runs),
            *_minutes(cost),
            Figure(name="consumables", value=cost.operation.consumables, unit=f"{base}/batch", source=ROUTE_CARD),
            Figure(name="machine_rate_per_h", value=cost.work_centre.machine_rate_per_h, unit=f"{base}/h", rate_row=row),
            Figure(name="labour_rate_per_h", value=cost.work_centre.labour_rate_per_h, unit=f"{base}/h", rate_row=row),
        ),
    )  # fmt: skip


def _minutes(cost: OperationCost) -> tuple[Figure, Figure]:
    """Machine and attended minutes, out of the figures of the route card."""
    setup, share = _of_card("setup_min", cost.operation.setup_min, "min"), _of_card("attended_share", cost.operation.attended_share)
    run = _run(cost)
    again = Figure(name="run", value=run.value, unit="min", source="the run of machine_min")
    return (
        Figure(name="machine_min", value=cost.machine_min, unit="min", formula="setup_min + run", inputs=(setup, run)),
        Figure(
            name="attended_min", value=cost.attended_min, unit="min", formula="setup_min + attended_share x run",
            inputs=(setup, share, again),
        ),
    )  # fmt: skip


def _of_card(name: str, value: float, unit: str = "") -> Figure:
    return Figure(name=name, value=value, unit=unit, source=ROUTE_CARD)


def _run(cost: OperationCost) -> Figure:
    """Minutes without the set-up: by batches and pieces, or where hands learn or a sample is enough by times of a piece."""
    operation = cost.operation
    by_times = bool(operation.sampled) or learning_of(operation, cost.work_centre) is not NOTHING_LEARNED
    minutes = _of_card("batch_min", operation.batch_min, "min"), _of_card("piece_min", operation.piece_min, "min")
    number = (_times(cost),) if by_times else (_batches_again(cost), _pieces_again(cost))
    return Figure(
        name="run", value=cost.machine_min - operation.setup_min, unit="min", formula=ONE_AT_A_TIME if by_times else RUN,
        inputs=(*number, *minutes),
    )  # fmt: skip


def _pieces_again(cost: OperationCost) -> Figure:
    return Figure(name="pieces", value=cost.pieces, source="pieces of this operation")


def _batches_again(cost: OperationCost) -> Figure:
    return Figure(name="batches", value=cost.borne, source="batches of this operation")


def _batches(cost: OperationCost, runs: Mapping[str, SharedRun]) -> Figure:
    size = _of_card("batch_size", cost.operation.batch_size)
    shared = runs.get(cost.operation.shared_run or "")
    if shared is None:
        return Figure(name="batches", value=cost.batches, formula="ceil(pieces / batch_size)", inputs=(_pieces_again(cost), size))
    runs_of_all = Figure(
        name="runs", value=shared.runs,
        formula="ceil(room), no fewer than one part has operations of that name, as a piece is in a run once",
    )  # fmt: skip
    room = Figure(name="room", value=shared.filled, formula="sum of pieces / batch_size over all that goes into the runs")
    return Figure(
        name="batches", value=cost.borne, formula="runs x pieces / batch_size / room",
        inputs=(runs_of_all, _pieces_again(cost), size, room),
    )  # fmt: skip


def _times(cost: OperationCost) -> Figure:
    """How many times the minutes of a piece are spent: fewer than pieces where hands learn, or where a sample is enough."""
    learning, pieces, sampled = learning_of(cost.operation, cost.work_centre), cost.pieces, cost.operation.sampled
    if not sampled:
        return Figure(name="times", value=learning.total(pieces), formula=LEARNED, inputs=_learned(cost))
    whole = _pieces_again(cost) if learning is NOTHING_LEARNED else Figure(
        name="pieces", value=learning.total(pieces), formula=LEARNED, inputs=_learned(cost)
    )  # fmt: skip
    spared = tuple(_spared(one, pieces, learning) for one in sampled)
    return Figure(
        name="times", value=float(whole.value) - sum(float(one.value) for one in spared), formula="pieces - sum of what is spared",
        inputs=(whole, *spared),
    )  # fmt: skip


def _learned(cost: OperationCost) -> tuple[Figure, Figure]:
    """How fast hands learn at an operation, and until when."""
    learning, row = learning_of(cost.operation, cost.work_centre), Rates.ref("work_centres", cost.work_centre)
    return (
        Figure(name="learning_share", value=learning.rate, rate_row=row),
        Figure(name="learned_after", value=learning.after, unit="pieces", rate_row=row),
    )


def _spared(one: Sampled, pieces: int, learning: Learning) -> Figure:
    """What is spared where a sample is enough: for the pieces not in it their share of the minutes."""
    looked_at = pieces - one.spared(pieces)
    return Figure(
        name=f"spared, {one.looks_at}"[:60], value=one.share * (learning.total(pieces) - learning.total(looked_at)),
        formula="share x what the pieces past the sample count for",
        inputs=(
            _of_card("share", one.share),
            Figure(name="sample", value=looked_at, unit="pieces", formula="sample size of the lot", source="ISO 2859-1"),
        ),
    )  # fmt: skip


def _bought(found: Evaluation, plans: Plans) -> tuple[Figure, ...]:
    base = plans.rates.base_currency
    lenses = found.starts[plans.routes[-1].part].started
    return tuple(
        _money(
            part.name, bought_part_cost(part, lenses=lenses), base, "lot_charge + lenses x count x unit_price",
            (
                Figure(name="lenses", value=lenses, formula="start quantity of the lens"),
                Figure(name="count", value=part.count, source="the operation plan"),
                _money("lot_charge", part.lot_charge, base, inputs=part.basis, source="the operation plan"),
                _money("unit_price", part.unit_price, base, inputs=part.basis, source="the operation plan"),
            ),
        )
        for part in plans.bought_parts
    )  # fmt: skip


def _unit_cost(found: Evaluation, plans: Plans) -> Figure:
    return _money(
        "unit_cost",
        found.unit_cost * plans.currency.per_base,
        plans.currency.name,
        "cost / quantity x per_base",
        (_cost(found, plans), _quantity(found), _per_base(plans)),
    )


def _starts(found: Evaluation, plans: Plans) -> Figure:
    return Figure(
        name="start_quantities",
        value=plans.confidence,
        unit="confidence",
        formula="the confidence of the request, shared out as its root among the parts that can fall short",
        inputs=tuple(_start(start) for start in found.starts.values()),
    )


def _start(start: PartStart) -> Figure:
    formula = "smallest n with P(good of n >= needed) >= c" + (
        f", and {start.filled_up} more to fill a batch" if start.filled_up else ""
    )
    return Figure(
        name=start.part, value=start.started, formula=formula,
        inputs=(
            Figure(name="needed", value=start.needed, formula="started of the part that consumes it x count; the order for the lens"),
            Figure(name="y", value=start.yield_share, formula="product of the yields of the operations, and of 1 - batch_loss for batches of one"),
            Figure(name="c", value=start.confidence, formula="confidence^(1 / parts that can fall short)"),
            Figure(name="P", value=start.chance, formula="sum over lost batches of their chance x P(Bin(pieces left, y) >= needed)"),
            *(_lost(batch, "covered by the start quantity") for batch in start.batches),
            *(_lost(batch, "over a twentieth of the order: made again if lost, see the risk") for batch in start.uncovered),
        ),
    )  # fmt: skip


def _lost(batch: Batches, what: str) -> Figure:
    return Figure(
        name="chance that a batch is lost",
        value=batch.chance,
        formula=f"batch_loss of its operations; {what}",
        inputs=(
            Figure(name="pieces", value=batch.pieces, source=ROUTE_CARD),
            Figure(name="starts", value=batch.starts, formula="pieces / share of the started pieces that reach it"),
        ),
    )
