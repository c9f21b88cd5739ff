"""A simulated shop whose true minutes are hidden: what is learned from its jobs comes to them, and where nothing is wrong nothing is said."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.orders.domain.drift import begins_of
from services.orders.domain.learning import JobRatio, Learned, learn
from services.orders.domain.robust import cells_of
from tests.laws.simulated_learning import SCATTER, errors, machine, share_changed, share_found, share_held, share_proposed

MONDAY = date(2026, 11, 2)
RATIOS = st.lists(st.floats(-0.6, 0.6), min_size=1, max_size=40)


def jobs_of(log_ratios: Sequence[float], *, cell: str = "HG3", first: int = 0, jobs_a_day: int = 1) -> list[JobRatio]:
    return [
        JobRatio(MONDAY + timedelta(days=(first + place) // jobs_a_day), f"Q-{first + place:05d}", (cell, "precision"), one)
        for place, one in enumerate(log_ratios)
    ]


def learned_of(*log_ratios: float) -> Learned:
    return learn({"a": jobs_of(log_ratios)})["a"]


def test_hours_that_are_a_third_off_come_within_eight_per_cent_after_fifty_jobs() -> None:
    before, after_50, after_200 = errors(3, jobs=(50, 200))
    assert 0.24 <= before <= 0.36
    assert after_50 <= 0.08
    assert after_200 <= after_50 + 0.005


def test_where_the_table_is_true_nothing_is_proposed_in_nineteen_shops_of_twenty() -> None:
    assert share_proposed(30, jobs=15) <= 0.05


@pytest.mark.parametrize("classes", [1, 3])
def test_true_unit_costs_lie_within_their_interval_four_times_in_five(classes: int) -> None:
    held, error = share_held(20, jobs=25, seed=1000, spread=0.2, classes=classes, class_spread=0.08 if classes > 1 else 0.0)
    assert abs(held - 0.8) <= 3 * error


def test_a_machine_that_became_a_fifth_slower_is_found_within_fifteen_jobs() -> None:
    found, still = share_found(25, before=40, seed=100)
    assert found >= 0.9
    assert still >= 0.85


def test_the_jobs_before_a_change_are_left_out_of_what_is_learned() -> None:
    one = learn({"a": machine(6, before=40, after=25)})["a"]
    assert one.changed is not None
    assert one.changed.ratio_before == pytest.approx(1.0, abs=0.08)
    assert one.jobs == pytest.approx(25, abs=6)
    assert one.all_jobs == 65
    assert one.low < 1.2 < one.high


def test_a_steady_machine_is_seldom_taken_for_a_changed_one() -> None:
    assert share_changed(8, jobs=60, seed=7, spread=0.2) <= 0.2


def test_one_job_that_went_wrong_is_no_change_and_moves_the_factor_little() -> None:
    steady = wrong_changed = 0
    for seed in range(12):
        jobs = np.random.default_rng(seed).normal(0.0, SCATTER, 50).tolist()
        right, wrong, worse = (learned_of(*jobs[:30], *more, *jobs[30:]) for more in ([], [math.log(10)], [math.log(1000)]))
        if right.changed is None:
            steady, wrong_changed = steady + 1, wrong_changed + (wrong.changed is not None)
        if wrong.changed == right.changed:
            assert wrong.ratio == pytest.approx(right.ratio, rel=0.025)
        assert worse.ratio == pytest.approx(wrong.ratio, rel=0.001), "beyond some distance it does not matter how far"
    assert steady >= 10
    assert wrong_changed <= 1


def test_few_jobs_move_little_and_many_move_all_the_way() -> None:
    one, many = learned_of(0.3), learned_of(*[0.3, 0.25, 0.35, 0.3] * 20)
    assert 1.0 < one.ratio < math.exp(0.3)
    assert not one.is_sure
    assert many.ratio == pytest.approx(math.exp(0.3), rel=0.02)
    assert many.is_sure
    assert many.error_after < many.error_before


@given(st.floats(-0.6, 0.6))
@settings(max_examples=12, deadline=None)
def test_more_jobs_at_one_ratio_never_move_the_factor_away_from_it(log_ratio: float) -> None:
    distances = [abs(math.log(learned_of(*[log_ratio] * jobs).ratio) - log_ratio) for jobs in (1, 2, 4, 5, 8, 20, 60)]
    assert all(after <= before + 1e-6 for before, after in pairwise([abs(log_ratio), *distances]))


@given(RATIOS, st.floats(0.01, 0.5))
@settings(max_examples=20, deadline=None)
def test_all_jobs_slower_by_one_factor_move_what_is_learned_that_way_and_no_further(log_ratios: list[float], more: float) -> None:
    before = learned_of(*log_ratios)
    after = learned_of(*(one + more for one in log_ratios))
    assert before.ratio < after.ratio


@given(RATIOS, st.randoms(use_true_random=False))
@settings(max_examples=20, deadline=None)
def test_the_order_in_which_jobs_are_given_does_not_matter(log_ratios: list[float], chance: object) -> None:
    jobs = jobs_of(log_ratios, jobs_a_day=4)
    mixed = list(jobs)
    chance.shuffle(mixed)  # type: ignore[attr-defined]
    assert learn({"a": mixed}) == learn({"a": jobs})


def test_which_of_the_jobs_of_one_day_came_first_does_not_matter() -> None:
    log_ratios = [*np.random.default_rng(2).normal(0.0, SCATTER, 24), *np.random.default_rng(3).normal(0.3, SCATTER, 16)]
    turned = [one for day in range(10) for one in reversed(log_ratios[4 * day : 4 * day + 4])]
    one, other = (learn({"a": jobs_of(each, jobs_a_day=4)})["a"] for each in (log_ratios, turned))
    assert one.changed is not None
    assert one.changed == other.changed
    assert (one.ratio, one.low, one.high) == pytest.approx((other.ratio, other.low, other.high), rel=1e-9)


def test_a_class_of_few_jobs_is_drawn_towards_its_factor_and_one_of_many_stands_by_itself() -> None:
    draw = np.random.default_rng(4)
    usual = jobs_of(draw.normal(0.0, SCATTER, 60).tolist(), cell="HG3")
    few = jobs_of([0.3, 0.3], cell="HG5", first=60)
    many = jobs_of(draw.normal(0.3, SCATTER, 60).tolist(), cell="HG6", first=62)
    of_cell = {each.cell[0]: each for each in learn({"a": sorted([*usual, *few, *many])})["a"].cells}
    assert of_cell["HG3"].ratio == pytest.approx(1.0, abs=0.07)
    assert of_cell["HG6"].ratio == pytest.approx(math.exp(0.3), abs=0.1)
    assert of_cell["HG3"].ratio < of_cell["HG5"].ratio < math.exp(0.31)
    assert of_cell["HG5"].high - of_cell["HG5"].low > of_cell["HG6"].high - of_cell["HG6"].low


def test_other_machines_that_are_off_let_one_of_few_jobs_move_further() -> None:
    alone = learned_of(0.2, 0.2, 0.2)
    others_true = {str(place): jobs_of([0.0, SCATTER, -SCATTER] * 8) for place in range(6)}
    others_off = {
        str(place): jobs_of([size, size + SCATTER, size - SCATTER] * 8)
        for place, size in enumerate((0.4, -0.4, 0.5, -0.5, 0.3, -0.3))
    }
    among_true, among_off = (learn({"a": jobs_of([0.2] * 3), **others})["a"] for others in (others_true, others_off))
    assert among_true.ratio < among_off.ratio
    assert among_true.ratio < alone.ratio


@pytest.mark.parametrize("actual_share", [1e-6, 1000.0])
def test_a_single_job_that_cannot_be_does_not_double_the_factor(actual_share: float) -> None:
    assert 0.5 <= learned_of(math.log(actual_share)).ratio <= 2.0


def test_ten_thousand_jobs_of_one_machine_say_it_to_a_per_cent() -> None:
    draw = np.random.default_rng(5)
    one = learn({"a": jobs_of(draw.normal(0.2, SCATTER, 10_000).tolist(), jobs_a_day=20)})["a"]
    assert one.ratio == pytest.approx(math.exp(0.2 + SCATTER**2 / 2), rel=0.01)
    assert one.high / one.low < 1.01


def test_where_values_lie_is_their_mean_while_none_is_far_off() -> None:
    values = np.array([0.1, -0.1, 0.05, 0.15])
    cells = cells_of(values, np.zeros(4, dtype=np.intp), 1, usual_scatter=1.0, usual_freedom=1000.0)
    assert cells.centres[0] == pytest.approx(values.mean())


def test_a_change_among_the_jobs_of_one_day_is_none() -> None:
    values = np.array([0.0] * 10 + [1.0] * 10)
    days = np.array([1] * 8 + [2] * 12)
    assert begins_of(values, days, usual_scatter=SCATTER, usual_freedom=10.0)[-1][0] in (0, 8)


def test_no_job_teaches_nothing() -> None:
    assert learn({}) == {} == learn({"a": []})
