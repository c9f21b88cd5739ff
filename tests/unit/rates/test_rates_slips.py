"""One letter that is wrong in a name that something else speaks of is refused, in every column that there is or will be."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from services.rates.domain.revision import contradictions
from services.rates.domain.seed import seed_rates
from services.rates.domain.table_csv import validated_rows
from services.rates.errors import TableUnreadable
from shared_schemas.problem import ProblemDetail
from shared_schemas.rates import TABLES, OwnOperationRow, RateRow, Rates

Place = tuple[str | int, ...]

OF_ITS_OWN = "nothing in the rates speaks of a row of this table: what is asked of it is found by its other columns"
ASKED_BY_NAME = "requests speak of it, which are refused with the nearest name where there is no such row"
FREE: dict[tuple[str, str], str] = {
    ("*", "source"): "words for a person",
    ("*", "document"): "the number or words of a paper of a supplier or of the shop",
    ("allowances", "name"): OF_ITS_OWN,
    ("assembly", "name"): OF_ITS_OWN,
    ("calendar", "name"): OF_ITS_OWN,
    ("cementing", "name"): OF_ITS_OWN,
    ("coatings", "name"): ASKED_BY_NAME,
    ("extra_work", "name"): OF_ITS_OWN,
    ("glass_grades", "name"): OF_ITS_OWN,
    ("glass_grades", "grade"): "words for the order to the maker; a grade is found by its figure",
    ("glasses", "hazard"): "words for a person",
    ("grinding", "name"): OF_ITS_OWN,
    ("hardware", "name"): OF_ITS_OWN,
    ("inspection", "name"): OF_ITS_OWN,
    ("operations", "name"): ASKED_BY_NAME,
    ("operations", "supplier"): "whom it is sent to, in words; a supplier of such a step has no row of its own",
    ("outside_work", "name"): OF_ITS_OWN,
    ("polishing", "name"): OF_ITS_OWN,
    ("pressed_aspheres", "name"): OF_ITS_OWN,
    ("stock_forms", "name"): OF_ITS_OWN,
    ("stock_forms", "supplier"): "from whom it is ordered, in words; a supplier of glass has no row of its own",
    ("tolerance_classes", "name"): OF_ITS_OWN,
    ("tooling", "name"): OF_ITS_OWN,
    ("turning", "name"): OF_ITS_OWN,
    ("yields", "name"): OF_ITS_OWN,
    ("metals", "finish"): "words for the order of the finish, which has its price beside it",
    ("commercial", "freight_terms"): "words for the customer, which the sheet shows as they are",
    ("work_centres", "id"): "what the row is known by is whatever it says; a table that speaks of it is held against it",
}
"""Columns of text that may say anything, each with the reason; every other is a closed list or is held against what it speaks of."""


def strings(value: Any, place: Place = ()) -> Iterator[tuple[Place, str]]:
    """Every string within a row, with its place."""
    if isinstance(value, str):
        yield place, value
    elif isinstance(value, dict):
        for key, one in value.items():
            yield from strings(one, (*place, key))
    elif isinstance(value, (list, tuple)):
        for number, one in enumerate(value):
            yield from strings(one, (*place, number))


def column_of(place: Place) -> str:
    return "/".join(str(step) for step in place if isinstance(step, str))


def filled(rates: Rates) -> Rates:
    """The rates with rows in the table that begins empty, and a supplier of glass."""
    said = {"source": "agreed at the bench", "as_of": date(2026, 11, 2), "after": "final_test", "on": "assembly"}
    leak = OwnOperationRow(name="leak test", work_centre="test-bench", minutes_each=6.0, **said)  # type: ignore[arg-type]
    plating = OwnOperationRow(name="plating", supplier="plating house", piece_charge=Decimal(4), sequence=2, **said)  # type: ignore[arg-type]
    slab, *others = rates.stock_forms
    bought = slab.model_copy(update={"supplier": "a dealer in glass"})
    return rates.model_copy(update={"operations": (leak, plating), "stock_forms": (bought, *others)})


def columns_in(rates: Rates) -> dict[tuple[str, str], tuple[int, Place]]:
    """Every column of text that a row of a table fills, with the number of the first such row and the place in it."""
    found: dict[tuple[str, str], tuple[int, Place]] = {}
    for table in TABLES:
        for number, row in enumerate(getattr(rates, table)):
            for place, word in strings(row.model_dump(by_alias=True)):
                if word:
                    found.setdefault((table, column_of(place)), (number, place))
    return found


RATES = filled(seed_rates())
COLUMNS = columns_in(RATES)
HELD = {key: at for key, at in COLUMNS.items() if key not in FREE and ("*", key[1]) not in FREE}


def with_a_slip(word: str) -> str:
    """The word with one letter of its middle changed, or one digit."""
    place = len(word) // 2
    letter = word[place]
    other = str((int(letter) + 5) % 10) if letter.isdigit() else ("q" if letter.islower() or not letter.isalpha() else "Q")
    return word[:place] + other + word[place + 1 :]


def faults_with_a_slip(rates: Rates, table: str, number: int, place: Place) -> list[ProblemDetail]:
    """What is refused of a table whose row has a slip at a place."""
    records = [row.model_dump(mode="json", by_alias=True) for row in getattr(rates, table)]
    *way, last = place
    within: Any = records[number]
    for step in way:
        within = within[step]
    within[last] = with_a_slip(within[last])
    try:
        rows: tuple[RateRow, ...] = validated_rows(table, records)
    except TableUnreadable as refused:
        return list(refused.errors)
    return contradictions(rates.model_copy(update={table: rows}), table)


@pytest.mark.parametrize(("table", "column"), HELD, ids=lambda part: part)
def test_one_wrong_letter_is_refused_with_what_would_do(table: str, column: str) -> None:
    number, place = HELD[table, column]
    faults = faults_with_a_slip(RATES, table, number, place)
    assert faults, "it would be taken, and nobody would see it"
    assert all(fault.remedy for fault in faults)


def test_every_free_column_is_one_that_there_is() -> None:
    assert {key for key in FREE if key[0] != "*"} <= set(COLUMNS)


def test_a_method_with_a_letter_wrong_is_refused_with_the_nearest(rates: Rates) -> None:
    number = next(number for number, row in enumerate(rates.work_centres) if row.method == "single")
    wrong = [row.model_copy(update={"method": "singel"} if place == number else {}) for place, row in enumerate(rates.work_centres)]
    (fault,) = contradictions(rates.model_copy(update={"work_centres": tuple(wrong)}), "work_centres")
    assert fault.pointer == f"/rows/{number}/method"
    assert fault.remedy is not None
    assert fault.remedy.startswith("single, if that is meant")
