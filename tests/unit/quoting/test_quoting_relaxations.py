"""What a customer could relax: single and together, exactly what a whole new evaluation would say."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from services.quoting.pricing.evaluation import evaluate
from services.quoting.pricing.loosening import loosened
from services.quoting.pricing.plate_offers import as_relaxations, quoted_offers, tooling_with
from services.quoting.pricing.quote import plans_for
from services.quoting.pricing.relaxations import combined_saving, full_block, most_saved_first, quoted_relaxations
from shared_schemas.operations import AddedOperation, LooserOperation, Relaxation, Route, Tooling, ToolingOffer
from shared_schemas.rates import Rates
from tests.unit.quoting.conftest import centre, operation, sections, with_tables


def relaxation(part: str, tolerance: str, position: int, **figures: Any) -> Relaxation:
    looser = LooserOperation(position=position, **figures)
    return Relaxation(
        where=f"/{part}/{tolerance}", part=part, tolerance=tolerance, from_figure=1.0, to_figure=2.0, unit="fringes", operations=(looser,)
    )  # fmt: skip


OFFERED = (
    relaxation("L1", "irregularity", 0, batch_size=8, batch_min=20.0, **{"yield": 0.97}),
    relaxation("L1", "power", 0, batch_size=4, batch_min=25.0, **{"yield": 0.95}),
    relaxation("L1", "imperfection_grade", 1, batch_size=40, batch_min=30.0, **{"yield": 0.99}),
    relaxation("L2", "irregularity", 0, batch_size=4, batch_min=30.0, **{"yield": 0.9}),
    relaxation("lens", "alignment", 0, batch_size=1, batch_min=12.0, **{"yield": 0.995}),
)


def of_a_piece(quantity: int) -> float:
    """A saving is worked out with the other lots as they are planned; planned anew for all together a start falls otherwise by a piece or so."""
    return 0.01 + 0.2 / quantity


@pytest.fixture
def plans(shop_rates: Rates) -> Any:
    given = sections()
    return plans_for(given["job"], given["blanks"], given["operations"], shop_rates)


@pytest.mark.parametrize("offered", OFFERED, ids=lambda one: one.where)
@pytest.mark.parametrize("quantity", [3, 25, 140])
def test_a_saving_is_that_of_the_whole_quote_worked_out_again(plans: Any, offered: Relaxation, quantity: int) -> None:
    against = evaluate(plans, quantity=quantity)
    routes = tuple(loosened(route, (offered,)) if route.part == offered.part else route for route in plans.routes)
    whole = evaluate(replace(plans, routes=routes), quantity=quantity, evened=False)
    found = quoted_relaxations(plans, (offered,), against=against)
    saving = against.price.alone - whole.price.alone
    assert float(sum(one.saving_per_unit for one in found)) == pytest.approx(
        float(max(saving, 0)), abs=float(against.price.unit) * of_a_piece(quantity)
    )
    assert all(one.days_saved == against.lead_time.p50_days - whole.lead_time.p50_days for one in found)


def test_the_best_five_together_save_more_than_the_best_and_not_their_sum(plans: Any) -> None:
    against = evaluate(plans, quantity=25)
    quoted = quoted_relaxations(plans, OFFERED, against=against)
    together = combined_saving(plans, OFFERED, quoted, against=against)
    assert together is not None
    assert len(together.where) == len(quoted) > 2
    assert quoted[0].saving_per_unit < together.saving_per_unit < sum(one.saving_per_unit for one in quoted)


def test_one_relaxation_alone_is_not_combined(plans: Any) -> None:
    against = evaluate(plans, quantity=25)
    quoted = quoted_relaxations(plans, OFFERED[:1], against=against)
    assert combined_saving(plans, OFFERED[:1], quoted, against=against) is None


def test_two_relaxations_of_one_operation_each_count_by_their_factor_and_power() -> None:
    route = Route(part="L1", kind="element", operations=(operation(batch_min=30.0, **{"yield": 0.81}),))
    first = relaxation("L1", "irregularity", 0, batch_size=6, batch_min=20.0, **{"yield": 0.9})
    second = relaxation("L1", "power", 0, batch_size=4, batch_min=15.0, **{"yield": 0.9})
    (found,) = loosened(route, (first, second)).operations
    assert found.batch_size == 6
    assert found.batch_min == pytest.approx(10.0)
    assert found.yield_share == pytest.approx(0.81 ** (0.5 * 0.5))
    assert loosened(route, ()) is route


def test_a_quantity_that_fills_a_block_is_offered_when_a_piece_is_cheaper_then(plans: Any) -> None:
    against = evaluate(plans, quantity=25)
    found = full_block(plans, against=against)
    assert found is not None
    assert found.from_figure == 25 < found.to_figure <= 37
    fuller = evaluate(plans, quantity=int(found.to_figure))
    assert found.saving_per_unit == against.price.unit - fuller.price.unit > 0


# --- operations that fall away or come, and runs that are shared ---


def coating(**changes: Any) -> Any:
    values: dict[str, Any] = {
        "operation": "coat", "batch_size": 40, "batch_min": 200.0, "consumables": Decimal(46), "shared_run": "coat broadband", "yield": 0.97,
    }  # fmt: skip
    return operation(**{**values, **changes})


@pytest.fixture
def coated(shop_rates: Rates) -> Any:
    """Two elements in runs of one coating, and one of them in runs of another too."""
    given = sections()
    first, second, lens = given["operations"].routes
    plain = coating(shared_run="coat single", batch_min=120.0, consumables=Decimal(18))
    routes = (
        first.model_copy(update={"operations": (*first.operations[:1], coating(), plain.model_copy(update={"face": "back"}))}),
        second.model_copy(update={"operations": (*second.operations, coating(batch_size=60))}),
        lens,
    )
    return replace(plans_for(given["job"], given["blanks"], given["operations"], shop_rates), routes=routes)


SIMPLER = AddedOperation(position=2, operation=coating(shared_run="coat single", batch_min=120.0, consumables=Decimal(18)))
OF_COATING = (
    Relaxation(where="/1", part="L1", tolerance="coating", from_figure=0.2, to_figure=1.0, unit="%", operations=(), removed=(1,), added=(SIMPLER,), means="plainer"),
    Relaxation(where="/2", part="L2", tolerance="coating", from_figure=0.2, to_figure=4.2, unit="%", operations=(), removed=(1,)),
)  # fmt: skip


@pytest.mark.parametrize("offered", OF_COATING, ids=lambda one: one.where)
@pytest.mark.parametrize("quantity", [3, 25, 140])
def test_a_run_that_other_parts_go_on_with_is_not_saved(coated: Any, offered: Relaxation, quantity: int) -> None:
    against = evaluate(coated, quantity=quantity)
    routes = tuple(loosened(route, (offered,)) if route.part == offered.part else route for route in coated.routes)
    whole = evaluate(replace(coated, routes=routes), quantity=quantity, evened=False)
    found = quoted_relaxations(coated, (offered,), against=against)
    saving = against.price.alone - whole.price.alone
    assert float(sum(one.saving_per_unit for one in found)) == pytest.approx(
        float(max(saving, 0)), abs=float(against.price.unit) * of_a_piece(quantity)
    )
    assert all(one.means == offered.means for one in found)


def test_a_change_of_work_centre_and_set_up_counts(plans: Any, shop_rates: Rates) -> None:
    dear = centre("fine bench", machine_rate_per_h=Decimal(120))
    rates = with_tables(shop_rates, work_centres=(*shop_rates.work_centres, dear))
    plans = replace(plans, rates=rates)
    stays, moves = (
        relaxation("L1", "irregularity", 0, batch_size=4, batch_min=20.0, **{"yield": 0.9}),
        relaxation(
            "L1", "irregularity", 0, batch_size=4, batch_min=20.0, work_centre="fine bench", setup_min=60.0, **{"yield": 0.9}
        ),
    )
    against = evaluate(plans, quantity=25)
    (cheap,) = quoted_relaxations(plans, (stays,), against=against)
    dearer = quoted_relaxations(plans, (moves,), against=against)
    assert all(one.saving_per_unit < cheap.saving_per_unit for one in dearer)
    (moved, *_) = loosened(plans.routes[0], (moves,)).operations
    assert (moved.work_centre, moved.setup_min, moved.attended_share) == ("fine bench", 60.0, 0.5)


def test_two_relaxations_that_bring_the_same_operation_bring_it_once() -> None:
    route = Route(part="L1", kind="element", operations=(operation(), coating()))
    brings = AddedOperation(position=1, operation=operation(operation="bevel"))
    first, second = (
        Relaxation(where=f"/{name}", part="L1", tolerance=name, from_figure=1, to_figure=2, unit="", operations=(), removed=removed, added=(brings,))
        for name, removed in (("a", ()), ("b", (1,)))
    )  # fmt: skip
    assert [one.operation for one in loosened(route, (first, second)).operations] == ["polish", "bevel"]


# --- test plates offered ---

PLATE = ToolingOffer(
    where="/elements/0/front/radius_mm", part="L1", from_radius_mm=36.4, to_radius_mm=36.52, tool="test plate 36.52",
    focal_length_change_mm=-0.29, focal_length_change_share=-0.0029, saving=Decimal(800), lead_days_saved=14.0, not_needed=("test plate",),
)  # fmt: skip


@pytest.mark.parametrize("quantity", [3, 25])
def test_a_plate_saves_its_charge_once_and_the_days_of_the_whole_quote_worked_out_again(plans: Any, quantity: int) -> None:
    against = evaluate(plans, quantity=quantity)
    (found,) = quoted_offers(plans, (PLATE,), against=against)
    whole = evaluate(replace(plans, tooling=()), quantity=quantity)
    assert (found.saving, found.quantity) == (Decimal("800.00"), quantity)
    assert found.saving_per_unit == (Decimal(800) / quantity).quantize(Decimal("0.01"))
    assert found.days_saved == against.lead_time.p50_days - whole.lead_time.p50_days


def test_where_tools_are_spread_over_the_order_a_plate_saves_in_the_price(plans: Any) -> None:
    spread = replace(plans, terms=plans.terms.model_copy(update={"tooling": "spread"}))
    against = evaluate(spread, quantity=25)
    (found,) = quoted_offers(spread, (PLATE,), against=against)
    assert found.saving_per_unit == against.price.unit - evaluate(replace(spread, tooling=()), quantity=25).price.unit > 0


def test_a_tool_that_the_new_radius_needs_is_charged_instead(plans: Any) -> None:
    lap = Tooling(name="radius tool 36.52 mm", part="L1", reason="none near", charge=Decimal(180), lead_days=5.0)
    swapped = PLATE.model_copy(update={"needed": (lap,), "saving": Decimal(620)})
    against = evaluate(plans, quantity=10)
    (found,) = quoted_offers(plans, (swapped,), against=against)
    assert tooling_with(plans.tooling, (swapped,)) == (lap,)
    assert found.saving_per_unit == Decimal("62.00")
    assert found.days_saved == against.lead_time.p50_days - evaluate(replace(plans, tooling=(lap,)), quantity=10).lead_time.p50_days


def test_a_block_that_a_relaxation_needs_is_taken_off_its_saving(plans: Any) -> None:
    body = Tooling(name="block 112.4 mm", part="L1", reason="none near", charge=Decimal(25), lead_days=6.0)
    needing = OFFERED[0].model_copy(update={"needed": (body,)})
    against = evaluate(plans, quantity=25)
    (free,), (charged,) = (quoted_relaxations(plans, (one,), against=against) for one in (OFFERED[0], needing))
    assert float(charged.saving_per_unit) == pytest.approx(float(free.saving_per_unit) - 1, abs=0.5)
    both = [combined_saving(plans, (one, OFFERED[3]), (free, *quoted_relaxations(plans, OFFERED[3:4], against=against)), against=against)
            for one in (OFFERED[0], needing)]  # fmt: skip
    savings = [one.saving_per_unit for one in both if one is not None]
    assert savings == [savings[0], savings[0] - 1]


def test_a_tool_that_a_relaxation_needs_and_that_comes_late_costs_the_days_of_the_whole_quote_worked_out_again(plans: Any) -> None:
    late = Tooling(name="block 112.4 mm", part="L1", reason="none near", charge=Decimal(0), lead_days=90.0)
    needing = OFFERED[0].model_copy(update={"needed": (late,)})
    against = evaluate(plans, quantity=25)
    (found,) = quoted_relaxations(plans, (needing,), against=against)
    routes = tuple(loosened(route, (needing,)) if route.part == "L1" else route for route in plans.routes)
    whole = evaluate(replace(plans, routes=routes, tooling=tooling_with(plans.tooling, (needing,))), quantity=25)
    assert found.days_saved == against.lead_time.p50_days - whole.lead_time.p50_days < 0


def test_the_nearest_plate_of_a_radius_is_a_relaxation_among_the_others(plans: Any) -> None:
    further = PLATE.model_copy(update={"to_radius_mm": 36.2, "tool": "test plate 36.2"})
    against = evaluate(plans, quantity=25)
    offered = quoted_offers(plans, (further, PLATE), against=against)
    (found,) = as_relaxations(offered)
    assert (found.tolerance, found.from_figure, found.to_figure, found.unit) == ("radius", 36.4, 36.52, "mm")
    assert (found.charged_once, found.saving_per_unit) == (True, Decimal("32.00"))
    assert "test plate 36.52 is owned" in found.means


def test_a_plate_among_the_best_five_is_granted_with_them(plans: Any) -> None:
    against = evaluate(plans, quantity=25)
    tolerances = quoted_relaxations(plans, OFFERED[:1], against=against)
    best = most_saved_first((*tolerances, *as_relaxations(quoted_offers(plans, (PLATE,), against=against))))
    together = combined_saving(plans, OFFERED[:1], best, against=against, offers=(PLATE,))
    assert together is not None
    assert set(together.tolerances) == {"radius", "irregularity"}
    assert together.saving_per_unit == pytest.approx(sum(one.saving_per_unit for one in best), abs=Decimal("0.5"))
    assert together.days_saved >= max(one.days_saved for one in best)
