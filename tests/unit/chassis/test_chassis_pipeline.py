"""The way of a traveller, with a fake store and a fake doorbell."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import httpx
import pytest
import redis
from pydantic import BaseModel

from services.chassis.pipeline import Stage, end_in_time, failure_of, hop, read_section, retry_wait_s, write_section
from services.chassis.rate_source import HttpRateSource, RatesUnavailable, RevisionNotFound
from services.chassis.travellers import Travellers
from shared_schemas.check import CheckReport, Finding, FirstOrder
from shared_schemas.pipeline import STATIONS, after
from shared_schemas.prescription import Element, Prescription, Surface
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import RateMissing
from shared_schemas.traveller import Job, Refusal

CHECKED = CheckReport(
    makeable="yes",
    first_order=FirstOrder(
        wavelength_nm=587.5618,
        focal_length_mm=100.0,
        back_focus_mm=99.0,
        front_focus_mm=-99.0,
        f_number=None,
        length_mm=5.0,
        entrance_pupil_diameter_mm=None,
    ),
    elements=(),
    findings=(),
)


def job() -> Job:
    face = Surface(radius_mm=None, clear_diameter_mm=10.0)
    plate = Element(name="W", glass="N-BK7", diameter_mm=12.0, centre_thickness_mm=2.0, front=face, back=face)
    request = QuoteRequest(prescription=Prescription(title="A window", elements=(plate,)), quantities=(5,))
    return Job(number="Q-2026-000001", attempt=1, request=request, rate_revision=1, quoted_on=date(2026, 11, 2))


class FakeTravellers(Travellers):
    """Travellers in a dictionary."""

    def __init__(self) -> None:
        self.sections: dict[tuple[str, int], dict[str, bytes]] = {}

    def start(self, number: str, attempt: int, job: bytes) -> None:
        self.stamp(number, attempt, {"job": job})

    def read(self, number: str, attempt: int, sections: Iterable[str]) -> dict[str, bytes]:
        found = self.sections.get((number, attempt), {})
        return {name: found[name] for name in sections if name in found}

    def stamp(self, number: str, attempt: int, sections: Mapping[str, bytes]) -> None:
        self.sections.setdefault((number, attempt), {}).update(sections)

    def stamped(self, number: str, attempt: int) -> frozenset[str]:
        return frozenset(self.sections.get((number, attempt), {}))

    def discard(self, number: str, attempt: int) -> None:
        self.sections.pop((number, attempt), None)


class FakeRates:
    """A revision that nobody looks into."""

    rates = None

    def revision(self, number: int) -> Any:
        return self


@dataclass
class FakeResources:
    """As much of the resources as a hop uses."""

    travellers: FakeTravellers = field(default_factory=FakeTravellers)
    rates: Any = field(default_factory=FakeRates)
    rung: list[tuple[str, str, str, int, str]] = field(default_factory=list)

    def send(self, task: str, queue: str, number: str, attempt: int, trace: str) -> None:
        self.rung.append((task, queue, number, attempt, trace))


@pytest.fixture
def box() -> FakeResources:
    started = FakeResources()
    started.travellers.start("Q-2026-000001", 1, write_section(job()))
    return started


def stage(run: Any) -> Stage:
    return Stage(task="prescription.check", reads=("job",), run=run)


def go(what: Stage, box: Any, *, large: bool = False) -> None:
    hop(what, "Q-2026-000001", 1, "trace", box, large=large)


def test_a_hop_stamps_its_section_and_rings_the_next_doorbell(box: FakeResources) -> None:
    go(stage(lambda job, rates: CHECKED), box)
    assert read_section("check", box.travellers.sections["Q-2026-000001", 1]["check"]) == CHECKED
    assert box.rung == [("glass.plan_blanks", "glass", "Q-2026-000001", 1, "trace")]


def test_a_hop_that_runs_twice_works_out_its_section_once_and_rings_again(box: FakeResources) -> None:
    runs = []

    def once(job: Job, rates: Any) -> CheckReport:
        runs.append(job.number)
        return CHECKED

    go(stage(once), box)
    go(stage(once), box)
    assert runs == ["Q-2026-000001"]
    assert len(box.rung) == 2


def test_a_refusal_goes_straight_to_the_last_station(box: FakeResources) -> None:
    reason = Finding(code="knife_edge", severity="stop", pointer="/elements/0", message="The edge is gone.")
    go(stage(lambda job, rates: Refusal(stage="prescription", reasons=(reason,))), box)
    assert box.travellers.stamped("Q-2026-000001", 1) == {"job", "refusal"}
    assert [call[0] for call in box.rung] == ["quoting.assemble"]


def test_a_missing_rate_row_is_a_failure_that_names_the_row(box: FakeResources) -> None:
    def run(job: Job, rates: Any) -> BaseModel:
        raise RateMissing("polishing", "N-BK7")

    go(stage(run), box)
    failure = read_section("failure", box.travellers.sections["Q-2026-000001", 1]["failure"])
    assert "polishing has no row for N-BK7" in failure.problem.detail
    assert failure.problem.errors[0].pointer == "/polishing"
    assert [call[0] for call in box.rung] == ["quoting.assemble"]


def test_a_fault_of_the_program_is_a_failure_that_tells_the_caller_nothing_of_its_inside(box: FakeResources) -> None:
    def run(job: Job, rates: Any) -> BaseModel:
        raise ZeroDivisionError("secret inside")

    go(stage(run), box)
    failure = read_section("failure", box.travellers.sections["Q-2026-000001", 1]["failure"])
    assert "secret inside" not in failure.problem.detail
    assert "secret inside" in failure.traceback


@pytest.mark.parametrize("fault", [redis.ConnectionError("gone"), httpx.ConnectError("gone"), RatesUnavailable("gone")])
def test_a_transport_fault_is_left_to_the_queue_to_retry(box: FakeResources, fault: Exception) -> None:
    def run(job: Job, rates: Any) -> BaseModel:
        raise fault

    with pytest.raises(type(fault)):
        go(stage(run), box)
    assert box.rung == []
    assert box.travellers.stamped("Q-2026-000001", 1) == {"job"}


@pytest.mark.parametrize(("large", "queue"), [(False, "quoting"), (True, "large")])
def test_the_verdict_on_a_stage_that_took_too_long_goes_to_the_last_station(box: FakeResources, *, large: bool, queue: str) -> None:
    end_in_time("glass", "Q-2026-000001", 1, "trace", box, limit_s=25, large=large)  # type: ignore[arg-type]
    failure = read_section("failure", box.travellers.sections["Q-2026-000001", 1]["failure"])
    assert (failure.problem.type, failure.problem.status) == ("/problems#too-much-work", 422)
    assert "ended after 25 s" in failure.problem.detail
    assert [call[:2] for call in box.rung] == [("quoting.assemble", queue)]


def test_much_work_stays_in_the_queue_of_its_kind(box: FakeResources) -> None:
    go(stage(lambda job, rates: CHECKED), box, large=True)
    assert [call[:2] for call in box.rung] == [("glass.plan_blanks", "large")]


def test_a_traveller_that_is_gone_is_left_to_the_sweeper() -> None:
    box = FakeResources()
    go(stage(lambda job, rates: CHECKED), box)
    assert box.rung == []


def test_a_stage_that_misses_a_section_names_it(box: FakeResources) -> None:
    what = Stage(task="glass.plan_blanks", reads=("job", "check"), run=lambda job, check, rates: CHECKED)
    go(what, box)
    failure = read_section("failure", box.travellers.sections["Q-2026-000001", 1]["failure"])
    assert "came to glass without its section check" in failure.problem.detail


@pytest.mark.parametrize(("retries", "wait_s"), [(0, 1), (1, 2), (2, 4), (3, 8), (4, 16), (5, 20), (50, 20)])
def test_waits_between_retries_grow_to_a_limit(retries: int, wait_s: float) -> None:
    assert retry_wait_s(retries) == wait_s


def test_stations_lead_from_one_to_the_next_and_end() -> None:
    assert [after(station.section).service for station in STATIONS[:-1]] == ["glass", "process", "quoting"]
    with pytest.raises(LookupError, match="quote"):
        after("quote")


def test_a_stage_without_a_station_is_an_error() -> None:
    with pytest.raises(LookupError, match="coffee"):
        _ = Stage(task="make.coffee", reads=(), run=lambda rates: CHECKED).station


def test_a_failure_keeps_no_character_that_a_database_refuses() -> None:
    assert "\x00" not in failure_of("glass", ValueError("a\x00b")).traceback


def test_a_revision_that_does_not_exist_is_told_apart_from_a_service_that_does_not_answer() -> None:
    answers = {"/v1/rates/revisions/7": 404, "/v1/rates/revisions/8": 503}
    transport = httpx.MockTransport(lambda request: httpx.Response(answers[request.url.path]))
    source = HttpRateSource("http://rates", "key", transport=transport)
    with pytest.raises(RevisionNotFound, match="7"):
        source.revision(7)
    with pytest.raises(RatesUnavailable, match="503"):
        source.revision(8)
