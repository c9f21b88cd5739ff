"""The audit log: what was changed, by whom, as a chain in which each entry carries the hash of the one before it.

Whoever keeps the last hash elsewhere can tell later that nothing before it was changed, left out or put in between: it takes SHA-256 and JSON
alone, and nothing of ours.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Annotated, Any

from pydantic import Field

from shared_schemas.base import Contract

BEGINNING = "0" * 64
"""What stands in the place of the hash before the first entry."""

Hash = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
"""A SHA-256 in hexadecimal digits."""


class AuditEntry(Contract):
    """One change. `by` is the id of the key that made it, `label` whose key that is; what no key did was done by the suite or its operator.

    `action` is what was done (`rates.publish`), `subject` what it was done to, `details` what else there is to know: text, whole numbers,
    truth values and lists of these, no fractions, so that every language writes the same JSON.
    """

    number: Annotated[int, Field(ge=1)]
    at: datetime
    action: str
    by: str
    label: str
    subject: str
    details: dict[str, Any]
    previous: Hash
    hash: Hash


class AuditPage(Contract):
    """A page of the audit log, newest first; `next` is the cursor of the page after it."""

    items: tuple[AuditEntry, ...]
    next: str | None = None


class ChainFault(Contract):
    """The first entry at which a chain is broken, and what is wrong there."""

    number: int
    reason: str


class ChainReport(Contract):
    """What walking a chain came to: so many entries up to `number`, whose hash is `last_hash`, and the first fault if there is one."""

    entries: int
    number: int
    last_hash: Hash
    fault: ChainFault | None = None


def moment(at: datetime) -> str:
    """A moment as it is hashed: UTC, with six digits of a second and a Z."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def canonical_details(details: dict[str, Any]) -> str:
    """JSON with names in order and no spaces; raises `ValueError` for what not every language writes in the same way."""
    _refuse_fractions(details)
    return json.dumps(details, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def _refuse_fractions(value: Any) -> None:
    if isinstance(value, dict):
        for name, inner in value.items():
            if not isinstance(name, str) or not name.isascii():
                raise ValueError(f"a name in an entry is ASCII text, not {name!r}")
            _refuse_fractions(inner)
    elif isinstance(value, (list, tuple)):
        for inner in value:
            _refuse_fractions(inner)
    elif value is not None and not isinstance(value, (str, bool, int)):
        raise ValueError(f"an entry holds text, whole numbers and truth values, not {value!r}")


def hash_of_entry(
    *, number: int, at: datetime, action: str, by: str, label: str, subject: str, details: dict[str, Any], previous: str
) -> str:
    """SHA-256 of an entry with the hash before it.

    Of the canonical JSON (names in order, no spaces, UTF-8) of all fields but the hash itself.

    Source:
        A. Rundgren, B. Jordan, S. Erdtman, JSON Canonicalization Scheme, RFC 8785 (2020), for ASCII names and whole numbers.
        National Institute of Standards and Technology, Secure Hash Standard, FIPS 180-4 (2015).
    """
    fields = {
        "number": number,
        "at": moment(at),
        "action": action,
        "by": by,
        "label": label,
        "subject": subject,
        "details": details,
        "previous": previous,
    }
    return hashlib.sha256(canonical_details(fields).encode()).hexdigest()


def report_on(entries: Iterable[AuditEntry], *, known: tuple[int, str] | None = None) -> ChainReport:
    """Walk a chain from its first entry to its last; it ends at the first fault.

    `known` is the number of an entry and the hash that it had when somebody last looked, kept elsewhere.
    """
    count, number, last = 0, 0, BEGINNING
    met = False
    for entry in entries:
        fault = _fault_of(entry, number, last)
        if fault is None and known is not None and entry.number == known[0]:
            met = True
            if entry.hash != known[1]:
                fault = f"its hash is not {known[1]}, which it had before"
        if fault is not None:
            return ChainReport(entries=count, number=number, last_hash=last, fault=ChainFault(number=entry.number, reason=fault))
        count, number, last = count + 1, entry.number, entry.hash
    if known is not None and not met:
        missing = ChainFault(number=known[0], reason="it is not there any more")
        return ChainReport(entries=count, number=number, last_hash=last, fault=missing)
    return ChainReport(entries=count, number=number, last_hash=last)


def _fault_of(entry: AuditEntry, number: int, last: str) -> str | None:
    """What is wrong with an entry that follows number `number` with the hash `last`, `None` when nothing is."""
    if entry.number <= number:
        return f"it comes after number {number}"
    if entry.previous != last:
        return f"it does not follow number {number}: an entry is missing, or was changed" if number else "it is not the first entry"
    fields = entry.model_dump(exclude={"hash"})
    try:
        wanted = hash_of_entry(**fields)
    except ValueError as fault:
        return str(fault)
    return None if wanted == entry.hash else "it is not what was written: its hash is another"
