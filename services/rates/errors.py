"""What can go wrong with rates.

Explained
└── RatesError
    ├── TableUnknown       no table of that name
    ├── ArchiveUnreadable  an archive or a spreadsheet that cannot be read as one of tables
    ├── TableOrDraft       a proposal of neither or of both
    ├── TablesUnreadable   the same of several tables at once
    ├── TableUnreadable    rows that do not have the table's shape
    ├── TableContradicts   rows that do not agree with each other or with another table
    ├── AnswersUnreadable  answers to the first day's questions that do not read as what was asked
    ├── ReasonMissing      a change that does not say why
    ├── IfMatchUnreadable  a header If-Match without an ETag in quotes
    ├── RevisionUnknown    no revision of that number
    ├── ProposalUnknown    no proposal of that number, or no longer
    ├── RowUnknown         no row of that name in a table
    ├── RevisionStale      the table was changed by somebody else meanwhile
    ├── NotConfirmed       what needs a second look and was not confirmed
    └── DraftError
        ├── DraftUnknown       no draft of that number
        ├── DraftStale         the draft was changed by somebody else meanwhile
        ├── DraftClosed        a draft that is published or waits for its time
        ├── DraftOvertaken     a draft of tables that were changed by a later revision
        ├── DraftConflicts     a draft and a later revision that changed the same figure
        ├── DraftContradicts   tables of a draft that do not agree
        ├── DraftsTooMany      more drafts than are kept
        ├── TimePassed         a time to come into force that is gone
        └── RevisionLost       an old revision that this release cannot bring back
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from shared_schemas.problem import Explained, ProblemDetail
from shared_schemas.rates import TABLES

MOST_NAMED = 100
"""So many faults are named one by one; a column forgotten in a long table would otherwise make an endless answer."""


class RatesError(Explained):
    """Anything this service refuses."""


class TableUnknown(RatesError):
    """No table of that name."""

    def __init__(self, table: str) -> None:
        self.table = table
        super().__init__(f"There is no rate table {table[:60]}. The tables are {', '.join(TABLES)}.")


class ArchiveUnreadable(RatesError):
    """An archive or a spreadsheet that is none, or holds what it should not."""

    def __init__(self, why: str, figure: str | None = None) -> None:
        detail = ProblemDetail(
            pointer="", reason=why, figure=figure, remedy="a file as GET /v1/rates/archive gives it, or sheets named as tables"
        )
        super().__init__(f"The tables cannot be read: {why}. Nothing was changed.", detail)


class TablesUnreadable(RatesError):
    """Several tables with cells that cannot be read; a pointer goes into the tables."""

    def __init__(self, errors: Sequence[ProblemDetail]) -> None:
        super().__init__(
            f"The tables have {_counted(errors, 'cell')} that cannot be read; nothing was changed.", *errors[:MOST_NAMED]
        )


class TableOrDraft(RatesError):
    """A proposal that names neither a table nor a draft, or both."""

    def __init__(self) -> None:
        detail = ProblemDetail(
            pointer="/query/table", reason="a proposal is of one table or of one draft", remedy="name table or draft"
        )
        super().__init__("A proposal names the table that its body has, or a draft.", detail)


class TableUnreadable(RatesError):
    """Rows that do not have the table's shape; wrong cells are named."""

    def __init__(self, table: str, errors: Sequence[ProblemDetail]) -> None:
        self.table = table
        super().__init__(
            f"The rate table {table} has {_counted(errors, 'cell')} that cannot be read; nothing was changed.", *errors[:MOST_NAMED]
        )


class TableContradicts(RatesError):
    """Rows that can be read, but do not agree with each other or with another table."""

    def __init__(self, table: str, errors: Sequence[ProblemDetail]) -> None:
        self.table = table
        super().__init__(
            f"The rate table {table} has {_counted(errors, 'contradiction')}; nothing was changed.", *errors[:MOST_NAMED]
        )


class AnswersUnreadable(RatesError):
    """Answers to the questions of the first day that do not read as what was asked for."""

    def __init__(self, errors: Sequence[ProblemDetail]) -> None:
        super().__init__(f"{_counted(errors, 'answer')} will not do; no draft was made.", *errors[:MOST_NAMED])


class ReasonMissing(RatesError):
    """A change that does not say why."""

    def __init__(self, table: str) -> None:
        super().__init__(
            f"A change of {table} says why; with a CSV body, in ?reason=….",
            ProblemDetail(pointer="/query/reason", reason="it is missing", remedy="add ?reason=… to the address"),
        )


class IfMatchUnreadable(RatesError):
    """A header If-Match that has no strong ETag in quotes."""

    def __init__(self, header: str) -> None:
        super().__init__(
            "If-Match has no ETag that can be compared: write it in quotes and without W/, as GET gave it.",
            ProblemDetail(
                pointer="/header/if-match",
                reason="it has no strong ETag in quotes",
                figure=header[:100],
                limit='"…"',
                remedy="write it in quotes, as GET gave it",
            ),
        )


class RevisionUnknown(RatesError):
    """No revision of that number."""

    def __init__(self, number: int, latest: int) -> None:
        self.number = number
        self.latest = latest
        super().__init__(f"There is no rate revision {number}; the latest is {latest}.")


class ProposalUnknown(RatesError):
    """No proposal of that number, or none any more."""

    def __init__(self, position: int) -> None:
        self.position = position
        super().__init__(f"There is no proposal {position}; proposals are kept for some days only.")


class RevisionStale(RatesError):
    """The table was changed by somebody else between reading and writing."""

    def __init__(self, table: str, seen: Iterable[str], current: str) -> None:
        self.table = table
        self.seen = tuple(sorted(seen))
        self.current_tag = current
        super().__init__(
            f"The ETag of the table {table} is now {current}, and you changed {' or '.join(self.seen)[:200] or 'another'}. "
            "Read the table again and repeat your change."
        )


class RowUnknown(RatesError):
    """No row of that name."""

    def __init__(self, table: str, row: str, nearest: Sequence[str] = ()) -> None:
        hint = f" Did you mean {' or '.join(nearest)}?" if nearest else ""
        super().__init__(f"The rate table {table} has no row {row[:60]}.{hint}")


class NotConfirmed(RatesError):
    """What may well be meant and is a slip as often; each entry has the code that confirms it."""

    def __init__(self, errors: Sequence[ProblemDetail]) -> None:
        what = "1 thing needs" if len(errors) == 1 else f"{len(errors)} things need"
        more = f" The first {MOST_NAMED} are named." if len(errors) > MOST_NAMED else ""
        super().__init__(
            f"{what} a second look; nothing was changed. What is meant so goes with its code into confirm.{more}",
            *errors[:MOST_NAMED],
        )


class DraftError(RatesError):
    """Anything that a draft cannot do as it stands."""


class DraftUnknown(DraftError):
    """No draft of that number."""

    def __init__(self, number: int) -> None:
        super().__init__(f"There is no draft {number} of the rates; see GET /v1/rates/drafts.")


class DraftStale(DraftError):
    """The draft was changed by somebody else between reading and publishing."""

    def __init__(self, number: int, current: str) -> None:
        self.current_tag = current
        super().__init__(
            f"Draft {number} was changed meanwhile; its ETag is now {current}. Read it again, then repeat your request."
        )


class DraftClosed(DraftError):
    """A draft that is not worked on any more."""

    def __init__(self, number: int, how: str, remedy: str) -> None:
        super().__init__(f"Draft {number} {how}. {remedy}")


class DraftOvertaken(DraftError):
    """A later revision changed tables of the draft; each entry names one."""

    def __init__(self, number: int, base: int, latest: int, changed: Sequence[tuple[str, Sequence[str]]]) -> None:
        self.tables = tuple(table for table, _ in changed)
        super().__init__(
            f"Draft {number} changes revision {base}, and {', '.join(self.tables)} changed until revision {latest}. "
            f"Bring them together with POST /v1/rates/drafts/{number}/rebase.",
            *(
                ProblemDetail(pointer=f"/tables/{table}", reason=f"changed meanwhile: {_some(rows)}", figure=latest, limit=base, remedy="rebase the draft")
                for table, rows in changed
            ),
        )  # fmt: skip


class DraftConflicts(DraftError):
    """Figures that the draft and a later revision both changed; each entry names row and field, of the draft and of the revision."""

    def __init__(self, number: int, errors: Sequence[ProblemDetail]) -> None:
        super().__init__(
            f"Draft {number} and the newest revision changed {_counted(errors, 'place')} each in its own way; nothing was done. "
            'Send {"conflicts": "draft"} or {"conflicts": "revision"} to say whose figures stand.',
            *errors[:MOST_NAMED],
        )


class DraftContradicts(DraftError):
    """Tables of a draft that do not agree with each other or with others; a pointer goes into the draft."""

    def __init__(self, number: int, errors: Sequence[ProblemDetail]) -> None:
        super().__init__(f"Draft {number} has {_counted(errors, 'contradiction')}; nothing was published.", *errors[:MOST_NAMED])


class DraftsTooMany(DraftError):
    """More drafts under work than are kept."""

    def __init__(self, most: int) -> None:
        super().__init__(f"{most} drafts are under work already; publish or delete one first.")


class TimePassed(DraftError):
    """A time to come into force that is gone."""

    def __init__(self, asked: datetime, now: datetime) -> None:
        super().__init__(
            "Rates come into force now or later, never in the past.",
            ProblemDetail(pointer="/effective_from", reason="that time is gone", figure=asked.isoformat(), limit=now.isoformat(),
                          remedy="a later time, or leave it out for now"),
        )  # fmt: skip


class RevisionLost(DraftError):
    """A revision with tables or columns that this release does not have, or without some that it needs."""

    def __init__(self, number: int, errors: Sequence[ProblemDetail]) -> None:
        super().__init__(
            f"Revision {number} cannot be brought back: it is of an earlier release, and {_counted(errors, 'thing')} in it cannot be read now. "
            "Read it with GET /v1/rates/tables/{table}?revision=" + f"{number}, and put what is still of use into a draft.",
            *errors[:MOST_NAMED],
        )


def _some(rows: Sequence[str]) -> str:
    return ", ".join(rows[:5]) + (f" and {len(rows) - 5} more rows" if len(rows) > 5 else "")


def _counted(errors: Sequence[ProblemDetail], what: str) -> str:
    if len(errors) == 1:
        return f"1 {what}"
    more = f" (the first {MOST_NAMED} are named)" if len(errors) > MOST_NAMED else ""
    return f"{len(errors)} {what}s{more}"
