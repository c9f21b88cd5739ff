"""The second key of a quote that somebody overrode: whether it needs one, who may give it, and what waits for it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime

from services.chassis.key_faults import KeyUnknown
from services.chassis.keys import Keys
from services.chassis.resources import Resources
from services.quoting.pricing.second_key import NEEDS_SECOND_KEY
from services.quoting.service.documents import findings_of, not_ready, state_of_approval
from services.quoting.store.approvals import ApprovalStore
from services.quoting.store.life import LifeStore
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import StoredApproval, StoredQuote
from services.quoting.worksheet_errors import (
    BASE_MOVED,
    ApprovalOwn,
    ApprovalStands,
    NothingToApprove,
    OverrideBaseMoved,
    SecondKeyNeeded,
)
from shared_schemas.check import Finding
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.worksheet import Approval, ApprovalRequest, Approvals, NeedOfApproval

FIGURES = {"margin-below-floor": "margin_reached_share", "loss-chance-above-limit": "loss_chance"}
"""What each finding that asks for a second key speaks of."""


@dataclass(frozen=True)
class Hands:
    """Through whose hands a revision went: the key that asked for it, keys that set a figure, and whose names stand at overrides."""

    asked_with: str
    set_with: frozenset[str]
    names: tuple[str, ...]

    @property
    def others(self) -> str:
        """Who may approve it."""
        keys = ", ".join(sorted({self.asked_with, *self.set_with}))
        names = f", in another name than {', '.join(self.names)}" if self.names else ""
        return f"Any other key of sales, engineer or admin than {keys} may approve it{names}."


def approve(number: str, asked: ApprovalRequest, *, key_id: str, now: datetime, resources: Resources) -> Approval:
    """Record a second key of a revision, once; the same told again gets the same answer.

    Raises `QuoteUnknown`, `RevisionUnknown`, `QuoteNotReady`, `QuoteArchived`, `NothingToApprove`, `ApprovalOwn`, `ApprovalStands`.
    """
    row = QuoteStore(resources.database).quote(number, asked.revision)
    if row.body is None:
        raise not_ready(row)
    if not findings_of(row, *NEEDS_SECOND_KEY):
        raise NothingToApprove(row.quote_number, row.revision)
    if row.approval is None:
        _refuse_own(row, asked.by, key_id, resources)
    wanted = StoredApproval(asked.by, asked.note, key_id, now)
    stands = row.approval or ApprovalStore(resources.database).approve(row.number, wanted)
    if (stands.by, stands.key_id) != (wanted.by, wanted.key_id):
        raise ApprovalStands(row.quote_number, row.revision, stands.by, stands.at)
    return _document(row.revision, stands)


def refuse_unapproved(row: StoredQuote, resources: Resources) -> None:
    """Raise `OverrideBaseMoved` or `SecondKeyNeeded` for a ready revision that is neither accepted nor given out as it is."""
    if moved := findings_of(row, BASE_MOVED):
        raise OverrideBaseMoved(row.quote_number, row.revision, moved)
    if row.approval is None and (needed := findings_of(row, *NEEDS_SECOND_KEY)):
        raise SecondKeyNeeded(row.quote_number, row.revision, needed, hands_of(row, resources).others)


def approvals_of(row: StoredQuote, resources: Resources) -> Approvals:
    """What there is to say of second keys of a ready revision, with those of the quote's other revisions."""
    given = tuple(_document(revision, one) for revision, one in ApprovalStore(resources.database).of_quote(row.quote_number))
    needed = findings_of(row, *NEEDS_SECOND_KEY)
    if not needed:
        return Approvals(given=given)
    hands = hands_of(row, resources)
    return Approvals(
        state=state_of_approval(row),
        needed_for=tuple(_needs(row, needed)),
        given=given,
        not_by_keys=tuple(sorted({hands.asked_with, *hands.set_with})),
        not_by_names=hands.names,
    )


def hands_of(row: StoredQuote, resources: Resources) -> Hands:
    """Through whose hands a revision went."""
    overrides = QuoteRequest.model_validate_json(LifeStore(resources.database).request_of(row.number)).overrides
    return Hands(
        asked_with=ApprovalStore(resources.database).asked_with(row.number),
        set_with=frozenset(one.key_id for one in overrides if one.key_id),
        names=tuple(dict.fromkeys(one.author for one in overrides)),
    )


def _refuse_own(row: StoredQuote, by: str, key_id: str, resources: Resources) -> None:
    hands, keys = hands_of(row, resources), Keys(resources.database)
    root = _first_of(key_id, keys)
    did = {_first_of(one, keys): "set one of its overrides" for one in hands.set_with}
    did[_first_of(hands.asked_with, keys)] = "asked for it"
    if root in did:
        raise ApprovalOwn(row.quote_number, row.revision, pointer="", who=f"the key {key_id}", did=did[root], others=hands.others)
    if _plain(by) in {_plain(name) for name in hands.names}:
        raise ApprovalOwn(
            row.quote_number, row.revision, pointer="/by", who=by, did="set one of its overrides", others=hands.others
        )


def _first_of(key_id: str, keys: Keys) -> str:
    """The key that a key took the place of, and so on back: one that is exchanged stays in the same hand."""
    try:
        before = keys.record(key_id).rotated_from
    except KeyUnknown:
        return key_id
    return key_id if before is None else _first_of(before, keys)


def _plain(name: str) -> str:
    return " ".join(name.casefold().split())


def _needs(row: StoredQuote, needed: list[Finding]) -> Iterator[NeedOfApproval]:
    breaks = json.loads(row.body or b"")["breaks"]
    for one in needed:
        quantity = breaks[int(one.pointer.rpartition("/")[2])]["quantity"]
        yield NeedOfApproval.model_validate(
            {"quantity": quantity, "what": FIGURES[one.code], "figure": one.figure, "limit": one.limit, "message": one.message}
        )


def _document(revision: int, approval: StoredApproval) -> Approval:
    return Approval(revision=revision, by=approval.by, note=approval.note, key_id=approval.key_id, at=approval.at.astimezone(UTC))
