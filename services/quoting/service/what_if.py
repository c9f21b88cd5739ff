"""What if: copies of a quote in which something is changed, worked out by travellers of their own and held beside it. No revision is made.

A traveller carries the changed request with the day, the rates and the book of load of the quote, so that nothing moves but what is
changed. Where only figures of the worksheet are, the plans of the quote hold, and the traveller goes to the last station at once.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any, cast

from services.chassis.load_source import pinned_snapshot
from services.chassis.pipeline import write_section
from services.chassis.problems import clean
from services.chassis.resources import Resources
from services.chassis.version import VERSION
from services.quoting.change_errors import PatchTestFailed
from services.quoting.errors import QuoteInWork, RequestUnanswerable
from services.quoting.pricing.what_if import figures_as_issued, figures_of_copy, findings_without, moved
from services.quoting.service.assembling import READS, parsed
from services.quoting.service.changed_request import changed
from services.quoting.service.comparison import changed_places
from services.quoting.service.intake import key_for
from services.quoting.service.request_checks import faults_of_request
from services.quoting.service.runs import RunKind, admit, bounds_of
from services.quoting.service.work import refuse_too_much_work, work_of
from services.quoting.store.blocks import digest_of
from services.quoting.store.life import LifeStore
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import Outcome, StoredQuote
from services.quoting.store.runs import accepted_before, by_number
from services.quoting.store.what_ifs import WHAT_IF_RUNS, NewCopy, StoredCopy, WhatIfStore
from shared_schemas.base import canonical_json
from shared_schemas.json_patch import by_name
from shared_schemas.overrides import Override
from shared_schemas.problem import Problem, ProblemDetail
from shared_schemas.quote import QuoteBody
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.what_if import CopyRequest, FiguresOfCopy, WhatIf, WhatIfCopy, WhatIfRequest

OVERRIDE = re.compile(r"^/overrides/([0-9]{1,3})(?=/|$)", re.ASCII)
PRICED_LAST = {"overrides": True, "rate_revision": True}
"""Fields of a request that no stage before the last reads; with which rates it is worked out is known beside it."""


def accept_what_if(
    number: str, asked: WhatIfRequest, *, caller: str, label: str, idempotency_key: str | None, trace: str, now: datetime, resources: Resources
) -> tuple[str, bool]:  # fmt: skip
    """Begin to work out copies of the latest revision of a quote: the what-if's number, and whether it is a new one.

    Raises `QuoteUnknown`, `QuoteInWork` while a revision is under way, `RequestUnanswerable` and `PatchTestFailed` that name each copy
    which cannot be, `TooMuchWork`, `QueueFull`, `KeyHasEnough`, `IdempotencyKeyReused`.
    """
    latest = QuoteStore(resources.database).quote(number)
    key = key_for(asked, caller=caller, route=f"POST /v1/quotes/{number}/what-if", key=idempotency_key)
    known = accepted_before(resources.database, key, known=by_number)
    if known is not None:
        return known, False
    if latest.status == "accepted":
        raise QuoteInWork(number, latest.revision)
    asked_by = clean(f"{label[:300]} ({caller})") if label else caller
    copies = _copies(latest, asked.copies, asked_by=asked_by, now=now, resources=resources)
    what_if, is_new = WhatIfStore(resources.database).accept(
        latest.number, copies, key, now=now, asked_by=asked_by, caller=caller, trace=trace, bounds=bounds_of(resources.settings)
    )
    if is_new:
        admit(now=now, resources=resources)
    return what_if, is_new


def _copies(
    latest: StoredQuote, asked: Sequence[CopyRequest], *, asked_by: str, now: datetime, resources: Resources
) -> list[NewCopy]:  # fmt: skip
    """The copies as they are stored; raises with the faults of each, below its place."""
    before = json.loads(LifeStore(resources.database).request_of(latest.number))
    quoted_on = WhatIfStore(resources.database).quoted_on(latest.number)
    copies: list[NewCopy] = []
    faults: list[ProblemDetail] = []
    refused: type[RequestUnanswerable | PatchTestFailed] = RequestUnanswerable
    for place, copy in enumerate(asked):
        try:
            copies.append(_copy(latest, before, copy, asked_by=asked_by, quoted_on=quoted_on, now=now, resources=resources))
        except (RequestUnanswerable, PatchTestFailed) as fault:
            refused = PatchTestFailed if isinstance(fault, PatchTestFailed) else refused
            faults += [one.model_copy(update={"pointer": f"/copies/{place}{one.pointer}"}) for one in fault.errors]
    if faults:
        raise refused(faults)
    return copies


def _copy(
    latest: StoredQuote, before: dict[str, Any], copy: CopyRequest, *, asked_by: str, quoted_on: date, now: datetime, resources: Resources
) -> NewCopy:  # fmt: skip
    wanted = changed(before | {"rate_revision": copy.rate_revision}, changes=copy.changes, patch=copy.patch)
    revision = resources.rates.revision(copy.rate_revision or latest.rate_revision)
    request = with_figures_set(wanted.request, copy, by=asked_by, at=now)
    faults = faults_of_request(request, rates=revision.rates, today=quoted_on)
    of_figures = [one for fault in faults if (one := _of_figure(fault, len(request.overrides) - len(copy.overrides))) is not None]
    if of_figures:
        raise RequestUnanswerable(of_figures)
    wanted.refuse_if_any(faults)
    refuse_too_much_work(request, most_s=resources.settings.most_work_s)
    work_s = work_of(request)
    return NewCopy(
        name=copy.name,
        request=write_section(request),
        rate_revision=revision.number,
        work_s=work_s,
        large=work_s > resources.settings.most_quick_work_s,
        as_planned=_is_as_planned(latest, before, request, revision.number),
    )


def _of_figure(fault: ProblemDetail, before: int) -> ProblemDetail | None:
    """A fault of a figure that the copy sets, which come after `before` others of its request; `None` for a fault of anything else."""
    at = OVERRIDE.match(fault.pointer)
    if at is None or int(at[1]) < before:
        return None
    return fault.model_copy(update={"pointer": f"/overrides/{int(at[1]) - before}{fault.pointer[at.end() :]}"})


def with_figures_set(request: QuoteRequest, copy: CopyRequest, *, by: str, at: datetime) -> QuoteRequest:
    """The request with the figures of a copy set; one at a pointer that is set already takes its place."""
    if not copy.overrides:
        return request
    pointers = {one.pointer for one in copy.overrides}
    kept = tuple(one for one in request.overrides if one.pointer not in pointers)
    reason = f"what if: {copy.name}"
    set_here = tuple(
        Override(pointer=one.pointer, value=one.value, author=by[:200], reason=reason, at=at) for one in copy.overrides
    )
    return request.model_copy(update={"overrides": kept + set_here})


def _is_as_planned(latest: StoredQuote, before: Mapping[str, Any], request: QuoteRequest, rate_revision: int) -> bool:
    """Whether the plans that the quote was made of are those of a copy too."""
    if latest.body is None or latest.archived_in is not None or latest.release != VERSION or rate_revision != latest.rate_revision:
        return False
    there = QuoteRequest.model_validate(before)
    return there.model_dump(exclude=PRICED_LAST) == request.model_dump(exclude=PRICED_LAST)


def copy_figures(number: str, sections: Mapping[str, bytes], resources: Resources) -> Outcome:
    """The figures of the copy that the traveller `number` is of, by the plans of its own stages or by those of the quote."""
    head = WhatIfStore(resources.database).what_if(number)
    if "check" not in sections:
        sections = {**sections, **_sections_of(head.quote, resources)}
    read = parsed(sections, *READS)
    load = pinned_snapshot(resources.load, read["job"].load_snapshot)
    figures = figures_of_copy(
        **read,
        rates=resources.rates.revision(read["job"].rate_revision).rates,
        load=None if load is None else load.without(head.quote_number),
    )
    document = canonical_json(figures)
    return Outcome("ready", digest_of(document), body=document)


def _sections_of(quote: str, resources: Resources) -> dict[str, bytes]:
    """What the stages made for a quote that is ready, as its traveller had it; nothing of one that was archived meanwhile."""
    store = QuoteStore(resources.database)
    stored, body = store.sections(quote), store.row(quote).body
    if stored is None or body is None:
        return {}
    _, blanks, operations = stored
    check = QuoteBody.model_validate_json(body).check
    return {"check": write_section(check), "blanks": blanks, "operations": operations}


WHAT_IFS = RunKind(WHAT_IF_RUNS, conclude=copy_figures)
"""Copies of quotes in which something is changed."""


def what_if_document(number: str, resources: Resources) -> WhatIf:
    """How far a what-if is, with the quote as it was issued and each copy beside it; raises `WhatIfUnknown`."""
    store, quotes = WhatIfStore(resources.database), QuoteStore(resources.database)
    head, stored = store.what_if(number), store.copies(number)
    body = quotes.row(head.quote).body
    issued = None if body is None else figures_as_issued(QuoteBody.model_validate_json(body))
    # A request that an earlier release wrote is read once more, so that fields which came later are none that are changed.
    before = _asked(QuoteRequest.model_validate_json(LifeStore(resources.database).request_of(head.quote)))
    copies = tuple(_told(copy, issued, before) for copy in stored)
    worked_out = sum(copy.outcome != "working" for copy in copies)
    return WhatIf(
        number=head.number,
        status="done" if worked_out == len(copies) else "working",
        quote_number=head.quote_number,
        revision=head.revision,
        rate_revision=head.rate_revision,
        quoted_on=head.quoted_on,
        created_at=head.created_at,
        kept_until=(head.created_at + timedelta(days=resources.settings.what_ifs_kept_days)).date(),
        asked_by=head.asked_by,
        worked_out=worked_out,
        issued=issued,
        copies=copies,
    )


def _told(copy: StoredCopy, issued: FiguresOfCopy | None, before: Any) -> WhatIfCopy:
    figures = None if copy.figures is None else FiguresOfCopy.model_validate_json(copy.figures)
    told: dict[str, Any] = {}
    if issued is not None and figures is not None:
        told = {
            "moved": moved(issued, figures),
            "new_findings": findings_without(figures.findings, issued.findings),
            "gone_findings": findings_without(issued.findings, figures.findings),
        }
    return WhatIfCopy(
        name=copy.name,
        rate_revision=copy.rate_revision,
        outcome=cast(Any, "working" if copy.status == "accepted" else copy.status),
        changed=tuple(changed_places(before, _asked(QuoteRequest.model_validate_json(copy.request)))),
        as_planned=copy.as_planned,
        figures=figures,
        problem=None if copy.problem is None else Problem.model_validate_json(copy.problem),
        **told,
    )


def _asked(request: QuoteRequest) -> dict[str, Any]:
    """A request as JSON, with elements by their names, as paths of a patch have them."""
    document = {"overrides": []} | request.model_dump(mode="json", by_alias=True, exclude={"rate_revision"})
    return document | {"prescription": by_name(document["prescription"])}


__all__ = ["WHAT_IFS", "accept_what_if", "what_if_document"]
