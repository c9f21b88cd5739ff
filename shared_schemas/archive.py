"""An archive of quotes: JSON Lines in gzip, a quote a line with all its revisions, and a last line that says what is in it.

The documents of a ready revision lie in its line as they lay in the database, in one block (`services/chassis/packing.py`), body first. The
last line has the specimens that blocks were packed beside, so that any tool unpacks a block without this suite: for packing `zstd-1`,
`zstd -d --long=27 --patch-from=specimen_1 block`; for one of before, `xz -d`. Text of documents is passed on byte for byte.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated

from pydantic import Field

from shared_schemas.base import NO_CONTROLS, Contract, Day, Name
from shared_schemas.problem import OnlyWhereSaid

FORMAT = "blankwright-archive/1"
MOST_IN_A_PAGE = 50
MOST_REMOVED_AT_ONCE = 500
LARGEST_RETURN_BYTES = 16 * 2**20

ArchiveName = Annotated[str, Field(min_length=1, max_length=200, pattern=NO_CONTROLS)]


class Block(Contract):
    """The documents of a ready revision: what it says, and the plans it was made of, one behind the other. `data` is base64."""

    packing: str
    data: str
    body_bytes: Annotated[int, Field(strict=True, ge=0, le=2**30)]
    blanks_bytes: Annotated[int, Field(strict=True, ge=0, le=2**30)]
    operations_bytes: Annotated[int, Field(strict=True, ge=0, le=2**30)]

    @property
    def sizes(self) -> tuple[int, int, int]:
        """Of body, blank plan and operation plan, as they lie [bytes]."""
        return self.body_bytes, self.blanks_bytes, self.operations_bytes


class ArchivedDecision(Contract):
    """What was decided on a revision; `promised`, `order_change` and `handover` are documents as they were written with an acceptance.

    An archive of before has nothing of what the customer calls it, of what it changes, nor why it was declined.
    """

    decision: str
    quantity: int | None
    decided_by: str
    note: str
    key_id: str
    at: datetime
    promised: str | None
    handover: str | None
    purchase_order: str | None = None
    customer_number: str | None = None
    contact: str | None = None
    needed_by: date | None = None
    reason: str | None = None
    late: bool = False
    changes_order: int | None = None
    order_change: str | None = None


class ArchivedApproval(Contract):
    """The second key of a revision that needed one."""

    by: str
    note: str
    key_id: str
    at: datetime


class ArchivedEvent(Contract):
    """What happened to a revision."""

    kind: str
    detail: str
    at: datetime


class ArchivedRevision(Contract):
    """One revision with all that is kept of it. `row` is what its row is called by; `request` and `problem` are JSON."""

    row: str
    revision: int
    status: str
    customer: str
    title: str
    request: str
    rate_revision: int
    load_snapshot: int | None
    quoted_on: date
    created_at: datetime
    finished_at: datetime | None
    attempt: int
    digest: str | None
    valid_until: date | None
    problem: str | None
    block: Block | None
    decision: ArchivedDecision | None
    approval: Annotated[ArchivedApproval | None, OnlyWhereSaid] = None
    events: tuple[ArchivedEvent, ...]


class ArchivedQuote(Contract):
    """A line of an archive: a quote with all its revisions, the first one first."""

    number: str
    revisions: tuple[ArchivedRevision, ...]


class ArchivePage(Contract):
    """Quotes that may go into an archive, oldest first; `next` is the cursor of the page after it."""

    items: tuple[ArchivedQuote, ...]
    next: str | None = None


class ArchiveManifest(Contract):
    """The last line of an archive: what the lines before it are. `sha256` is of those lines, with their ends.

    `specimens` are the files that blocks lean on, by name, in base64; an archive of before has none, and needs none.
    """

    format: str
    quotes: int
    revisions: int
    sha256: str
    version: str
    made_at: datetime
    settled_before: date
    first: str | None
    last: str | None
    specimens: dict[str, str] = Field(default_factory=dict)


class RevisionKept(Contract):
    """A revision whose documents an archive has, with their digest."""

    row: Name
    digest: str


class ArchiveRemoval(Contract):
    """Revisions whose documents are in the archive of that name, read back and whole: they may go."""

    archive: ArchiveName
    settled_before: Day
    revisions: Annotated[tuple[RevisionKept, ...], Field(min_length=1, max_length=MOST_REMOVED_AT_ONCE)]


class RevisionReturned(Contract):
    """The documents of a revision, back from an archive."""

    row: Name
    block: Block


class ArchiveReturn(Contract):
    """Documents that are to lie in the database again."""

    revisions: Annotated[tuple[RevisionReturned, ...], Field(min_length=1, max_length=MOST_REMOVED_AT_ONCE)]


class ArchiveDone(Contract):
    """How many revisions were changed; `untouched` names those that were not, because they are not as the archive has them."""

    done: int
    untouched: tuple[str, ...]
