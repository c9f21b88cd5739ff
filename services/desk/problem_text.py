"""What is wrong with a document, in lines a person reads."""

from __future__ import annotations

from collections.abc import Iterable

from shared_schemas.problem import ProblemDetail


def problem_lines(details: Iterable[ProblemDetail]) -> list[str]:
    """Each thing wrong, in one line: where, what, the figure, the limit, what would do."""
    return [_line(detail) for detail in details]


def _line(detail: ProblemDetail) -> str:
    what = detail.reason.rstrip(".")
    remedy_said = (detail.remedy or "").rstrip(".")
    limit = f" ({_shown(detail.figure)}; limit {_shown(detail.limit)})" if detail.limit is not None else ""
    remedy = f". What would do: {remedy_said}" if remedy_said and remedy_said not in what else ""
    # The reason of a cell of a table says row and column itself.
    where = "" if detail.pointer.startswith("/row ") else f"{detail.pointer or 'the document'}: "
    end = "" if (what + limit + remedy).endswith("?") else "."
    return f"{where}{what}{limit}{remedy}{end}"


def _shown(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)
