"""The last station: it makes the quote out of the traveller's sections and records what became of it. And the sweeper."""

from __future__ import annotations

import hashlib
import logging
from datetime import UTC, datetime
from importlib.metadata import version

from services.chassis.pipeline import LAST_FAULT, TRANSPORT_FAULTS, SectionMissing, failure_of, read_section, write_section
from services.chassis.problems import problem
from services.chassis.resources import Resources
from services.quoting.costs.canonical import canonical_json
from services.quoting.pricing.quote import assemble
from services.quoting.service.impact import against_issued, is_of_impact, let_in_impacts
from services.quoting.service.intake import let_in, start
from services.quoting.store.impacts import ImpactStore
from services.quoting.store.repository import DeadLetter, Outcome, QuoteStore, Start
from shared_schemas.pipeline import LAST, STATIONS, SWEEP_TASK, Station
from shared_schemas.problem import ProblemDetail
from shared_schemas.traveller import Failure, Refusal

log = logging.getLogger(__name__)

READS = ("job", "check", "blanks", "operations")


class Assemble:
    """Takes a traveller out of its hash and settles its quote."""

    task = LAST.task

    def arrive(self, number: str, attempt: int, resources: Resources) -> str:
        """Settle one quote from its traveller, and say how; raises transport faults only. A second arrival changes nothing."""
        found = resources.travellers.read(number, attempt, (*READS, "refusal", "failure"))
        if "job" not in found:
            log.warning("traveller is gone", extra={"number": number, "attempt": attempt})
            return "gone"
        outcome, letter = _outcome(found, resources)
        if is_of_impact(number) and outcome.status == "ready":
            outcome, letter = _held_against_issued(number, outcome, found, resources)
        stands = _store_of(number, resources).settle(number, attempt, outcome, now=datetime.now(UTC), letter=letter)
        log.info("quote settled" if stands else "quote was settled before", extra={"status": outcome.status})
        # Whatever other attempts are under way, earlier ones and later ones, their work is no longer wanted.
        resources.travellers.discard(number, attempt + resources.settings.most_attempts)
        (let_in_impacts if is_of_impact(number) else let_in)(now=datetime.now(UTC), resources=resources)
        return outcome.status if stands else "settled_before"


TERMINUS = Assemble()


def _outcome(found: dict[str, bytes], resources: Resources) -> tuple[Outcome, DeadLetter | None]:
    if "refusal" in found:
        return _refused(read_section("refusal", found["refusal"])), None
    if "failure" in found:
        return _failed(read_section("failure", found["failure"]))
    try:
        missing = [name for name in READS if name not in found]
        if missing:
            raise SectionMissing(LAST.service, missing)
        sections = {name: read_section(name, found[name]) for name in READS}
        revision = resources.rates.revision(sections["job"].rate_revision)
        answer = assemble(**sections, rates=revision.rates, rate_digest=revision.digest)
        body = canonical_json(answer)
    except TRANSPORT_FAULTS:
        raise
    except Exception as fault:
        return _failed(failure_of(LAST.service, fault))
    return Outcome(
        "ready",
        _digest(body),
        body=body,
        blanks=found["blanks"],
        operations=found["operations"],
        valid_until=answer.valid_until,
    ), None


def _held_against_issued(
    number: str, outcome: Outcome, found: dict[str, bytes], resources: Resources
) -> tuple[Outcome, DeadLetter | None]:
    """The outcome of a traveller that came for an impact: the figures of the impact in the place of a quote."""
    try:
        return against_issued(number, outcome, found, resources), None
    except TRANSPORT_FAULTS:
        raise
    except Exception as fault:
        return _failed(failure_of(LAST.service, fault))


def _store_of(number: str, resources: Resources) -> QuoteStore | ImpactStore:
    """Where it is recorded what became of a traveller."""
    return ImpactStore(resources.database) if is_of_impact(number) else QuoteStore(resources.database)


def _refused(refusal: Refusal) -> Outcome:
    reasons = "1 reason" if len(refusal.reasons) == 1 else f"{len(refusal.reasons)} reasons"
    said = problem(
        "refused",
        f"The {refusal.stage} stage has {reasons} against this lens. First: {refusal.reasons[0].message}",
        errors=[
            ProblemDetail(
                pointer=f"/prescription{reason.pointer}",
                reason=reason.message,
                figure=reason.figure,
                limit=reason.limit,
                remedy=reason.remedy,
            )
            for reason in refusal.reasons
        ],
    )
    document = write_section(said)
    return Outcome("refused", _digest(document), problem=document)


def _failed(failure: Failure) -> tuple[Outcome, DeadLetter]:
    document = write_section(failure.problem)
    letter = DeadLetter(failure.stage, document, failure.traceback, _versions())
    return Outcome("failed", _digest(document), problem=document), letter


def _versions() -> str:
    return " ".join(f"{name}={version(name)}" for name in ("celery", "kombu", "pydantic", "numpy"))


def _digest(document: bytes) -> str:
    return hashlib.sha256(document).hexdigest()


def sweep(resources: Resources) -> None:
    """Start again what was accepted and did not arrive in time; give up, visibly, on what has used up its attempts."""
    store = QuoteStore(resources.database)
    now = datetime.now(UTC)
    if not _start_all(store.unsent(now=now), now=now, resources=resources):
        return
    let_in(now=now, resources=resources)
    let_in_impacts(now=now, resources=resources)
    for kept in (store, ImpactStore(resources.database)):
        again, exhausted = kept.overdue(now=now, most_attempts=resources.settings.most_attempts)
        _start_all(again, now=now, resources=resources)
        for begun in exhausted:
            _give_up(begun, now=now, resources=resources)
        if again or exhausted:
            log.warning("swept", extra={"started_again": len(again), "used_up": len(exhausted)})


def _start_all(begun: list[Start], *, now: datetime, resources: Resources) -> bool:
    """Start each; at the first that cannot be, leave the others to a later sweep, for their starts are in the outbox or come due again."""
    return all(start(one, now=now, resources=resources) for one in begun)


def _give_up(begun: Start, *, now: datetime, resources: Resources) -> None:
    """Let the quote fail, with a letter; but not while its traveller stands in a line that nobody has come to the end of."""
    store = _store_of(begun.number, resources)
    here = _station_of(begun, resources)
    if here is not None and resources.waiting(here.queue):
        store.look_later(begun.number, now=now)
        return
    attempts = resources.settings.most_attempts
    said = problem("stage-failed", f"The quote was started {attempts} times and did not arrive once. The operator has the details.",
                   title="The quote did not arrive")  # fmt: skip
    document = write_section(said)
    found = resources.travellers.read(begun.number, begun.attempt, (LAST_FAULT,))
    letter = DeadLetter(here.service if here else LAST.service, document, found.get(LAST_FAULT, b"").decode(), _versions())
    store.settle(begun.number, begun.attempt, Outcome("failed", _digest(document), problem=document), now=now, letter=letter)
    resources.travellers.discard(begun.number, begun.attempt)


def _station_of(begun: Start, resources: Resources) -> Station | None:
    """Where the traveller of that attempt stands; `None` when there is none."""
    stamped = resources.travellers.stamped(begun.number, begun.attempt)
    return next((station for station in STATIONS if station.section not in stamped), LAST) if "job" in stamped else None


PERIODIC = {SWEEP_TASK: sweep}
