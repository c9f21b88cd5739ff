"""Laws of what an estimator sets: it moves what it must and nothing else, and every figure still adds up and explains itself."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest

from services.quoting.explain.figure_at import figure_at
from services.quoting.pricing.evaluation import evaluate
from services.quoting.pricing.loosening import loosened
from services.quoting.pricing.overridden.amended import amended
from services.quoting.pricing.overridden.places import FIELDS, place_of
from services.quoting.pricing.overridden.reached import margin_reached_at
from services.quoting.pricing.price import sum_of
from services.quoting.pricing.prices_only import prices_of
from services.quoting.pricing.relaxations import full_block
from tests.chain import as_json, job_of
from tests.laws.equations import bound, figures_in, worked_out
from tests.laws.overridden import (
    MIXED,
    QUANTITIES,
    asked,
    at,
    explained,
    figures_with,
    plans,
    quoted,
    rates,
    sections,
    usual_figures,
)
from tests.laws.shown import is_number, leaves
from tests.laws.test_laws_figures_shown import BY_EQUATION, kind_of

STEP = Decimal("0.5")
"""Unit prices are raised to it (`rounding` of the terms)."""
SAMPLE = (
    "/operations/L1-polish-front-block/batch_min",
    "/operations/L1-polish-front-block/yield",
    "/operations/L1-core/setup_min",
    "/starts/L1/25",
    "/bought_parts/bulk tray, places to 25 mm/unit_price",
    "/prices/25/unit_price",
    "/prices/25/margin_share",
    "/terms/margin_share",
    "/terms/contingency_share",
    "/terms/minimum_order",
    "/terms/tooling",
)


def drawn(seed: int, count: int, *, at_quantities: bool) -> dict[str, Any]:
    """Overrides that an estimator might set, drawn; those at single quantities only where asked for."""
    draw = random.Random(seed)
    pointers = [one for one in usual_figures() if at_quantities or not one.startswith(("/prices/", "/starts/"))]
    chosen = draw.sample(pointers, count)
    return {pointer: value for pointer in chosen if (value := _another(pointer, draw)) is not None}


def _another(pointer: str, draw: random.Random) -> Any:
    place, figure = place_of(pointer), usual_figures()[pointer]
    assert place is not None
    named = {
        "tooling": "spread",
        "left_out": True if draw.random() < 0.3 else None,
        "currency_clause": None,
        "yield": draw.uniform(0.6, 1),
    }
    if place.subject in ("operations", "terms") and place.field in named:
        return named[place.field]
    if place.kind.unit == "money":
        return str(round(Decimal(figure.worked_out) * Decimal(str(draw.uniform(0.5, 2))) + 1, 2))
    if place.kind.unit in ("pieces", "days"):
        return figure.worked_out + draw.randint(0, 20)
    return round(draw.uniform(0, 90 if place.kind.unit == "min" else 0.3), 3)


def test_there_is_an_override_of_every_kind() -> None:
    fields = {(place.subject, place.field) for one in MIXED if (place := place_of(one)) is not None}
    untried = {(subject, field) for subject, kinds in FIELDS.items() for field in kinds} - fields
    assert untried <= {
        ("operations", "setup_min"), ("operations", "piece_min"), ("operations", "lot_charge"), ("bought_parts", "unit_price"),
        ("terms", "minimum_order"),
    }  # fmt: skip


def test_with_nothing_set_a_quote_says_nothing_of_it() -> None:
    document = as_json(quoted({}))
    assert {"overrides", "currency_clause"}.isdisjoint(document)
    assert all("margin_share" not in one for one in document["breaks"])
    assert all("left_out" not in one for element in document["elements"] for one in element["operations"])


@pytest.mark.parametrize("pointer", SAMPLE)
def test_a_figure_that_is_set_to_what_it_was_leaves_the_price(pointer: str) -> None:
    figure = usual_figures()[pointer]
    before, after = at(25, {}).price, at(25, {pointer: figure.worked_out}).price
    assert (after.unit, [line.amount for line in after.lines]) == (before.unit, [line.amount for line in before.lines])
    then = {one.pointer: one for one in figures_with({pointer: figure.worked_out})}
    assert then[pointer].worked_out == figure.worked_out


@pytest.mark.parametrize("seed", range(4))
def test_a_dearer_minute_never_makes_a_lens_cheaper(seed: int) -> None:
    draw = random.Random(seed)
    minutes = [one for one in usual_figures() if one.endswith("_min")]
    pointer = draw.choice(minutes)
    more = usual_figures()[pointer].worked_out * draw.uniform(1, 3) + draw.uniform(0, 20)
    for quantity in QUANTITIES:
        assert at(quantity, {pointer: more}, evened=False).price.unit >= at(quantity, {}, evened=False).price.unit, pointer


@pytest.mark.parametrize("share", [0.01, 0.05, 0.125, 0.333, 0.5])
def test_a_discount_takes_its_share_off_to_the_step_of_the_prices(share: float) -> None:
    for quantity in QUANTITIES:
        price = at(quantity, {"/terms/discount_share": share}).price
        exact = price.worked_out * (1 - Decimal(repr(share)))
        assert price.worked_out == at(quantity, {}).price.unit
        assert exact <= price.unit < exact + STEP
        assert price.lines[-1].kind == "discount"
        assert price.lines[-1].amount == (price.unit - price.worked_out) * quantity


def test_a_discount_of_one_quantity_goes_before_that_of_all_and_an_own_price_before_both() -> None:
    body = quoted({"/terms/discount_share": 0.1, "/prices/25/discount_share": 0.2, "/prices/100/unit_price": "300.01"})
    kinds = [[line.kind for line in one.lines if line.kind in ("discount", "own_price")] for one in body.breaks]
    assert kinds == [["discount"], ["discount"], ["own_price"]]
    of = [one.unit_price / at(one.quantity, {}).price.unit for one in body.breaks]
    assert [round(float(one), 2) for one in of[:2]] == [0.9, 0.8]
    assert (body.breaks[2].unit_price, body.breaks[2].total_price) == (Decimal("300.01"), Decimal("30001.00"))


@pytest.mark.parametrize("part", ["L1", "L2", "lens"])
def test_more_pieces_started_are_never_less_likely_to_be_enough(part: str) -> None:
    usual = at(25, {}).starts[part].started
    numbers = sorted({25, usual, usual + 1, usual + 10})
    plan = [at(25, {f"/starts/{part}/25": number}, evened=False).plan for number in numbers]
    chances = [(one.starts[part].chance, one.chance) for one in plan]
    for (own, whole), (own_then, whole_then) in pairwise(chances):
        assert own_then >= own
        assert whole_then >= whole
    assert [one.starts[part].losses_cost for one in plan] == sorted((one.starts[part].losses_cost for one in plan), reverse=True)
    assert chances[numbers.index(usual)][1] == pytest.approx(at(25, {}).plan.chance)


def test_one_margin_for_all_holds_at_every_quantity_and_more_of_one_lot_makes_all_of_it_more_likely() -> None:
    settled = plans({"/terms/margin_share": 0.2})
    assert {settled.terms_at(quantity).margin_at(quantity) for quantity in QUANTITIES} == {0.2}
    usual = at(25, {}).plan
    assert at(25, {"/starts/L1/25": usual.started["L1"] + 10}, evened=False).plan.chance > usual.chance + 0.01


def test_amounts_are_set_in_the_currency_of_the_quote_and_what_is_left_out_is_on_no_route() -> None:
    body = quoted(MIXED, currency="EUR")
    assert [one.lot_charge for one in body.bought_parts] == [Decimal("5.00")]
    glass = {one.item: one.cost for one in body.breaks[0].materials if one.kind == "glass"}
    started = body.breaks[0].start_quantities["L1"]
    assert next(cost for item, cost in glass.items() if item.endswith("for L1")) == Decimal("10.00") * started
    names = {element.name: [one.operation for one in element.operations] for element in body.elements}
    assert "saw" in names["L1"]
    assert "saw" not in names["L2"]
    assert names["L2"][names["L2"].index("core") + 1] == "own_work"


def test_lenses_put_together_beyond_those_needed_are_paid_for() -> None:
    usual = at(25, {}).starts["lens"].started
    prices = [at(25, {"/starts/lens/25": usual + more}, evened=False).price.total for more in (0, 1, 5, 50)]
    assert prices == sorted(prices)
    assert prices[0] == at(25, {}, evened=False).price.total < prices[-1]


def test_no_other_quantity_is_held_against_a_price_that_was_set() -> None:
    settled = plans({"/prices/25/unit_price": "9000.00"})
    assert full_block(settled, against=evaluate(settled, quantity=25)) is None


@pytest.mark.parametrize("seed", range(6))
def test_lines_add_up_to_the_cent_whatever_is_set(seed: int) -> None:
    settled = plans(drawn(seed, 12, at_quantities=True))
    for quantity in QUANTITIES:
        price = evaluate(settled, quantity=quantity).price
        assert sum_of(price.lines) == price.total == price.unit * quantity
        assert all(line.amount == round(line.amount, 2) for line in price.lines)


@pytest.mark.parametrize("seed", range(4))
def test_more_pieces_never_cost_more_each_whatever_is_set_for_all_quantities(seed: int) -> None:
    settled = plans(drawn(seed, 10, at_quantities=False))
    prices = [evaluate(settled, quantity=quantity).price for quantity in QUANTITIES]
    for fewer, more in pairwise(prices):
        assert more.unit <= fewer.unit
        assert more.total >= fewer.total


def test_what_is_set_at_one_quantity_moves_no_other() -> None:
    body, usual = quoted({"/starts/L1/25": 60, "/prices/25/margin_share": 0.5}), quoted({})
    moved = [one.unit_price != before.unit_price for one, before in zip(body.breaks, usual.breaks, strict=True)]
    assert moved == [False, True, False]


def test_the_margin_reached_is_that_of_the_terms_where_only_cost_was_set_and_less_by_a_discount_and_a_tool_that_is_waived() -> None:
    terms = usual_figures()["/prices/25/margin_share"].worked_out
    tool = next(one for one in usual_figures() if one.startswith("/tooling/radius tool"))

    def reached(overrides: dict[str, Any]) -> float:
        evaluation = at(25, overrides)
        return margin_reached_at(evaluation, evaluation.plans)

    assert reached({}) == pytest.approx(terms, abs=0.002)
    assert reached({"/terms/tooling": "spread"}) == pytest.approx(terms, abs=0.002)
    assert reached({"/terms/discount_share": 0.1}) == pytest.approx(1 - (1 - terms) / 0.9, abs=0.002)
    charge = Decimal(usual_figures()[tool].worked_out)
    less = float(charge / at(25, {}).price.total)
    assert reached({tool: "0"}) == pytest.approx(terms - less, abs=0.002)
    assert reached({tool: "0", "/terms/tooling": "spread"}) == pytest.approx(terms - less, abs=0.002)
    assert reached({"/prices/25/unit_price": "1.00"}) == -1.0


def test_prices_alone_are_those_of_the_quote_under_overrides() -> None:
    _, blanks, operations = sections()
    body = quoted(MIXED, currency="EUR")
    alone = prices_of(
        job=job_of(asked(MIXED, currency="EUR")), blanks=blanks, operations=operations, rates=rates(), kept={}, load=None
    )
    assert [(one.unit_price, one.total_price, one.loss_chance, one.p90_days) for one in alone.breaks] == [
        (one.unit_price, one.total_price, one.loss_chance, one.lead_time.p90_days) for one in body.breaks
    ]


def test_a_relaxation_leaves_what_an_estimator_set() -> None:
    _, blanks, operations = sections()
    pointer = "/operations/L1-polish-front-block/batch_min"
    settled = amended(job_of(asked({pointer: 60, "/operations/L1-saw/left_out": True, "/operations/L1+rest": MIXED["/operations/L2+etching"] | {
        "value": {"work_centre": "clean bench", "piece_min": 1.0, "after": "L1-core"}}})), blanks, operations, rates()).operations  # fmt: skip
    before, after = operations.routes[0], settled.routes[0]
    assert len(after.operations) == len(before.operations) + 1
    for usual, relaxation in zip(operations.relaxations, settled.relaxations, strict=True):
        if relaxation.part != "L1":
            continue
        names = [one.operation for one in loosened(before, (usual,)).operations]
        looser = loosened(after, (relaxation,)).operations
        assert [one.operation for one in looser if one.method != "rest"] == names
        assert {one.batch_min for one in looser if (one.operation, one.face, one.method) == ("polish", "front", "block")} == {60}
        assert next(one.left_out for one in looser if one.operation == "saw")


HEADS = ("breaks", "overrides", "valid_until", "tooling", "bought_parts")


def problems_of(overrides: dict[str, Any], **fields: Any) -> Iterator[str]:
    """Every number of a quote with figures set that has no answer, or that its equation does not give, but those that stand in a plan."""
    document, breaks = as_json(quoted(overrides, **fields)), explained(overrides, **fields)
    seen = set()
    for pointer, value in leaves({name: document[name] for name in HEADS}):
        if not is_number(pointer, value) or "/basis/" in pointer or "/routes/" in pointer or "/blanks/" in pointer:
            continue
        figure = figure_at(pointer=pointer, document=document, explained=lambda: breaks)
        if str(figure.value) != str(value) or not kind_of(figure):
            yield pointer
        for one in figures_in(figure):
            key = (one.formula, str(one.value), tuple(str(each.value) for each in one.inputs))
            if one.formula and key not in seen:
                seen.add(key)
                law = BY_EQUATION[one.formula]
                if not math.isclose(worked_out(law, bound(law, one)), float(one.value), rel_tol=1e-9, abs_tol=1e-9):
                    yield f"{pointer}: {one.name}"


def test_every_number_of_a_quote_with_figures_set_has_an_answer_that_its_equation_gives_again() -> None:
    assert list(problems_of(MIXED, currency="EUR")) == []


def test_a_figure_that_was_set_says_by_whom_and_why_with_what_was_worked_out() -> None:
    document, breaks = as_json(quoted(MIXED, currency="EUR")), explained(MIXED, currency="EUR")

    def told(pointer: str) -> tuple[str | None, list[str]]:
        figure = figure_at(pointer=pointer, document=document, explained=lambda: breaks)
        return figure.reason, [str(one.value) for one in figure.inputs if one.name == "worked out"]

    said = "set by Ines on 2026-11-02: as it was last time"
    names = [(one["operation"], one.get("face")) for one in document["elements"][0]["operations"]]
    place = f"/elements/0/operations/{names.index(('polish', 'front'))}"
    assert told(f"{place}/batch_min") == (said, [str(usual_figures()["/operations/L1-polish-front-block/batch_min"].worked_out)])
    assert told(f"{place}/batch_loss")[0] == said
    assert told("/breaks/1/unit_price")[0] == said
    assert told("/breaks/2/start_quantities/L1") == (said, [str(at(100, {}).starts["L1"].started)])
    assert told("/valid_until") == (said, [])
    assert told("/overrides/0/value") == (said, [])
