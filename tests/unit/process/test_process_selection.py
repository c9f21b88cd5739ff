"""Where several work centres serve, what is said of them decides: priority, then cost; never the order of rows nor a name."""

from __future__ import annotations

import random
from decimal import Decimal
from typing import Any

import pytest

from services.process.domain.route.lines import Line, line
from services.process.domain.route.work_centres import COMPARED_PIECES, choose_centre, lot_at_centre_cost
from shared_schemas.operation_kinds import OPERATIONS
from shared_schemas.rates import Rates, WorkCentreRow


def polisher(rates: Rates, **changes: Any) -> WorkCentreRow:
    of_shop = next(row for row in rates.work_centres if row.operations == ("polish",) and row.method == "single")
    return of_shop.model_copy(update=changes)


def with_centres(rates: Rates, *rows: WorkCentreRow) -> Rates:
    """The rates with these work centres for polishing singly, put before all others."""
    others = tuple(row for row in rates.work_centres if not (row.operations == ("polish",) and row.method == "single"))
    return rates.model_copy(update={"work_centres": (*rows, *others)})


def polished(rates: Rates) -> Line:
    return line("polish", rates, method="single")


DEAR = {"name": "a dear polisher", "id": "a-dear-one", "machine_rate_per_h": Decimal(90)}


def test_of_two_of_one_priority_the_cheaper_polishes_wherever_it_stands_and_whatever_it_is_called(rates: Rates) -> None:
    own, dear = polisher(rates), polisher(rates, **DEAR)
    for rows in ((own, dear), (dear, own)):
        assert polished(with_centres(rates, *rows)).work_centre == own.name
        assert polished(with_centres(rates, *rows).in_order).work_centre == own.name
    renamed = own.model_copy(update={"name": "zz"})
    assert polished(with_centres(rates, dear, renamed).in_order).work_centre == "zz"


def test_priority_goes_before_cost(rates: Rates) -> None:
    own, dear = polisher(rates, priority=2), polisher(rates, **DEAR)
    assert polished(with_centres(rates, own, dear)).work_centre == dear.name


def test_of_two_that_cost_the_same_the_id_decides_and_not_the_name(rates: Rates) -> None:
    one, other = polisher(rates, name="b", id="first"), polisher(rates, name="a", id="second")
    assert polished(with_centres(rates, other, one).in_order).work_centre == "b"


def test_the_card_says_who_was_passed_over_with_the_cost_of_each(rates: Rates) -> None:
    own, dear, last = polisher(rates), polisher(rates, **DEAR), polisher(rates, name="reserve", id="reserve", priority=3)
    operation = polished(with_centres(rates, last, dear, own)).as_operation()
    (told,) = (figure for figure in operation.basis if figure.name == "work_centre")
    assert told.value == own.name
    assert told.reason == (
        "of 2 work centres of priority 1 the cheapest for a lot of 25; passed over: a dear polisher (priority 1), reserve (priority 3)"
    )
    costs = [figure.value for figure in told.inputs]
    assert [figure.name for figure in told.inputs] == [own.name, dear.name, last.name]
    assert costs[0] == costs[2] < costs[1]


def test_where_one_work_centre_serves_nothing_is_said_of_a_choice(rates: Rates) -> None:
    assert not [figure for figure in polished(rates).as_operation().basis if figure.name == "work_centre"]


def test_a_long_set_up_is_weighed_on_a_lot_of_twenty_five(rates: Rates) -> None:
    fast = polisher(rates, name="fast", id="fast", setup_min=600.0, load_min_per_piece=0.1, cycle_min=0.1)
    assert polished(with_centres(rates, fast, polisher(rates))).work_centre == polisher(rates).name


def test_a_lot_costs_its_set_up_and_its_run_with_a_person_there_for_a_share_of_it() -> None:
    cost = lot_at_centre_cost(
        setup_min=30.0, batch_min=10.0, batches=2, piece_min=1.0, pieces=10, attended_share=0.5, machine_rate_per_h=60.0,
        labour_rate_per_h=30.0,
    )  # fmt: skip
    assert cost == pytest.approx(60.0 * 60 / 60 + (30 + 15) * 30.0 / 60)
    assert COMPARED_PIECES == 25


@pytest.mark.parametrize("seed", range(5))
def test_every_operation_is_done_at_the_same_place_however_the_rows_are_listed(rates: Rates, seed: int) -> None:
    twice = tuple(
        row.model_copy(update={"name": f"{seed} {row.name}", "id": f"more-{row.id}", "setup_min": row.setup_min + 1}) for row in rates.work_centres
    )  # fmt: skip
    rows = [*rates.work_centres, *twice]
    random.Random(seed).shuffle(rows)
    shuffled = rates.model_copy(update={"work_centres": tuple(rows)})
    for operation, kind in OPERATIONS.items():
        for method in ("", *kind.methods):
            if any(operation in row.operations and row.method in (method, "") for row in rates.work_centres):
                at = [choose_centre(one, operation, method, 20.0).row.name for one in (shuffled, rates)]
                assert at[0] == at[1]
