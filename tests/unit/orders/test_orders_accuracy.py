"""Quoted against actual: figures by hand, laws that must hold of any jobs, and charts that read in black and white."""

from __future__ import annotations

import random
import statistics
import time
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import get_args
from xml.etree import ElementTree

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from services.orders.accuracy import accuracy_csv
from services.orders.domain.accuracy import JobFigures, Pair, figures_of, groups_of, measured, shown
from services.orders.domain.accuracy_chart import job_chart, ratio_chart
from shared_schemas.accuracy import FEWEST_JOBS, GROUPINGS, MEASURES, MOST_GROUPS, Accuracy, AccuracyGroup, GroupedBy
from shared_schemas.actuals import Actual
from shared_schemas.load import AcceptedOrder, OrderMaterial, OrderOperation, QuotedOutcome

ACCEPTED = datetime(2026, 11, 2, 12, tzinfo=UTC)
MONDAY = ACCEPTED.date()
DAY = timedelta(days=1)


def planned(**changes: object) -> AcceptedOrder:
    """Ten lenses: ten hours of generating that cost 800, twenty of polishing that cost 1 200, glass for 300; in 20 days, 25 at eight in ten."""
    made = AcceptedOrder(
        quote_number="Q-2026-000001", revision=1, quantity=10, customer="Tarn & Fell", accepted_at=ACCEPTED, currency="EUR",
        quoted_ship_date=MONDAY + 30 * DAY, ship_date=MONDAY + 30 * DAY,
        quoted=QuotedOutcome(unit_cost_p80=Decimal("245.00"), p50_days=20, p80_days=25),
        materials=(OrderMaterial(id="slab", item="N-BK7 slab", cost=Decimal("300.00")),),
        operations=(
            OrderOperation(id="L1-generate", sequence=1, part="L1", operation="generate", work_centre="curve generator", hours=10.0, begins=MONDAY,
                           ends=MONDAY + 4 * DAY, setup_min=60.0, run_min=540.0, pieces=20, cost=Decimal("800.00"), yield_share=0.9),
            OrderOperation(id="L1-polish", sequence=2, part="L1", operation="polish", work_centre="polishing spindles", hours=20.0, begins=MONDAY + 4 * DAY,
                           ends=MONDAY + 10 * DAY, setup_min=60.0, run_min=1140.0, pieces=18, cost=Decimal("1200.00"), yield_share=0.8),
        ),
    )  # fmt: skip
    return made.model_copy(update=changes)


def done(name: str, minutes: float, day: date, *, started: int | None = None, good: int | None = None) -> Actual:
    finished = datetime(day.year, day.month, day.day, 15, tzinfo=UTC)
    return Actual(operation=name, run_min=minutes, started=started, good=good, finished_at=finished)


def all_done() -> dict[str, Actual]:
    """Twelve hours instead of ten and eighteen instead of twenty, done after 5 and 22 days."""
    return {
        "L1-generate": done("L1-generate", 720.0, MONDAY + 5 * DAY, started=20, good=19),
        "L1-polish": done("L1-polish", 1080.0, MONDAY + 22 * DAY, started=18, good=12),
    }


def test_a_finished_job_is_held_against_its_quote_by_hours_cost_yield_and_days() -> None:
    job = figures_of(planned(), all_done(), completed_on=None)
    assert job is not None
    assert (job.finished_on, job.customer) == (MONDAY + 22 * DAY, "Tarn & Fell")
    assert job.job["hours"] == Pair(30.0, 30.0)
    # 800 x 12 / 10 + 1 200 x 18 / 20; with the glass as quoted 2 340, which is within 2 450.
    assert job.job["cost"] == Pair(2000.0, 2040.0, True)
    # (20 x 0.9 + 18 x 0.8) / 38 and (19 + 12) / 38
    assert job.job["yield"] == Pair(round(32.4 / 38, 6), round(31 / 38, 6))
    assert job.job["days"] == Pair(20.0, 22.0, True)
    assert job.operations["generate"] == {
        "hours": Pair(10.0, 12.0),
        "cost": Pair(800.0, 960.0),
        "yield": Pair(0.9, 0.95),
        "days": Pair(4.0, 5.0),
    }
    assert job.work_centres["polishing spindles"]["days"] == Pair(10.0, 22.0)


def test_the_price_paid_for_glass_counts_and_may_bring_a_job_beyond_what_eight_in_ten_keep() -> None:
    glass = {"slab": Actual(operation="slab", price_paid=Decimal("420.00"))}
    job = figures_of(planned(), all_done() | glass, completed_on=None)
    assert job is not None
    assert job.job["cost"] == Pair(2300.0, 2460.0, False)


def test_a_job_of_which_an_operation_tells_no_cost_is_neither_inside_nor_outside() -> None:
    silent = all_done() | {"L1-polish": Actual(operation="L1-polish", finished_at=datetime(2026, 11, 24, 15, tzinfo=UTC))}
    job = figures_of(planned(), silent, completed_on=None)
    assert job is not None
    assert job.job["cost"] == Pair(800.0, 960.0, None)
    assert job.job["hours"] == Pair(10.0, 12.0)


def test_a_job_is_finished_when_all_is_done_or_when_the_order_was_told_completed() -> None:
    begun = {"L1-generate": all_done()["L1-generate"]}
    assert figures_of(planned(), begun, completed_on=None) is None
    assert figures_of(planned(), {}, completed_on=None) is None
    told = figures_of(planned(), begun, completed_on=MONDAY + 40 * DAY)
    assert told is not None
    assert (told.finished_on, told.job["days"]) == (MONDAY + 40 * DAY, Pair(20.0, 40.0, False))


def test_an_order_of_before_quotes_told_their_days_and_yields_has_hours_and_costs_alone() -> None:
    plain = planned(quoted=None, materials=())
    old = plain.model_copy(update={"operations": tuple(one.model_copy(update={"yield_share": None}) for one in plain.operations)})
    job = figures_of(old, all_done(), completed_on=None)
    assert job is not None
    assert {measure: pair.inside_p80 for measure, pair in job.job.items()} == {"hours": None, "cost": None}


def test_five_jobs_by_hand() -> None:
    ratios = (0.8, 1.0, 1.0, 1.25, 2.0)
    found = measured("hours", [Pair(10.0, 10 * ratio, ratio <= 1.0) for ratio in ratios])
    # errors: |10 - 8| / 8, 0, 0, |10 - 12.5| / 12.5, |10 - 20| / 20
    assert found.mape_percent == pytest.approx(100 * (0.25 + 0.2 + 0.5) / 5)
    assert (found.ratio_p25, found.median_ratio, found.ratio_p75) == (1.0, 1.0, 1.25)
    assert found.inside_p80 is not None
    assert (found.inside_p80.jobs, found.inside_p80.share) == (5, 0.6)
    assert found.inside_p80.low < 0.6 < found.inside_p80.high


def test_of_few_jobs_it_says_so_and_gives_no_figure() -> None:
    found = measured("cost", [Pair(1.0, 2.0, True)] * (FEWEST_JOBS - 1))
    assert (found.jobs, found.mape_percent, found.median_ratio, found.inside_p80) == (4, None, None, None)
    assert found.remark == "only 4 jobs tell it; figures are given from 5 on"
    assert measured("cost", []).remark.startswith("no job tells it")


QUICK = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
figures = st.floats(min_value=0.01, max_value=1e6)
some_pairs = st.lists(st.builds(Pair, figures, figures, st.sampled_from([True, False, None])), min_size=FEWEST_JOBS, max_size=40)


@QUICK
@given(pairs=some_pairs, quoted=figures)
def test_one_more_job_that_came_as_quoted_never_worsens_the_error(pairs: list[Pair], quoted: float) -> None:
    before, after = measured("hours", pairs), measured("hours", [*pairs, Pair(quoted, quoted)])
    assert before.mape_percent is not None
    assert after.mape_percent is not None
    assert after.mape_percent <= before.mape_percent


@QUICK
@given(pairs=some_pairs, seed=st.integers(0, 1000))
def test_the_order_of_jobs_never_matters(pairs: list[Pair], seed: int) -> None:
    mixed = random.Random(seed).sample(pairs, len(pairs))
    assert measured("days", mixed) == measured("days", pairs)


@QUICK
@given(pairs=some_pairs)
def test_the_figures_are_those_of_the_standard_library(pairs: list[Pair]) -> None:
    found, ratios = measured("cost", pairs), [one.actual / one.quoted for one in pairs]
    p25, median, p75 = statistics.quantiles(ratios, n=4, method="inclusive")
    assert [found.ratio_p25, found.median_ratio, found.ratio_p75] == pytest.approx([p25, median, p75], abs=1e-4, rel=1e-9)
    error = statistics.fmean(abs(one.quoted - one.actual) / one.actual for one in pairs)
    assert found.mape_percent == pytest.approx(100 * error, abs=0.01, rel=1e-9)


def job(place: int) -> JobFigures:
    return JobFigures(
        finished_on=MONDAY + (place % 90) * DAY, customer=f"customer {place % 7}",
        job={"hours": Pair(10.0, 8.0 + place % 5), "days": Pair(20.0, 15.0 + place % 11, place % 11 < 8)},
        operations={f"operation {one}": {"hours": Pair(1.0, 1.0 + one / 10)} for one in range(15)},
        work_centres={f"centre {one}": {"hours": Pair(1.0, 1.0)} for one in range(10)},
    )  # fmt: skip


def test_jobs_are_put_together_by_month_customer_operation_and_work_centre() -> None:
    whole, groups = groups_of([job(place) for place in range(70)])
    assert whole.jobs == 70
    assert [one.name for one in groups["month"]] == ["2026-11", "2026-12", "2027-01"]
    assert [(one.name, one.jobs) for one in groups["customer"]] == [(f"customer {place}", 10) for place in range(7)]
    assert {one.name for one in groups["operation"]} == {f"operation {place}" for place in range(15)}
    assert sum(one.jobs for one in groups["month"]) == 70


def test_of_hundreds_of_customers_those_of_most_jobs_are_given() -> None:
    jobs = [job(0).model_copy(update={"customer": f"customer {place % 200:03d}"}) for place in range(301)]
    _, groups = groups_of(jobs)
    given_customers = shown("customer", groups["customer"])
    assert len(given_customers) == MOST_GROUPS
    assert given_customers[0].jobs == 2


def test_ten_times_the_jobs_take_about_ten_times_as_long() -> None:
    def took_s(count: int) -> float:
        jobs = [job(place) for place in range(count)]
        begin = time.process_time()
        groups_of(jobs)
        return time.process_time() - begin

    assert took_s(3000) < 40 * max(took_s(300), 0.002)


def drawn(kind: GroupedBy, groups: Sequence[AccuracyGroup]) -> ElementTree.Element:
    return ElementTree.fromstring(ratio_chart(kind, "hours", groups))


SVG = "{http://www.w3.org/2000/svg}"


def test_a_chart_has_a_title_a_description_and_axes_with_units_and_no_colour_says_anything() -> None:
    _, groups = groups_of([job(place).model_copy(update={"customer": "<Tarn> & Fell"}) for place in range(70)])
    for kind in GROUPINGS:
        tree = drawn(kind, groups[kind])
        texts = [one.text or "" for one in tree.iter(f"{SVG}text")]
        assert tree.get("role") == "img"
        assert tree.findtext(f"{SVG}title")
        assert "median" in (tree.findtext(f"{SVG}desc") or "")
        assert any("actual over quoted hours (ratio" in one for one in texts)
        colours = {one.get(name) for one in tree.iter() for name in ("fill", "stroke")} - {None, "none"}
        assert all(colour[1:3] in colour[3:] or _is_grey(colour) for colour in colours if colour), colours
    assert any("<Tarn> & Fell" in (one.text or "") for one in drawn("customer", groups["customer"]).iter(f"{SVG}text"))


def _is_grey(colour: str) -> bool:
    parts = [int(colour[place : place + 2], 16) for place in (1, 3, 5)] if len(colour) == 7 else [0]
    return max(parts) - min(parts) <= 26


def test_the_chart_of_jobs_has_a_ring_for_each_within_its_axes() -> None:
    tree = ElementTree.fromstring(job_chart("hours", [Pair(3.0, 4.0), Pair(40.0, 35.0), Pair(700.0, 900.0)]))
    rings = list(tree.iter(f"{SVG}circle"))
    assert len(rings) == 3
    assert all(90 <= float(one.attrib["cx"]) <= 510 and 46 <= float(one.attrib["cy"]) <= 466 for one in rings)
    texts = [one.text for one in tree.iter(f"{SVG}text")]
    assert "quoted hours [h]" in texts
    assert "actual hours [h]" in texts
    assert {"2", "1,000"} <= set(texts)


def test_a_chart_of_nothing_is_still_a_chart() -> None:
    assert len(list(ElementTree.fromstring(job_chart("cost", [])).iter(f"{SVG}circle"))) == 0
    assert "nothing to show yet" in ratio_chart("month", "hours", [])


def test_the_table_has_a_line_for_each_measure_of_each_group_and_a_name_is_no_formula() -> None:
    whole, groups = groups_of([job(place).model_copy(update={"customer": "=cmd()"}) for place in range(10)])
    report = Accuracy(
        jobs=10, unfinished=0, cancelled=0, unreported=0, unread=0, method="", whole=whole, left_out={},
        **{f"by_{kind}": groups[kind] for kind in GROUPINGS},
    )  # fmt: skip
    lines = accuracy_csv(report).splitlines()
    assert lines[0].startswith("by,name,measure,jobs,mape_percent")
    assert len(lines) == 1 + len(MEASURES) * (1 + sum(len(one) for one in groups.values()))
    assert any(line.startswith("customer,'=cmd(),hours,10,") for line in lines)
    assert set(get_args(GroupedBy)) == {line.split(",")[0] for line in lines[1:]} - {"all"}
