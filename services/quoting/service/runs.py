"""Runs through the queue: started, admitted by turns, settled, swept and given up on, whatever they are for.

A kind of run says where its runs lie, and what it makes of a quote.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import version

from services.chassis.pipeline import LAST_FAULT, TRANSPORT_FAULTS, write_section
from services.chassis.problems import problem
from services.chassis.resources import Resources
from services.chassis.settings import Settings
from services.chassis.version import VERSION
from services.quoting.store.blocks import digest_of
from services.quoting.store.bounds import Bounds
from services.quoting.store.impacts import IMPACT_RUNS
from services.quoting.store.repository import QUOTE_RUNS
from services.quoting.store.rows import DeadLetter, Outcome, Start
from services.quoting.store.runs import Runs, RunTable
from services.quoting.store.turns import admit_in_turn
from services.quoting.store.what_ifs import WHAT_IF_RUNS
from shared_schemas.pipeline import LAST, STATIONS, Station, queue_of
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.traveller import Failure, Job

log = logging.getLogger(__name__)

TABLES = (QUOTE_RUNS, IMPACT_RUNS, WHAT_IF_RUNS)
"""Where runs lie that share the workers."""

Conclusion = Callable[[str, Mapping[str, bytes], Resources], Outcome]


@dataclass(frozen=True)
class RunKind:
    """What is particular to runs of one kind."""

    table: RunTable
    conclude: Conclusion
    """What becomes of a run that no stage refused or failed, made of the sections of its traveller."""

    def runs(self, resources: Resources) -> Runs:
        """The runs of this kind as they are stored."""
        return Runs(resources.database, self.table)


def kind_of(number: str, kinds: Iterable[RunKind]) -> RunKind:
    """The kind of the run that a traveller of that number belongs to; raises `StopIteration` for a number of none."""
    return next(kind for kind in kinds if kind.table.numbers.fullmatch(number))


def bounds_of(settings: Settings) -> Bounds:
    """How much is accepted, by the settings."""
    return Bounds(
        first_check_s=settings.first_check_s,
        most_unfinished=settings.most_unfinished,
        most_of_key=settings.most_unfinished_of_key,
        most_at_once=settings.most_started_at_once,
    )


def begin(table: RunTable, begun: Start, *, now: datetime, resources: Resources) -> None:
    """Start a run that was just accepted, or whoever's turn it is before it."""
    if begun.waits:
        admit(now=now, resources=resources)
    else:
        start(table, begun, now=now, resources=resources)


def start(table: RunTable, begun: Start, *, now: datetime, resources: Resources) -> bool:
    """Put down the traveller and ring the first doorbell; whether that worked. If not, the sweeper tries again."""
    first = LAST if begun.concludes_at_once else STATIONS[0]
    try:
        resources.travellers.start(begun.number, begun.attempt, write_section(job_of(begun)))
        resources.send(first.task, queue_of(first, large=begun.large), begun.number, begun.attempt, begun.trace)
        Runs(resources.database, table).sent(begun.number, begun.attempt, now=now)
    except TRANSPORT_FAULTS as fault:
        log.warning("traveller not started; the sweeper will", extra={"number": begun.number, "why": str(fault)})
        return False
    log.info("traveller started", extra={"number": begun.number, "attempt": begun.attempt, "trace": begun.trace})
    return True


def job_of(begun: Start) -> Job:
    """The head of a traveller, from what is stored."""
    return Job(
        number=begun.number,
        attempt=begun.attempt,
        request=QuoteRequest.model_validate_json(begun.request),
        rate_revision=begun.rate_revision,
        quoted_on=begun.quoted_on,
        load_snapshot=begun.load_snapshot,
        prices_only=begun.prices_only,
    )


def admit(*, now: datetime, resources: Resources) -> None:
    """Start runs whose turn has come, of whatever kind, so few at a time that none who comes next waits long behind them."""
    settings = resources.settings
    most = {False: settings.most_in_flight, True: settings.most_large_in_flight}
    begun = admit_in_turn(resources.database, TABLES, most_in_flight=most, now=now, first_check_s=settings.first_check_s)
    _start_all(begun, now=now, resources=resources)


def _start_all(begun: Iterable[tuple[RunTable, Start]], *, now: datetime, resources: Resources) -> bool:
    """Start each; at the first that cannot be, leave the others to a later sweep, for their starts are in the outbox or come due again."""
    return all(start(table, each, now=now, resources=resources) for table, each in begun)


def settle(
    kind: RunKind, number: str, attempt: int, outcome: Outcome, letter: DeadLetter | None, resources: Resources
) -> bool:  # fmt: skip
    """Record what became of a run and admit the next: whether this was the outcome that stands."""
    stands = kind.runs(resources).settle(number, attempt, outcome, now=datetime.now(UTC), letter=letter)
    log.info("run settled" if stands else "run was settled before", extra={"status": outcome.status})
    # Whatever other attempts are under way, earlier ones and later ones, their work is no longer wanted.
    resources.travellers.discard(number, attempt + resources.settings.most_attempts)
    admit(now=datetime.now(UTC), resources=resources)
    return stands


def failed(failure: Failure) -> tuple[Outcome, DeadLetter]:
    """The outcome of a run that broke, with the letter that is left of it."""
    document = write_section(failure.problem)
    libraries = (f"{name}={version(name)}" for name in ("celery", "kombu", "pydantic", "numpy"))
    versions = " ".join((f"blankwright={VERSION}", *libraries))
    letter = DeadLetter(failure.stage, document, failure.traceback, versions)
    return Outcome("failed", digest_of(document), problem=document), letter


def sweep(kinds: Iterable[RunKind], resources: Resources) -> None:
    """Start again what was accepted and did not arrive in time; give up, visibly, on what has used up its attempts."""
    now = datetime.now(UTC)
    for kind in kinds:
        if not _start_all(((kind.table, begun) for begun in kind.runs(resources).unsent(now=now)), now=now, resources=resources):
            return
    admit(now=now, resources=resources)
    for kind in kinds:
        again, exhausted = kind.runs(resources).overdue(now=now, most_attempts=resources.settings.most_attempts)
        _start_all(((kind.table, begun) for begun in again), now=now, resources=resources)
        for begun in exhausted:
            _give_up(kind, begun, now=now, resources=resources)
        if again or exhausted:
            log.warning("swept", extra={"started_again": len(again), "used_up": len(exhausted)})


def _give_up(kind: RunKind, begun: Start, *, now: datetime, resources: Resources) -> None:
    """Let the run fail, with a letter; but not while its traveller stands in a line that nobody has come to the end of."""
    runs = kind.runs(resources)
    station = _station_of(begun, resources)
    if station is not None and resources.waiting(queue_of(station, large=begun.large)):
        runs.look_later(begun.number, now=now)
        return
    attempts = resources.settings.most_attempts
    explanation = problem("stage-failed", f"The quote was started {attempts} times and did not arrive once. The operator has the details.",
                          title="The quote did not arrive")  # fmt: skip
    last_fault = resources.travellers.read(begun.number, begun.attempt, (LAST_FAULT,)).get(LAST_FAULT, b"").decode()
    outcome, letter = failed(Failure(stage=station.service if station else LAST.service, problem=explanation, traceback=last_fault))
    runs.settle(begun.number, begun.attempt, outcome, now=now, letter=letter)
    resources.travellers.discard(begun.number, begun.attempt)


def _station_of(begun: Start, resources: Resources) -> Station | None:
    """Where the traveller of that attempt stands; `None` when there is none."""
    stamped = resources.travellers.stamped(begun.number, begun.attempt)
    return next((station for station in STATIONS if station.section not in stamped), LAST) if "job" in stamped else None
