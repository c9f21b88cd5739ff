"""What an estimator changes on the worksheet: held against its figures, merged with what was set before, and worked out as the next revision."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from difflib import get_close_matches
from typing import Any

from services.chassis.load_source import pinned_snapshot
from services.chassis.resources import Resources
from services.quoting.errors import QuoteInWork, RequestUnanswerable
from services.quoting.pricing.overridden.places import EXTRA, FIELDS, place_of
from services.quoting.pricing.overridden.remarks import has_moved, is_same_figure
from services.quoting.pricing.worksheet import worksheet_figures
from services.quoting.service.approvals import approvals_of
from services.quoting.service.documents import not_ready
from services.quoting.service.estimates import FAULTS
from services.quoting.service.intake import key_for, next_revision
from services.quoting.service.override_checks import faults_of_overrides
from services.quoting.service.request_checks import faults_of_request
from services.quoting.service.runs import job_of
from services.quoting.service.worksheet import worksheet_etag
from services.quoting.store.life import LifeStore
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import Start, StoredQuote
from services.quoting.worksheet_errors import WorksheetMoved, WorksheetOfBefore, WorksheetUnanswerable
from shared_schemas.blanks import BlankPlan
from shared_schemas.operations import OperationPlan
from shared_schemas.overrides import Override
from shared_schemas.problem import ProblemDetail
from shared_schemas.quote_request import MOST_OVERRIDES, QuoteRequest
from shared_schemas.rates import Rates
from shared_schemas.worksheet import SetFigure, WorksheetChange

NEAR = 0.5
MOST_NAMED = 12


def accept_worksheet_change(
    number: str, asked: WorksheetChange, *, caller: str, tags: frozenset[str], idempotency_key: str | None, trace: str, now: datetime,
    resources: Resources,
) -> tuple[Start, bool]:  # fmt: skip
    """Accept the revision that a change of the worksheet makes: its start, and whether it is a new one.

    It is made at the rates of the latest revision unless the change names others, so that nothing moves but what was changed. `tags` are
    the ETags of If-Match, none where it was left out. Raises what a requote raises, and `WorksheetMoved`, `WorksheetUnanswerable`,
    `WorksheetOfBefore`; `QuoteNotReady` where figures are set of a revision that has none.
    """
    latest = QuoteStore(resources.database).quote(number)
    key = key_for(asked, caller=caller, route=f"PATCH /v1/quotes/{number}/worksheet", key=idempotency_key)
    known = QuoteStore(resources.database).start_under(key)
    if known is not None:
        return known, False
    if latest.status == "accepted":
        raise QuoteInWork(number, latest.revision)
    if tags and worksheet_etag(latest, approvals_of(latest, resources)) not in tags:
        raise WorksheetMoved(number, latest.revision)
    before = QuoteRequest.model_validate_json(LifeStore(resources.database).request_of(latest.number))
    revision = resources.rates.revision(asked.rate_revision or latest.rate_revision)
    overrides = _Change(asked, before, key_id=caller, at=now).merged(latest, revision.rates, resources)
    request = before.model_copy(update={"overrides": overrides, "rate_revision": asked.rate_revision})
    if faults := faults_of_request(request, rates=revision.rates, today=now.date()):
        raise RequestUnanswerable(faults)
    return next_revision(latest, request, revision, key, caller=caller, trace=trace, now=now, resources=resources)


@dataclass(frozen=True)
class _Change:
    """A change of the worksheet of a request, with the key it came with and when."""

    asked: WorksheetChange
    before: QuoteRequest
    key_id: str
    at: datetime

    def merged(self, latest: StoredQuote, rates: Rates, resources: Resources) -> tuple[Override, ...]:
        """The overrides of the next revision; raises `WorksheetUnanswerable` with everything that cannot be."""
        faults = [*self._not_overridden(), *self._against_the_rates(rates), *self._too_many()]
        if faults:
            raise WorksheetUnanswerable(faults)
        if not self.asked.set and not self.asked.confirm:
            # What is taken away may be what a revision has no figures for.
            return self._kept
        now = self._worked_out(latest, resources)
        faults = [*self._without_figure(now), *self._as_it_stands(now), *self._not_moved(now)]
        if faults:
            raise WorksheetUnanswerable(faults)
        return tuple(self._with_base(one, now[one.pointer]) if one.pointer in self._touched else one for one in self._next)

    @property
    def _known(self) -> dict[str, Override]:
        return {one.pointer: one for one in self.before.overrides}

    @property
    def _kept(self) -> tuple[Override, ...]:
        """The overrides of before that are not withdrawn."""
        return tuple(one for one in self.before.overrides if one.pointer not in self.asked.withdraw)

    @property
    def _touched(self) -> set[str]:
        return {one.pointer for one in self.asked.set} | set(self.asked.confirm)

    @property
    def _next(self) -> list[Override]:
        """The overrides as they will be, what is set without the figure that it takes the place of."""
        new = {one.pointer: self._override(one) for one in self.asked.set}
        return [*(new.pop(one.pointer, one) for one in self._kept), *new.values()]

    def _override(self, one: SetFigure) -> Override:
        return Override(
            pointer=one.pointer, value=one.value, author=self.asked.author, reason=one.reason, at=self.at, key_id=self.key_id
        )

    def _with_base(self, one: Override, now: Any) -> Override:
        """An override with the figure that it takes the place of, or at which it is kept."""
        return one.model_copy(update={"confirmed_base" if one.pointer in self.asked.confirm else "base": now})

    def _worked_out(self, latest: StoredQuote, resources: Resources) -> dict[str, Any]:
        """By pointer what would stand there without an override, with all others as they will be; of extra operations nothing."""
        found = QuoteStore(resources.database).sections(latest.number)
        if found is None:
            raise not_ready(latest)
        begun, blanks, operations = found
        job = job_of(begun)
        try:
            figures = worksheet_figures(
                job=job.model_copy(update={"request": job.request.model_copy(update={"overrides": tuple(self._next)})}),
                blanks=BlankPlan.model_validate_json(blanks),
                operations=OperationPlan.model_validate_json(operations),
                rates=resources.rates.revision(begun.rate_revision).rates,
                load=pinned_snapshot(resources.load, begun.load_snapshot),
            )
        except FAULTS as fault:
            raise WorksheetOfBefore(latest.quote_number, latest.revision) from fault
        return {one.pointer: one.worked_out for one in figures}

    def _not_overridden(self) -> Iterator[ProblemDetail]:
        known = self._known
        for name in ("withdraw", "confirm"):
            for place, pointer in enumerate(getattr(self.asked, name)):
                if pointer not in known:
                    yield _fault(
                        f"/{name}/{place}", "nothing is overridden there", pointer, ", ".join(known) or "no override",
                        f"one of {', '.join(_near(pointer, known) or list(known)[:MOST_NAMED])}" if known else "leave it out",
                    )  # fmt: skip

    def _against_the_rates(self, rates: Rates) -> Iterator[ProblemDetail]:
        """What is wrong with an override before the lens is looked at, told where it was set; one of before is to be withdrawn."""
        overrides = self._next
        set_at = {one.pointer: place for place, one in enumerate(self.asked.set)}
        for fault in faults_of_overrides(self.before.model_copy(update={"overrides": tuple(overrides)}), rates):
            _, _, number, *below = fault.pointer.split("/", 3)
            pointer = overrides[int(number)].pointer
            if pointer in set_at:
                yield fault.model_copy(update={"pointer": "/".join(("/set", str(set_at[pointer]), *below))})
            else:
                yield fault.model_copy(update={"pointer": "/withdraw", "remedy": f"withdraw {pointer}"})

    def _too_many(self) -> Iterator[ProblemDetail]:
        count = len(self._next)
        if count > MOST_OVERRIDES:
            yield _fault("/set", "a quote has no room for so many overrides", count, MOST_OVERRIDES, "withdraw some")

    def _without_figure(self, now: Mapping[str, Any]) -> Iterator[ProblemDetail]:
        for place, one in enumerate(self.asked.set):
            if one.pointer not in now:
                yield _no_such_figure(f"/set/{place}", one, now)

    def _as_it_stands(self, now: Mapping[str, Any]) -> Iterator[ProblemDetail]:
        known = self._known
        for place, one in enumerate(self.asked.set):
            before = known.get(one.pointer)
            stands = before.value if before is not None else now.get(one.pointer)
            if stands is not None and is_same_figure(stands, one.value):
                yield _fault(
                    f"/set/{place}/value", f"that is what stands at {one.pointer} now", one.value, "another figure",
                    "leave it out" if before is None else "leave it out, or withdraw it for the figure that is worked out",
                )  # fmt: skip
            elif before is not None and one.pointer in now and is_same_figure(now[one.pointer], one.value):
                yield _fault(
                    f"/set/{place}/value", f"that is what is worked out at {one.pointer} without an override", one.value, "another figure",
                    f"withdraw {one.pointer}",
                )  # fmt: skip

    def _not_moved(self, now: Mapping[str, Any]) -> Iterator[ProblemDetail]:
        known = self._known
        for place, pointer in enumerate(self.asked.confirm):
            if pointer not in now:
                yield _fault(f"/confirm/{place}", "the worksheet has no such figure any more", pointer, None, f"withdraw {pointer}")
            elif not has_moved(known[pointer], now[pointer]):
                yield _fault(
                    f"/confirm/{place}", "what is worked out there is what it was when it was set or confirmed", pointer, "a base that moved",
                    "leave it out: it is kept",
                )  # fmt: skip


def _fault(pointer: str, reason: str, figure: Any, limit: Any, remedy: str) -> ProblemDetail:
    return ProblemDetail(pointer=pointer, reason=reason, figure=figure, limit=limit, remedy=remedy)


def _near(pointer: str, known: Mapping[str, Any] | Sequence[str]) -> list[str]:
    return get_close_matches(pointer, list(known), n=3, cutoff=NEAR)


def _no_such_figure(at: str, one: SetFigure, now: Mapping[str, Any]) -> ProblemDetail:
    """A pointer that leads to no figure, with the nearest ones, or with what the nearest of its subject are."""
    place = place_of(one.pointer)
    if place is not None and place.field == EXTRA:
        reason = (
            f"no operation can be added at {one.pointer}: its part, its work centre or the operation it comes after is not there"
        )
        return _fault(f"{at}/value", reason, one.value, "a part of the lens, a work centre of the rates, the id of an operation of that part",
                      "look them up on the worksheet")  # fmt: skip
    subject = one.pointer.split("/")[1]
    near = _near(one.pointer, now) or [pointer for pointer in now if pointer.startswith(f"/{subject}/")][:3]
    limit = f"a pointer of the worksheet: {', '.join(f'/{name}/…' for name in FIELDS)}"
    remedy = f"one of {', '.join(near)}" if near else "read the worksheet: each of its figures has its pointer"
    return _fault(f"{at}/pointer", f"the worksheet has no figure at {one.pointer}", one.pointer, limit, remedy)
