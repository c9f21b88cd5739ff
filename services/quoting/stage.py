"""The last station: it makes the quote out of the traveller's sections and records what became of it. And the sweeper."""

from __future__ import annotations

import hashlib
import logging
from datetime import UTC, datetime
from importlib.metadata import version

from services.chassis.pipeline import TRANSPORT_FAULTS, SectionMissing, failure_of, read_section, write_section
from services.chassis.problems import problem
from services.chassis.resources import Resources
from services.quoting.domain.canonical import canonical_json
from services.quoting.domain.quote import assemble
from services.quoting.intake import start
from services.quoting.store.repository import DeadLetter, Outcome, QuoteStore
from shared_schemas.pipeline import LAST, SWEEP_TASK
from shared_schemas.problem import ProblemDetail
from shared_schemas.traveller import Failure, Refusal

log = logging.getLogger(__name__)

READS = ("job", "check", "blanks", "operations")


class Assemble:
    """Takes a traveller out of its hash and settles its quote."""

    task = LAST.task

    def arrive(self, number: str, attempt: int, resources: Resources) -> None:
        """Settle one quote from its traveller; raises transport faults only. A second arrival changes nothing."""
        found = resources.travellers.read(number, attempt, (*READS, "refusal", "failure"))
        if "job" not in found:
            log.warning("traveller is gone", extra={"number": number, "attempt": attempt})
            return
        outcome, letter = _outcome(found, resources)
        stands = QuoteStore(resources.database).settle(number, attempt, outcome, now=datetime.now(UTC), letter=letter)
        log.info("quote settled" if stands else "quote was settled before", extra={"status": outcome.status})
        resources.travellers.discard(number, attempt)


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
        body = canonical_json(assemble(**sections, rates=revision.rates, rate_digest=revision.digest))
    except TRANSPORT_FAULTS:
        raise
    except Exception as fault:
        return _failed(failure_of(LAST.service, fault))
    return Outcome("ready", _digest(body), body=body, blanks=found["blanks"], operations=found["operations"]), None


def _refused(refusal: Refusal) -> Outcome:
    reasons = "1 reason" if len(refusal.reasons) == 1 else f"{len(refusal.reasons)} reasons"
    said = problem(
        "refused",
        f"The {refusal.stage} stage has {reasons} against this lens. First: {refusal.reasons[0].message}",
        errors=[
            ProblemDetail(
                pointer=f"/prescription{reason.where}",
                reason=reason.message,
                figure=reason.figure,
                limit=reason.limit,
                remedy=reason.repair,
            )
            for reason in refusal.reasons
        ],
    )
    document = write_section(said)
    return Outcome("refused", _digest(document), problem=document)


def _failed(failure: Failure) -> tuple[Outcome, DeadLetter]:
    document = write_section(failure.problem)
    versions = " ".join(f"{name}={version(name)}" for name in ("celery", "kombu", "pydantic", "numpy"))
    return Outcome("failed", _digest(document), problem=document), DeadLetter(failure.stage, document, failure.traceback, versions)


def _digest(document: bytes) -> str:
    return hashlib.sha256(document).hexdigest()


def sweep(resources: Resources) -> None:
    """Start again what was accepted and did not arrive in time; give up, visibly, on what has used up its attempts."""
    store = QuoteStore(resources.database)
    now = datetime.now(UTC)
    for begun in store.unsent(now=now):
        start(begun, now=now, resources=resources)
    again, exhausted = store.overdue(now=now, most_attempts=resources.settings.most_attempts)
    for begun in again:
        start(begun, now=now, resources=resources)
    for number in exhausted:
        store.settle(number, resources.settings.most_attempts, *_gave_up(resources.settings.most_attempts), now=now)
    if again or exhausted:
        log.warning("swept", extra={"started_again": len(again), "gave_up": len(exhausted)})


def _gave_up(attempts: int) -> tuple[Outcome]:
    said = problem("stage-failed", f"The quote was started {attempts} times and did not arrive once. Ask for it again; the operator's logs say why.",
                   title="The quote did not arrive")  # fmt: skip
    document = write_section(said)
    return (Outcome("failed", _digest(document), problem=document),)


PERIODIC = {SWEEP_TASK: sweep}
