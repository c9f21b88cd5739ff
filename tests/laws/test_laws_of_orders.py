"""Laws of the world that orders with more than lenses in them keep, through the whole chain."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from decimal import Decimal
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from services.optics.law import LAWS
from services.quoting.explain.basis import explain
from services.quoting.pricing.evaluation import Evaluation, evaluate
from services.quoting.pricing.planned import lots_needed
from services.quoting.pricing.plans import Plans
from services.quoting.pricing.price import Price
from services.quoting.pricing.quote import plans_for
from services.quoting.service.order_checks import faults_of_order
from shared_schemas.lead_times import Delivery
from shared_schemas.quote_request import QuoteRequest
from tests.chain import alike_doublets, job_of, request_of, sections_of, singlet, through_stages
from tests.laws.equations import bound, figures_in, worked_out
from tests.laws.prices import rates

CENT = Decimal("0.01")
LENSES = ("singlet", "doublets")


def request_for(lens: str, **fields: Any) -> QuoteRequest:
    """A lens of one element, or of two doublets that are alike, with spare parts."""
    request = request_of(singlet(), (25,)) if lens == "singlet" else alike_doublets(quantities=(25,))
    return QuoteRequest.model_validate(json.loads(request.model_dump_json()) | fields)


@cache
def plans_of(lens: str, **spares: int) -> Plans:
    """A lens as the shop of the seed plans it, with spare parts by name."""
    asked = [{"part": part.replace("_", "+"), "pieces": pieces} for part, pieces in spares.items() if pieces]
    request = request_for(lens, spares=asked)
    _, blanks, operations = sections_of(request, rates())
    return plans_for(job_of(request), blanks, operations, rates())


def at(lens: str, quantity: int = 25, **spares: int) -> Evaluation:
    return evaluate(plans_of(lens, **spares), quantity=quantity)


@pytest.mark.parametrize("lens", LENSES)
def test_a_lens_costs_the_same_with_spare_parts_beside_it_and_lines_add_up_to_both(lens: str) -> None:
    alone, with_spares = at(lens), at(lens, L1=5)
    assert with_spares.spares is not None
    (spare,) = with_spares.spares.parts
    assert with_spares.price.unit == alone.price.unit
    assert with_spares.price.total == 25 * alone.price.unit + 5 * spare.unit == sum(one.amount for one in with_spares.price.lines)
    assert spare.unit > 0
    assert with_spares.costs.total > alone.costs.total


@pytest.mark.parametrize("lens", LENSES)
def test_lenses_and_spares_cost_no_more_than_lenses_that_hold_them_and_no_less_than_the_lenses(lens: str) -> None:
    for quantity, pieces in ((1, 1), (5, 3), (25, 5), (25, 75)):
        asked = {"L1": pieces}
        held = quantity + math.ceil(pieces / lots_needed(plans_of(lens).routes, 1)["L1"])
        total = at(lens, quantity, **asked).price.total
        assert at(lens, quantity).price.total <= total <= at(lens, held).price.total, (quantity, pieces)


@pytest.mark.parametrize("lens", LENSES)
def test_more_spares_never_cost_less_in_all_nor_more_each_and_are_never_started_less(lens: str) -> None:
    found = [at(lens, L1=pieces) for pieces in (1, 2, 6, 25)]
    for fewer, more in pairwise(found):
        assert fewer.spares is not None
        assert more.spares is not None
        (few,), (many,) = fewer.spares.parts, more.spares.parts
        assert more.price.total >= fewer.price.total - CENT * many.pieces
        assert many.by_list <= few.by_list
        assert more.starts["L1"].started > fewer.starts["L1"].started


def test_an_element_asked_for_beside_its_group_is_paid_for_besides() -> None:
    def amount(**asked: int) -> Decimal:
        spares = at("doublets", **asked).spares
        assert spares is not None
        return spares.amount

    group, element = amount(L1_L2=6), amount(L1=6)
    assert group + element / 2 < amount(L1=6, L1_L2=6) <= at("doublets", 31).price.total - at("doublets", 25).price.total
    spares = at("doublets", L1=6, L1_L2=6).spares
    assert spares is not None
    assert spares.lenses == 25 + 6, "six lenses hold twelve of L1 in six groups and six by themselves"


def test_a_spare_group_takes_of_its_elements_and_of_what_is_alike_one_lot_gives_all() -> None:
    needed = lots_needed(plans_of("doublets").routes, 25, plans_of("doublets", L3_L4=4, L4=2).spares_asked)
    assert needed == {"L1+L2": 54, "L1": 54, "L2": 56, "lens": 25}
    spares = at("doublets", L3_L4=4, L4=2).spares
    assert spares is not None
    group, flint = spares.parts
    assert (group.part, group.lot, flint.part, flint.lot) == ("L3+L4", "L1+L2", "L4", "L2")
    assert group.unit > flint.unit


@pytest.mark.parametrize(("lens", "part", "pieces"), [("singlet", "L1", 7), ("doublets", "L1", 7), ("doublets", "L1_L2", 3)])
def test_what_is_asked_of_a_lot_rises_by_the_spares_and_the_plan_is_as_sure_as_before(lens: str, part: str, pieces: int) -> None:
    def mean(evaluation: Evaluation) -> float:
        demand, chance = evaluation.plan.joint.job.demand["L1"]
        return float(demand @ chance / np.sum(chance))

    alone, with_spares = at(lens), at(lens, **{part: pieces})
    more = mean(with_spares) - mean(alone)
    assert pieces <= more + 1e-9 <= pieces * 1.25 + 1e-9, "what is lost in cementing is taken besides"
    assert with_spares.plan.chance >= alone.plan.joint.aim - 0.02
    assert with_spares.schedule.promised.p90 >= alone.schedule.promised.p50


@cache
def explained(lens: str) -> tuple[Any, Any]:
    asked = [{"part": "L1", "pieces": 40}, *([{"part": "L1+L2", "pieces": 2}] if lens == "doublets" else [])]
    request = request_for(lens, spares=asked)
    _, blanks, operations, quote = through_stages(request, rates())
    return quote, explain(job=job_of(request), blanks=blanks, operations=operations, rates=rates())


@pytest.mark.parametrize("lens", LENSES)
def test_every_figure_of_spare_parts_is_explained_and_gives_itself_again(lens: str) -> None:
    quote, explanation = explained(lens)
    by_equation = {law.equation: law for law in LAWS.values()}
    (price_break,), (shown,) = quote.breaks, explanation.breaks
    figures = {figure.name: figure for figure in shown.figures}
    assert figures["unit_price"].value == price_break.unit_price
    assert figures["total_price"].value == price_break.total_price
    for place, spare in enumerate(price_break.spare_parts):
        assert figures[f"spare_parts {place} unit_price"].value == spare.unit_price
        assert figures[f"spare_parts {place} amount"].value == spare.amount
    of_spares = [figures[name] for name in figures if name.startswith(("spare_parts", "unit_price", "total_price", "lines"))]
    for figure in figures_in(of_spares):
        if figure.formula in by_equation:
            law = by_equation[figure.formula]
            assert math.isclose(worked_out(law, bound(law, figure)), float(figure.value), rel_tol=1e-9, abs_tol=1e-9), figure


@cache
def in_parts() -> tuple[Any, Any]:
    """An order of 25 in three deliveries, with spare parts, and what explains it."""
    deliveries = [{"quantity": 5, "by": "2026-11-10"}, {"quantity": 10}, {"quantity": 10, "by": "2027-12-24"}]
    request = request_for("singlet", spares=[{"part": "L1", "pieces": 5}], deliveries=deliveries)
    _, blanks, operations, quote = through_stages(request, rates())
    return quote, explain(job=job_of(request), blanks=blanks, operations=operations, rates=rates())


def test_every_delivery_beyond_the_first_costs_as_much_more_and_the_lens_as_much_as_in_one() -> None:
    plans = plans_of("singlet", L1=5)

    def price(*parts: int) -> Price:
        return evaluate(replace(plans, deliveries=tuple(Delivery(quantity=part) for part in parts)), quantity=25).price

    whole, one, two, three, of_another = price(), price(25), price(5, 20), price(5, 10, 10), price(5, 5)
    assert whole.total == one.total == of_another.total < two.total
    assert three.total - one.total == pytest.approx(2 * (two.total - one.total), abs=CENT * 2)
    for found in (two, three):
        assert found.unit == whole.unit
        assert sum(line.amount for line in found.lines) == found.total
        assert [line.amount for line in found.lines if line.kind == "deliveries"] == [found.total - whole.total]


def test_deliveries_are_dated_each_and_one_that_is_late_is_told_at_its_place() -> None:
    quote, _ = in_parts()
    first, second, last = quote.breaks[0].deliveries
    assert first.of_one_lot.p90 <= second.of_one_lot.p90 <= last.of_one_lot.p90 == quote.breaks[0].lead_time.ship_date
    (late,) = (one for one in quote.findings if one.code == "delivery-not-in-time")
    assert (late.pointer, late.limit, late.figure) == ("/deliveries/0/by", "2026-11-10", first.of_one_lot.p90.isoformat())


def test_what_deliveries_cost_is_explained_and_gives_itself_again() -> None:
    quote, explanation = in_parts()
    place = next(place for place, line in enumerate(quote.breaks[0].lines) if line.kind == "deliveries")
    figures = {figure.name: figure for figure in explanation.breaks[0].figures}
    assert figures[f"lines {place} amount"].value == quote.breaks[0].lines[place].amount
    assert figures["total_price"].value == quote.breaks[0].total_price
    by_equation = {law.equation: law for law in LAWS.values()}
    for figure in figures_in([figures[name] for name in ("unit_price", "total_price", f"lines {place} amount")]):
        if figure.formula in by_equation:
            law = by_equation[figure.formula]
            assert math.isclose(worked_out(law, bound(law, figure)), float(figure.value), rel_tol=1e-9, abs_tol=1e-9), figure


def test_deliveries_that_are_no_quantity_are_refused_at_the_door() -> None:
    faults = faults_of_order(request_for("singlet", deliveries=[{"quantity": 5}, {"quantity": 21}]))
    assert [(one.pointer, one.figure, one.limit) for one in faults] == [("/deliveries", 26, "25")]
