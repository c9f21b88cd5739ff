"""Why a price is what it is: its figures down to formulas and rate rows."""

from __future__ import annotations

from decimal import Decimal

from services.quoting.domain.cost import OperationCost
from services.quoting.domain.evaluation import Evaluation, Plans
from shared_schemas.figure import Figure
from shared_schemas.rates import Rates


def basis_of(found: Evaluation, plans: Plans) -> tuple[Figure, ...]:
    """Figures that explain one quantity: price, each line, start quantities, lead time."""
    return (_unit_price(found, plans), *_lines(found, plans), _starts(found, plans), _lead_time(found, plans))


def _money(name: str, value: Decimal, unit: str, formula: str | None = None, inputs: tuple[Figure, ...] = ()) -> Figure:
    return Figure(name=name, value=value, unit=unit, formula=formula, inputs=inputs)


def _unit_price(found: Evaluation, plans: Plans) -> Figure:
    terms = Rates.ref("commercial", plans.terms)
    return _money(
        "unit_price",
        found.price.unit,
        plans.currency.name,
        "(sum of lines before rounding) / quantity, rounded up to the price step",
        (
            Figure(name="quantity", value=found.quantity),
            Figure(name="price step", value=plans.terms.rounding, unit=plans.currency.name, rate_row=terms),
            Figure(
                name="per_base", value=plans.currency.per_base, unit=f"{plans.currency.name} for 1 {plans.rates.base_currency}",
                rate_row=Rates.ref("currencies", plans.currency),
            ),
        ),
    )  # fmt: skip


def _lines(found: Evaluation, plans: Plans) -> tuple[Figure, ...]:
    base = plans.rates.base_currency
    terms = Rates.ref("commercial", plans.terms)
    shares = {
        "overhead": ("cost x overhead share", "overhead share", plans.terms.overhead_share),
        "contingency": ("(cost + overhead) x contingency share", "contingency share", plans.terms.contingency_share),
        "margin": ("(cost + overhead + contingency) x m / (1 - m)", "m", plans.terms.margin_share),
    }
    figures = {
        "material": ("sum over purchases of the step that is enough", _purchases(found, base)),
        "operations": ("sum over operations of machine, labour and consumables", _parts(found, base)),
        "bought_parts": ("lot charge + started lenses x count x unit price", _bought(found, plans, base)),
    }
    for kind, (formula, name, share) in shares.items():
        cost = _money("cost", found.costs.total, base)
        figures[kind] = (formula, (cost, Figure(name=name, value=share, rate_row=terms)))
    figures["minimum_order"] = ("minimum order - sum of the lines before", (
        Figure(name="minimum order", value=plans.terms.minimum_order, unit=base, rate_row=terms),))  # fmt: skip
    figures["rounding"] = ("unit price x quantity - sum of the lines before", ())
    return tuple(_money(f"line {line.kind}", line.amount, plans.currency.name, *figures[line.kind]) for line in found.price.lines)


def _purchases(found: Evaluation, base: str) -> tuple[Figure, ...]:
    return tuple(
        _money(
            f"glass {material.model.name}", material.amount, base, "cost of the first step with enough blanks",
            (Figure(name="blanks", value=material.blanks), *material.model.basis),
        )
        for material in found.materials
    )  # fmt: skip


def _parts(found: Evaluation, base: str) -> tuple[Figure, ...]:
    """What each part's operations cost; the minutes of a batch are explained with the operation itself."""
    return tuple(
        _money(
            part,
            sum((cost.amount for cost in costs), Decimal(0)),
            base,
            "sum of its operations",
            tuple(_operation(cost, base) for cost in costs),
        )
        for part, costs in found.operations.items()
    )


def _operation(cost: OperationCost, base: str) -> Figure:
    name = " ".join(filter(None, (cost.operation.operation, cost.operation.face or "", cost.operation.method)))
    ref = Rates.ref("work_centres", cost.work_centre)
    return Figure(
        name=name[:60], value=cost.amount, unit=base, rate_row=ref,
        formula="machine_min/60 x machine_rate + attended_min/60 x labour_rate + batches x consumables",
        inputs=(
            Figure(name="pieces", value=cost.pieces),
            Figure(name="batches", value=cost.batches),
            Figure(name="machine_min", value=cost.machine_min),
            Figure(name="attended_min", value=cost.attended_min),
        ),
    )  # fmt: skip


def _bought(found: Evaluation, plans: Plans, base: str) -> tuple[Figure, ...]:
    return tuple(
        _money(part.name, part.unit_price, base, None, (Figure(name="lot charge", value=part.lot_charge, unit=base), *part.basis))
        for part in plans.bought_parts
    )


def _starts(found: Evaluation, plans: Plans) -> Figure:
    return Figure(
        name="start_quantities",
        value=plans.confidence,
        unit="confidence",
        formula="smallest n with P(Bin(n, y) >= needed) >= confidence^(1/parts), for each part",
        inputs=tuple(
            Figure(
                name=start.part, value=start.started, formula="smallest n with P(Bin(n, y) >= needed) >= c",
                inputs=(
                    Figure(name="needed", value=start.needed),
                    Figure(name="y", value=start.yield_share, formula="product over operations of yield x (1 - batch_loss)"),
                    Figure(name="c", value=start.confidence),
                    Figure(name="P", value=start.chance),
                ),
            )
            for start in found.starts.values()
        ),
    )  # fmt: skip


def _lead_time(found: Evaluation, plans: Plans) -> Figure:
    path = set(found.lead_time.critical_path)
    load = {row.name: row for row in plans.rates.shop_load}
    centres = sorted({cost.work_centre.name for part, costs in found.operations.items() if part in path for cost in costs})
    return Figure(
        name="lead_time p50_days",
        value=found.lead_time.p50_days,
        unit="days",
        formula="longest wait for glass, tools or parts, then queue (rho/(1-rho) x V x t) and minutes of each operation on the path, in working hours",
        inputs=tuple(
            Figure(name=f"rho of {name}"[:60], value=load[name].utilisation, rate_row=Rates.ref("shop_load", load[name]))
            for name in centres
            if name in load
        ),
    )
