"""What can go wrong with rates.

Explained
└── RatesError
    ├── TableUnknown       no table of that name
    ├── TableUnreadable    rows that do not have the table's shape
    ├── RevisionUnknown    no revision of that number
    └── RevisionStale      the table was changed by somebody else meanwhile
"""

from __future__ import annotations

from collections.abc import Sequence

from shared_schemas.problem import Explained, ProblemDetail
from shared_schemas.rates import TABLES


class RatesError(Explained):
    """Anything this service refuses."""


class TableUnknown(RatesError):
    """No table of that name."""

    def __init__(self, table: str) -> None:
        self.table = table
        super().__init__(f"There is no rate table {table}. The tables are {', '.join(TABLES)}.")


class TableUnreadable(RatesError):
    """Rows that do not have the table's shape; every wrong cell is named."""

    def __init__(self, table: str, errors: Sequence[ProblemDetail]) -> None:
        self.table = table
        cells = "1 cell" if len(errors) == 1 else f"{len(errors)} cells"
        super().__init__(f"The rate table {table} has {cells} that cannot be read; nothing was changed.", *errors)


class ReasonMissing(RatesError):
    """A change that does not say why."""

    def __init__(self, table: str) -> None:
        super().__init__(
            f"A change of {table} says why; with a CSV body, in ?reason=….",
            ProblemDetail(pointer="/query/reason", reason="it is missing", remedy="add ?reason=… to the address"),
        )


class RevisionUnknown(RatesError):
    """No revision of that number."""

    def __init__(self, number: int, latest: int) -> None:
        self.number = number
        self.latest = latest
        super().__init__(f"There is no rate revision {number}; the latest is {latest}.")


class RevisionStale(RatesError):
    """The table was changed by somebody else between reading and writing."""

    def __init__(self, table: str, seen: str, current: str) -> None:
        self.table = table
        super().__init__(f"The table {table} is now at {current}, and you changed {seen}. Read it again and repeat your change.")
