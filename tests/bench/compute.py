"""How long the parts of the main job take in this process. The unit is the validation of the same prescription from JSON."""

from __future__ import annotations

import gc
import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import partial

from services.glass.domain.buying.groups import forget_lots
from services.glass.domain.plan import plan_blanks
from services.prescription.domain.check import check, check_prescription
from services.prescription.domain.typo_repair import typo_repair
from services.process.domain.plan import forget_elements, plan_operations
from services.quoting.pricing.evaluation import evaluate
from services.quoting.pricing.quote import assemble, plans_for
from services.quoting.promise.lead_time import shop_of
from services.rates.domain.seed import seed_rates
from services.shop.layout.discs_in_plate import forget_plates
from services.shop.layout.lenses_on_block import forget_layouts as forget_block_layouts
from services.shop.layout.lenses_on_block import layout_of
from shared_schemas.load import CentreLoad, LoadSnapshot, OrderLoad
from shared_schemas.prescription import Prescription
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job, Refusal
from tests.bench.lenses import TRIPLET_INDICES, chain_of_lenses, triplet_with_a_slip
from tests.bench.plates import plates_to_lay
from tests.chain import sections_of

RUNS = 25


@dataclass(frozen=True)
class Row:
    """One line of the table: medians in milliseconds, and the ratio to the unit of the same size."""

    name: str
    median_ms: float
    worst_ms: float
    ratio: float


def medians(work: Callable[[], object], *, runs: int = RUNS) -> tuple[float, float]:
    """Median and worst of some runs after two to warm up [ms]."""
    for _ in range(2):
        work()
    gc.collect()
    times = []
    for _ in range(runs):
        began = time.perf_counter()
        work()
        times.append((time.perf_counter() - began) * 1000)
    return statistics.median(times), max(times)


def prescription_rows() -> list[Row]:
    """Checks of 10, 20 and 40 surfaces."""
    rates = seed_rates()
    rows = []
    for elements in (5, 10, 20):
        lens = chain_of_lenses(elements)
        document = lens.model_dump_json()
        unit, worst_unit = medians(lambda document=document: Prescription.model_validate_json(document))
        median, worst = medians(lambda lens=lens: check_prescription(lens, rates))
        rows.append(Row(f"validate a prescription of {2 * elements} surfaces (unit)", unit, worst_unit, 1.0))
        rows.append(Row(f"check a prescription of {2 * elements} surfaces", median, worst, median / unit))
    return rows


def quoting_rows() -> list[Row]:
    """Quotes of 7 and 14 elements at six quantities, ten thousand draws each; the unit is the validation of the prescription."""
    rates = seed_rates()
    rows = []
    for elements in (7, 14):
        lens = chain_of_lenses(elements)
        document = lens.model_dump_json()
        unit, _ = medians(lambda document=document: Prescription.model_validate_json(document))
        job = job_of(lens)
        report, blanks, operations = sections_of(job.request, rates)
        ask = partial(assemble, job=job, check=report, blanks=blanks, operations=operations, rates=rates, rate_digest="bench")
        median, worst = medians(ask)
        rows.append(Row(f"assemble {elements} elements at six quantities", median, worst, median / unit))
    return rows


def date_rows() -> list[Row]:
    """Dates of 14 elements at six quantities, all draws, without a book and with one; the unit is their costs and prices in the same run."""
    rates, job = seed_rates(), job_of(chain_of_lenses(14))
    _, blanks, operations = sections_of(job.request, rates)
    plans = plans_for(job, blanks, operations, rates)
    evaluations = [evaluate(plans, quantity=quantity) for quantity in job.request.quantities]
    for evaluation in evaluations:
        _ = evaluation.shortfalls  # drawn with the losses that the cost hangs on

    def dates(load: LoadSnapshot | None) -> object:
        shop = shop_of(rates, begin=plans.begin, load=load, orders=plans.orders)
        return [evaluation.scheduled(shop, evaluation.materials).lead_time for evaluation in evaluations]

    def costs() -> object:
        fresh = plans_for(job, blanks, operations, rates)
        return [evaluate(fresh, quantity=quantity) for quantity in job.request.quantities]

    unit, worst_unit = medians(costs)
    measured = {
        "date 14 elements at six quantities": medians(lambda: dates(None)),
        "date them by a book of a quarter": medians(lambda: dates(quarter_booked(rates))),
    }
    return [
        Row("cost 14 elements at six quantities (unit)", unit, worst_unit, 1.0),
        *(Row(name, median, worst, median / unit) for name, (median, worst) in measured.items()),
    ]


def quarter_booked(rates: Rates) -> LoadSnapshot:
    """A book in which every work centre is taken for half its hours in this week, and less and less over a quarter."""
    loads = tuple(
        CentreLoad(work_centre=row.name, booked_h=tuple(20.0 * row.stations * (13 - week) / 13 for week in range(13)))
        for row in rates.work_centres
    )
    order = OrderLoad(order="Q-1", source="accepted", work_centres=loads)
    return LoadSnapshot(
        number=1, digest="-", made_at=datetime(2026, 11, 2, tzinfo=UTC), first_week=date(2026, 11, 2), orders=(order,)
    )


def glass_rows(unit: float) -> list[Row]:
    """The blank plan of 14 elements at six quantities: nothing known yet, layouts known, everything known."""
    rates = seed_rates()
    job = job_of(chain_of_lenses(14))
    report = check(job=job, rates=rates)
    assert not isinstance(report, Refusal)
    plan = partial(plan_blanks, job=job, check=report, rates=rates)

    def forgetting(*forget: Callable[[], None]) -> Callable[[], object]:
        def work() -> object:
            for one in forget:
                one()
            return plan()

        return work

    measured = {
        "plan blanks of 14 elements, nothing known": medians(forgetting(forget_plates, forget_lots)),
        "plan blanks of 14 elements, layouts known": medians(forgetting(forget_lots)),
        "plan blanks of 14 elements, layouts and lots known": medians(plan),
    }
    return [Row(name, median, worst, median / unit) for name, (median, worst) in measured.items()]


def process_rows(unit: float) -> list[Row]:
    """The plan of operations of 14 elements: nothing known yet, layouts of blocks known, elements known from an earlier quote."""
    rates = seed_rates()
    job = job_of(chain_of_lenses(14))
    report = check(job=job, rates=rates)
    assert not isinstance(report, Refusal)
    blanks = plan_blanks(job=job, check=report, rates=rates)
    assert not isinstance(blanks, Refusal)
    plan = partial(plan_operations, job=job, check=report, blanks=blanks, rates=rates)

    def new() -> object:
        forget_block_layouts()
        return new_elements()

    def new_elements() -> object:
        forget_elements()
        return plan()

    measured = {
        "plan operations of 14 elements, nothing known": medians(new),
        "plan operations of 14 elements, layouts known": medians(new_elements),
        "plan operations of 14 elements, elements known": medians(plan),
    }
    return [Row(name, median, worst, median / unit) for name, (median, worst) in measured.items()]


def typo_repair_rows(unit: float) -> list[Row]:
    """What would repair a triplet with the sign of one radius wrong."""
    lens = triplet_with_a_slip()
    median, worst = medians(lambda: typo_repair(lens, TRIPLET_INDICES))
    return [Row("find what repairs a triplet", median, worst, median / unit)]


def block_rows(unit: float) -> list[Row]:
    """The layout of about 200 lenses on a block: nothing known yet, a longer search for more, and known; the unit is that of the smallest prescription."""

    def lay(*, tries: int, known: bool) -> Callable[[], object]:
        def work() -> object:
            if not known:
                forget_block_layouts()
            return layout_of(radius_ratio=8.0, half_angle_deg=61.5, tries=tries)

        return work

    def lay_flat(*, width_ratio: float, known: bool) -> Callable[[], object]:
        def work() -> object:
            if not known:
                forget_block_layouts()
            return layout_of(radius_ratio=None, width_ratio=width_ratio)

        return work

    measured = {
        "lay a block of about 200 lenses, nothing known": medians(lay(tries=1, known=False)),
        "lay a block of about 200 lenses, longer search": medians(lay(tries=2, known=False), runs=5),
        "lay a block of about 200 lenses, known": medians(lay(tries=1, known=True)),
        "lay a flat block of 118 lenses, nothing known": medians(lay_flat(width_ratio=12.0, known=False)),
        "lay a flat block of about 200 lenses, nothing known": medians(lay_flat(width_ratio=15.7, known=False)),
        "lay a flat block of about 200 lenses, known": medians(lay_flat(width_ratio=15.7, known=True)),
    }
    return [Row(name, median, worst, median / unit) for name, (median, worst) in measured.items()]


def plate_rows(unit: float) -> list[Row]:
    """Layouts of one plate; the unit is that of the smallest prescription."""
    measured = {name: medians(work) for name, work in plates_to_lay().items()}
    return [Row(name, median, worst, median / unit) for name, (median, worst) in measured.items()]


def job_of(lens: Prescription) -> Job:
    """The head of a traveller for a lens at six quantities."""
    request = QuoteRequest(prescription=lens, quantities=(1, 5, 25, 100, 250, 500))
    return Job(number="Q", attempt=1, request=request, rate_revision=1, quoted_on=date(2026, 11, 2))


def print_table() -> None:
    """Measure and print."""
    rows = [*prescription_rows(), *quoting_rows()]
    unit = rows[0].median_ms
    rows += [*date_rows(), *glass_rows(unit), *plate_rows(unit), *block_rows(unit), *process_rows(unit), *typo_repair_rows(unit)]
    print(f"In this process, medians of {RUNS} runs")
    print(f"{'what':<56}{'median ms':>10}{'worst ms':>10}{'ratio':>8}")
    for row in rows:
        print(f"{row.name:<56}{row.median_ms:>10.2f}{row.worst_ms:>10.2f}{row.ratio:>8.1f}")
    checks = {row.name: row.median_ms for row in rows}
    growth = checks["check a prescription of 40 surfaces"] / checks["check a prescription of 10 surfaces"]
    print(f"four times the surfaces take {growth:.1f} times as long to check")
    more = checks["lay a plate of about 5000 discs, new"] / checks["lay a plate of about 500 discs, new"]
    print(f"ten times the discs take {more:.1f} times as long to lay")
