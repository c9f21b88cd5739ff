"""The way of a traveller through the queues: each stage reads its sections, stamps its own and sends the number on.

A stage is a pure function of sections and rates. Its answer is a section, or a `Refusal`, which goes straight to the
last station. A transport fault is tried again a few times with growing waits and then left to the sweeper, which starts
the quote again; any other fault is stamped as a `Failure` and goes to the last station too, so that a quote always
learns what became of it.
"""

from __future__ import annotations

import logging
import traceback as tracebacks
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Protocol, cast

import httpx
import redis
from celery.exceptions import SoftTimeLimitExceeded
from kombu.exceptions import OperationalError as BrokerError
from pydantic import BaseModel, TypeAdapter
from sqlalchemy.exc import DBAPIError, OperationalError

from services.chassis.load_source import LoadUnavailable
from services.chassis.problems import PROBLEM_TYPES, problem_type
from services.chassis.rate_source import RatesUnavailable
from services.chassis.resources import Resources
from shared_schemas.pipeline import LAST, STATIONS, Station, after, queue_of
from shared_schemas.problem import Explained, Problem
from shared_schemas.traveller import Failure, Job, Refusal, Traveller

log = logging.getLogger(__name__)


class StageStarved(Exception):
    """A stage came to its time limit with little done: the machine was busy with other things, and it may be less so a moment later."""


TRANSPORT_FAULTS: tuple[type[BaseException], ...] = (
    redis.RedisError,
    httpx.TransportError,
    BrokerError,
    OperationalError,
    DBAPIError,
    RatesUnavailable,
    LoadUnavailable,
    ConnectionError,
    StageStarved,
)
"""Faults of the ways between the parts: the same work may succeed a moment later."""

MOST_RETRIES = 3

LAST_FAULT = "last_fault"
"""Field of a traveller beside its sections: the transport fault that its last try at a station ended in."""


def retry_wait_s(retries: int) -> float:
    """Seconds before try number `retries` + 1: 1, 2, 4 … at most 20."""
    return float(min(2**retries, 20))


@dataclass(frozen=True)
class Stage:
    """One station's work: `run(**sections, rates=…)` gives the section that the station stamps, or a refusal."""

    task: str
    reads: tuple[str, ...]
    run: Callable[..., BaseModel]

    @property
    def station(self) -> Station:
        """Where this stage stands; raises `LookupError` for a task that the table of stations does not have."""
        for station in STATIONS:
            if station.task == self.task:
                return station
        raise LookupError(f"no station has the task {self.task}")


class Terminus(Protocol):
    """The last station: it takes the traveller out and records what became of the quote."""

    task: str

    def arrive(self, number: str, attempt: int, resources: Resources) -> str: ...


_READERS: dict[str, TypeAdapter[Any]] = {
    name: TypeAdapter(cast(Any, field.annotation)) for name, field in Traveller.model_fields.items()
}


def read_section(name: str, document: bytes) -> Any:
    """A section parsed and validated."""
    return _READERS[name].validate_json(document)


def write_section(section: BaseModel) -> bytes:
    """A section as it lies in the traveller."""
    return section.model_dump_json().encode()


def hop(stage: Stage, number: str, attempt: int, trace: str, resources: Resources, *, large: bool = False) -> str:
    """Do one stage of one traveller and send it on; a word for how it went. May run twice: what is stamped already is not worked out again.

    A `large` traveller stays in the queue of its kind.
    """
    here = stage.station
    stamped = resources.travellers.read(number, attempt, (*stage.reads, here.section))
    if "job" not in stamped:
        log.warning("traveller is gone", extra={"number": number, "attempt": attempt, "stage": here.service})
        return "gone"
    word = "stamped_before"
    if here.section not in stamped:
        outcome = _outcome(stage, stamped, resources)
        resources.travellers.stamp(number, attempt, {_field(outcome, here): write_section(outcome)})
        if isinstance(outcome, (Refusal, Failure)):
            resources.send(LAST.task, queue_of(LAST, large=large), number, attempt, trace)
            return "refused" if isinstance(outcome, Refusal) else "failed"
        word = "stamped"
    following = after(here.section)
    resources.send(following.task, queue_of(following, large=large), number, attempt, trace)
    return word


def _outcome(stage: Stage, stamped: dict[str, bytes], resources: Resources) -> BaseModel:
    """The stage's section, its refusal, or the failure it ended in; raises transport faults and the end of its time only."""
    try:
        missing = [name for name in stage.reads if name not in stamped]
        if missing:
            raise SectionMissing(stage.station.service, missing)
        sections = {name: read_section(name, stamped[name]) for name in stage.reads}
        job: Job = sections["job"]
        return stage.run(**sections, rates=resources.rates.revision(job.rate_revision).rates)
    except (*TRANSPORT_FAULTS, SoftTimeLimitExceeded):
        raise
    except Exception as fault:
        return failure_of(stage.station.service, fault)


def _field(outcome: BaseModel, here: Station) -> str:
    return {Refusal: "refusal", Failure: "failure"}.get(type(outcome), here.section)


class SectionMissing(Explained):
    """A stage found a traveller without a section it needs."""

    def __init__(self, service: str, sections: list[str]) -> None:
        super().__init__(f"The traveller came to {service} without its section {' and '.join(sections)}.")


def failure_of(service: str, fault: BaseException) -> Failure:
    """What is kept of a fault: a problem that the caller may see, and the traceback for whoever mends it."""
    explained = isinstance(fault, Explained)
    slug = "too-much-work" if isinstance(fault, StageTookTooLong) else "stage-failed"
    detail = str(fault) if explained else f"The {service} stage broke on something unforeseen. An operator has the details."
    if isinstance(fault, TRANSPORT_FAULTS):
        detail = f"The {service} stage could not reach a part it needs, after {MOST_RETRIES + 1} tries."
    log.error("stage failed", exc_info=fault, extra={"stage": service})
    return Failure(
        stage=service,
        problem=Problem(
            type=problem_type(slug),
            title=f"The {service} stage took too long" if isinstance(fault, StageTookTooLong) else f"The {service} stage failed",
            status=PROBLEM_TYPES[slug][0],
            detail=detail,
            errors=fault.errors if isinstance(fault, Explained) else (),
        ),
        traceback="".join(tracebacks.format_exception(fault))[-8000:].replace("\x00", "?"),
    )


def leave(stage: Stage, number: str, attempt: int, resources: Resources, *, fault: BaseException) -> None:
    """After the last try of a transport fault: leave the traveller where it is, and beside it what the fault was.

    The sweeper starts the quote again; a quote that has used up its attempts fails, and its letter shows the fault.
    """
    log.warning("left to the sweeper", extra={"stage": stage.station.service, "why": str(fault)})
    with suppress(redis.RedisError):
        resources.travellers.stamp(number, attempt, {LAST_FAULT: failure_of(stage.station.service, fault).traceback.encode()})


class StageTookTooLong(Explained):
    """A stage was ended at its time limit. To do it again would take as long again, so this is what became of the quote."""

    def __init__(self, service: str, limit_s: float) -> None:
        super().__init__(
            f"The {service} stage was ended after {limit_s:g} s, the longest that a stage may take. Ask for fewer quantities at a time, "
            "or for parts of it by themselves."
        )


def end_in_time(stage: str, number: str, attempt: int, trace: str, resources: Resources, *, limit_s: float, large: bool) -> None:
    """After a stage that took too long: stamp the verdict and send the traveller to the last station, which records it."""
    failure = failure_of(stage, StageTookTooLong(stage, limit_s))
    resources.travellers.stamp(number, attempt, {"failure": write_section(failure)})
    resources.send(LAST.task, queue_of(LAST, large=large), number, attempt, trace)
