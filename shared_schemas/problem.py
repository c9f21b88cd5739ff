"""Errors as RFC 9457 problem documents."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field

from shared_schemas.base import Contract


def _unsaid(value: object) -> bool:
    return value is None


OnlyWhereSaid = Field(exclude_if=_unsaid)
"""A field that is not written where it says nothing: a reader of an earlier release does not know it."""


class ProblemDetail(Contract):
    """One thing that is wrong: where (JSON pointer), what, the figure, the limit, and what would do.

    Of a table that came as CSV `line` is its line, from 1 with the heads, and `column` its head. `code` is what would be confirmed.
    """

    pointer: str
    reason: str
    figure: Any = None
    limit: Any = None
    remedy: str | None = None
    line: Annotated[int | None, OnlyWhereSaid] = None
    column: Annotated[str | None, OnlyWhereSaid] = None
    code: Annotated[str | None, OnlyWhereSaid] = None


class Problem(Contract):
    """A problem document; `type` is a page that explains it, `instance` the request it happened in."""

    type: str
    title: str
    status: int
    detail: str
    instance: str | None = None
    errors: tuple[ProblemDetail, ...] = ()


class Explained(Exception):
    """An error that explains itself: a sentence, and for each thing wrong the pointer, figure, limit and remedy.

    The errors of every service derive from it; which HTTP status one gets is said where it meets HTTP, not here.
    """

    def __init__(self, sentence: str, *errors: ProblemDetail) -> None:
        self.errors = errors
        super().__init__(sentence)


class FigureOutOfRange(Explained):
    """A figure for which a formula has no answer, and what it must be."""

    def __init__(self, name: str, figure: float, limit: str) -> None:
        self.name = name
        super().__init__(
            f"The {name} is {figure:g}; it must be {limit}.",
            ProblemDetail(pointer="", reason=f"the {name} cannot be", figure=figure, limit=limit),
        )
