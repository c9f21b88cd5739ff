"""The questions by which a new shop's tables are begun, and their answers."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from shared_schemas.base import Contract, Name, Text
from shared_schemas.rate_row import Said

AnswerKind = Literal["money", "number", "count", "percent", "yes_no", "currency", "days"]
Answer = Annotated[str, Field(min_length=1, max_length=2000)]
"""As a person writes it: 44.50, 8, 97, yes, EUR, or days as 2026-12-24, 2026-12-28..2027-01-02."""


class FirstDayQuestion(Contract):
    """One question: `usual` is what the newest rates say, and what stands where nobody answers."""

    name: Name = Field(description="Key of the answer.")
    subject: Name = Field(description="What it belongs to, such as labour or glass.")
    words: Text
    kind: AnswerKind
    unit: Annotated[str, Field(max_length=40)] = Field(description="Empty where it has none.")
    least: float | None = None
    most: float | None = None
    usual: str
    changes: Text = Field(description="The tables and columns that the answer goes to.")


class FirstDay(Contract):
    """All questions, in the order in which they are asked."""

    revision: int = Field(description="The rates that `usual` is read from.")
    questions: tuple[FirstDayQuestion, ...]


class FirstDayAnswers(Contract):
    """What a shop answered; questions that are left out keep what is usual."""

    answers: dict[Name, Answer]
    reason: Said = "first day of the shop"


class FirstDayCheck(Contract):
    """How many rows each table has that the answers change."""

    revision: int
    tables: dict[str, int]
