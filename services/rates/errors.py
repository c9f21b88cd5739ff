"""What can go wrong with rates.

Explained
└── RatesError
    ├── TableUnknown       no table of that name
    ├── TableUnreadable    rows that do not have the table's shape
    ├── TableContradicts   rows that do not agree with each other or with another table
    ├── AnswersUnreadable  answers to the first day's questions that do not read as what was asked
    ├── ReasonMissing      a change that does not say why
    ├── IfMatchUnreadable  a header If-Match without an ETag in quotes
    ├── RevisionUnknown    no revision of that number
    ├── ProposalUnknown    no proposal of that number, or no longer
    └── RevisionStale      the table was changed by somebody else meanwhile
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

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
        self.current = current
        super().__init__(
            f"The ETag of the table {table} is now {current}, and you changed {' or '.join(self.seen)[:200] or 'another'}. "
            "Read the table again and repeat your change."
        )


def _counted(errors: Sequence[ProblemDetail], what: str) -> str:
    if len(errors) == 1:
        return f"1 {what}"
    more = f" (the first {MOST_NAMED} are named)" if len(errors) > MOST_NAMED else ""
    return f"{len(errors)} {what}s{more}"
