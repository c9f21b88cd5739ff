"""How many pieces of a lot are looked at: single sampling by attributes, normal inspection, ISO 2859-1."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass, replace
from functools import lru_cache

from shared_schemas.operations import SampleStep
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import AQLS_PERCENT

LOTS_UP_TO = (8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10_000, 35_000, 150_000, 500_000)
"""Upper ends of the ranges of lot size; a last range is open. Table 1 of ISO 2859-1, as all of this file from memory; it agrees
with the chart at https://pdfcoffee.com/aql-sampling-chart-pdf-free.html."""

LETTERS = "ABCDEFGHJKLMNPQR"
LETTERS_OF_LEVEL = {"I": "AABCCDEFGHJKLMN", "II": "ABCDEFGHJKLMNPQ", "III": "BCDEFGHJKLMNPQR"}
"""Code letter of each range of lot size, by general inspection level (table 1)."""

SAMPLE_SIZES = (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000)
"""Of the letters A to R (table 2-A)."""

COLUMN_OF_ZERO_FOR_A = AQLS_PERCENT.index(6.5)
"""Column in which letter A accepts on 0. With each letter it stands one column further left."""

ACCEPTS = (0, None, None, 1, 2, 3, 5, 7, 10, 14, 21, 30, 44)
"""Ac of a letter, counted in columns from the one in which it accepts on 0. Table 2-A is that diagonal: an arrow up stands right of
the 0, an arrow down behind it. Re = Ac + 1."""

LARGEST_ACCEPT_FROM_F = 21
"""From letter F on a row ends at 21, with arrows up behind it; A to E go on to 30 and 44."""


@dataclass(frozen=True)
class SamplingPlan:
    """A single sampling plan: its code letter, how many pieces are looked at, and with how many bad ones a lot passes or fails."""

    letter: str
    pieces: int
    accept: int

    @property
    def reject(self) -> int:
        """With so many bad ones the lot fails."""
        return self.accept + 1


def code_letter(*, lot: int, level: str) -> str:
    """Code letter of a lot size at a general inspection level I, II or III; raises `FigureOutOfRange` for a lot below 2."""
    if lot < 2:
        raise FigureOutOfRange("lot [pieces]", lot, "2 and above")
    return LETTERS_OF_LEVEL[level][bisect_left(LOTS_UP_TO, lot)]


def sampling_plan(*, lot: int, aql_percent: float, level: str) -> SamplingPlan:
    """The plan for a lot, arrows followed to the first plan; the whole lot where that asks for as many or more.

    Source: ISO 2859-1:1999, tables 1 and 2-A, from memory.

    Raises: FigureOutOfRange for a lot below 2, or an AQL that is no column of the table.
    """
    found = plan_of_letter(code_letter(lot=lot, level=level), aql_percent=aql_percent)
    return replace(found, pieces=min(found.pieces, lot))


def plan_of_letter(letter: str, *, aql_percent: float) -> SamplingPlan:
    """The plan of a code letter in table 2-A, arrows followed; raises `FigureOutOfRange` for an AQL that is no column."""
    if aql_percent not in AQLS_PERCENT:
        raise FigureOutOfRange("AQL [%]", aql_percent, f"one of {', '.join(f'{aql:g}' for aql in AQLS_PERCENT)}")
    column = AQLS_PERCENT.index(aql_percent)
    row = LETTERS.index(letter)
    while (step := _arrow(row, column)) != 0:
        row += step
    accept = ACCEPTS[_offset(row, column)]
    assert accept is not None
    return SamplingPlan(LETTERS[row], SAMPLE_SIZES[row], accept)


def _offset(row: int, column: int) -> int:
    return column - COLUMN_OF_ZERO_FOR_A + row


def _arrow(row: int, column: int) -> int:
    """0 where the table has a plan, 1 where an arrow leads down a row, -1 where it leads up.

    Notes: in the corners the arrows turn: letter A has nothing above it, R nothing below.
    """
    offset = _offset(row, column)
    if offset < 0 or offset == 2:
        return 1 if row + 1 < len(LETTERS) else -1
    if offset == 1:
        return -1 if row > 0 else 1
    if offset >= len(ACCEPTS):
        return -1
    accept = ACCEPTS[offset]
    return -1 if accept is not None and accept > LARGEST_ACCEPT_FROM_F and LETTERS[row] >= "F" else 0


@lru_cache(maxsize=256)
def sample_steps(*, aql_percent: float, level: str) -> tuple[SampleStep, ...]:
    """Pieces that are looked at, by lot size, smallest first; neighbouring ranges with one plan are one step."""
    found: list[SampleStep] = []
    for up_to, letter in zip((*LOTS_UP_TO, None), LETTERS_OF_LEVEL[level], strict=True):
        plan = plan_of_letter(letter, aql_percent=aql_percent)
        if found and (found[-1].pieces, found[-1].accept) == (plan.pieces, plan.accept):
            found.pop()
        found.append(SampleStep(up_to=up_to, pieces=plan.pieces, accept=plan.accept))
    return tuple(found)
