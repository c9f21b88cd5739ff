"""What the desk makes of a customer's table, file or letter: a request as far as it is known, what was assumed, what is asked.

Nothing of what a customer wrote is dropped in silence: of every cell that holds something `cells` says what became of it.
"""

from __future__ import annotations

from operator import not_
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from shared_schemas.base import NO_CONTROLS, Contract, Fault, Text, refuse_if_any
from shared_schemas.quote_request import QuoteRequest

MOST_BYTES = 4 * 1024 * 1024
"""No table of a lens is longer."""

MOST_ROWS = 2000
MOST_CELLS = 40_000

Fate = Literal["used", "assumed", "asked", "heading", "not_needed"]
"""What becomes of a cell: it stands in the request; it does so by a rule that is told; it is asked about; it only names others; or it says
nothing that a quote needs, and why is told (a running number, the image plane)."""


class Spot(Contract):
    """Where something stands in what was sent: the sheet of a workbook, the row from 1, the head of the column and its letter, the word."""

    sheet: Annotated[str, Field(exclude_if=not_)] = ""
    row: Annotated[int, Field(ge=0, exclude_if=not_)] = 0
    column: Annotated[str, Field(exclude_if=not_)] = ""
    letter: Annotated[str, Field(exclude_if=not_)] = ""
    word: Annotated[str, Field(exclude_if=not_)] = ""


class CellRead(Contract):
    """One cell, or a word or line of free text: what stands there, what became of it, and the place in the request where that is (by names of
    elements, as `/prescription/elements/L2/front/radius_mm`). `why` says why it is not needed, or by which rule it was read."""

    spot: Spot
    text: Annotated[str, Field(max_length=2000)]
    fate: Fate
    pointer: Annotated[str, Field(exclude_if=not_)] = ""
    why: Annotated[str, Field(exclude_if=not_)] = ""


class Assumption(Contract):
    """Something that was not said and taken by a rule: where it stands in the request, what was taken, and the rule."""

    pointer: Annotated[str, Field(max_length=300)]
    what: Text
    rule: Text
    spot: Spot = Spot()


class Choice(Contract):
    """An answer to a question: what is to be sent, and what it would mean."""

    answer: Annotated[str, Field(min_length=1, max_length=200)]
    means: Text


class Question(Contract):
    """Something that only the customer or the desk knows. `name` is the same whenever the same file is read; an answer is sent under it.

    `choices` are the answers that are likely, the likeliest first: a repair of a slipped decimal, a unit. With `free` anything else may be
    answered too. `figure` is what stands there.
    """

    name: Annotated[str, Field(min_length=1, max_length=200)]
    pointer: Annotated[str, Field(max_length=300)]
    asks: Text
    figure: Any = None
    choices: tuple[Choice, ...] = ()
    free: bool = True
    spot: Spot = Spot()


class IntakeDraft(Contract):
    """What became of a table or letter. `recognised` says how it was read: the sheet, the row of the heads, the shape, the unit, the decimal sign.

    `document` is the request as far as it is known, and `request` the whole of it, `None` while a question stands. `digest` is of all that a
    confirmation confirms: request, assumptions and answers.
    """

    name: str
    recognised: tuple[Text, ...]
    document: dict[str, Any]
    request: QuoteRequest | None
    assumptions: tuple[Assumption, ...] = ()
    questions: tuple[Question, ...] = ()
    cells: tuple[CellRead, ...] = ()
    digest: str


Answers = Annotated[dict[str, Annotated[str, Field(max_length=200)]], Field(max_length=500)]
"""Answers by the names of their questions."""


class IntakeRequest(Contract):
    """A table, file or letter to be read: `text` as it was pasted, or `content_base64` of a file. `name` is what the file is called.

    `asked` is what the desk says beside it, fields of a quote request that override the file. `confirm` is the digest of a draft, which
    makes the quote when the same content with the same answers gives that draft again.
    """

    name: Annotated[str, Field(min_length=1, max_length=200, pattern=NO_CONTROLS)] = "what was pasted"
    text: Annotated[str, Field(max_length=MOST_BYTES)] | None = None
    content_base64: Annotated[str, Field(max_length=MOST_BYTES * 4 // 3 + 4)] | None = None
    sheet: Annotated[str, Field(max_length=100, pattern=NO_CONTROLS)] | None = None
    answers: Answers = Field(default_factory=dict)
    asked: dict[str, Any] = Field(default_factory=dict)
    confirm: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")] | None = None

    @model_validator(mode="after")
    def _text_or_content(self) -> IntakeRequest:
        if (self.text is None) == (self.content_base64 is None):
            fault = Fault(
                "text",
                reason="a table is pasted as text or sent as a file",
                figure=None,
                limit="text or content_base64, one of the two",
                remedy="leave out the one that is not meant",
            )
            refuse_if_any(self, [fault])
        return self
