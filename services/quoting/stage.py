"""The last station: it makes the quote out of the traveller's sections and records what became of the run. And the sweeper."""

from __future__ import annotations

import logging

from celery.exceptions import SoftTimeLimitExceeded

from services.chassis.pipeline import TRANSPORT_FAULTS, failure_of, read_section, write_section
from services.chassis.problems import problem
from services.chassis.resources import Resources
from services.quoting.service import runs
from services.quoting.service.assembling import READS
from services.quoting.service.impact import IMPACTS
from services.quoting.service.intake import QUOTES
from services.quoting.service.keeping import forget_what_is_over, pack_tightly, tell_what_expired
from services.quoting.service.order_events import take_in
from services.quoting.service.runs import RunKind, failed, kind_of, settle
from services.quoting.service.what_if import WHAT_IFS
from services.quoting.store.blocks import digest_of
from services.quoting.store.rows import DeadLetter, Outcome
from services.quoting.webhooks.delivering import deliver
from shared_schemas.pipeline import DELIVER_TASK, EXPIRE_TASK, FORGET_TASK, LAST, PACK_TASK, SWEEP_TASK, TAKE_IN_TASK
from shared_schemas.problem import ProblemDetail
from shared_schemas.traveller import Refusal

log = logging.getLogger(__name__)

KINDS = (QUOTES, IMPACTS, WHAT_IFS)
"""Every kind of run that goes through the queue."""


class Assemble:
    """Takes a traveller out of its hash and settles its run."""

    task = LAST.task

    def arrive(self, number: str, attempt: int, resources: Resources) -> str:
        """Settle one run from its traveller, and say how; raises transport faults and the end of its time only. A second arrival changes nothing."""
        sections = resources.travellers.read(number, attempt, (*READS, "refusal", "failure"))
        if "job" not in sections:
            log.warning("traveller is gone", extra={"number": number, "attempt": attempt})
            return "gone"
        kind = kind_of(number, KINDS)
        outcome, letter = _outcome(kind, number, sections, resources)
        stands = settle(kind, number, attempt, outcome, letter, resources)
        return outcome.status if stands else "settled_before"


TERMINUS = Assemble()


def _outcome(
    kind: RunKind, number: str, sections: dict[str, bytes], resources: Resources
) -> tuple[Outcome, DeadLetter | None]:  # fmt: skip
    if "refusal" in sections:
        return _refused(read_section("refusal", sections["refusal"])), None
    if "failure" in sections:
        return failed(read_section("failure", sections["failure"]))
    try:
        return kind.conclude(number, sections, resources), None
    except (*TRANSPORT_FAULTS, SoftTimeLimitExceeded):
        raise
    except Exception as fault:
        return failed(failure_of(LAST.service, fault))


def _refused(refusal: Refusal) -> Outcome:
    reasons = "1 reason" if len(refusal.reasons) == 1 else f"{len(refusal.reasons)} reasons"
    explanation = problem(
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
    document = write_section(explanation)
    return Outcome("refused", digest_of(document), problem=document)


def sweep(resources: Resources) -> None:
    """Look after every run that is under way."""
    runs.sweep(KINDS, resources)


PERIODIC = {
    SWEEP_TASK: sweep,
    PACK_TASK: pack_tightly,
    FORGET_TASK: forget_what_is_over,
    EXPIRE_TASK: tell_what_expired,
    DELIVER_TASK: deliver,
    TAKE_IN_TASK: take_in,
}
