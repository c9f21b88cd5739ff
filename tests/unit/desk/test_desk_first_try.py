"""Files of customers at the first try: read, asked or refused as they should be, and no cell of any is passed over in silence."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from functools import cache
from itertools import pairwise
from typing import Any

import pytest

from services.desk.intake.grid import letter_of
from shared_schemas.intake import CellRead, IntakeDraft
from tests.unit.desk.first_try.files import FILES
from tests.unit.desk.first_try.sample import Sample
from tests.unit.desk.first_try.trying import Outcome, tried, words_of

BY_NAME = {sample.name: sample for sample in FILES}


@cache
def outcome_of(name: str) -> Outcome:
    return tried(BY_NAME[name])


def named(samples: Iterator[Sample] | tuple[Sample, ...]) -> list[str]:
    return [sample.name for sample in samples]


def test_there_are_forty_files_and_more_and_no_two_of_a_name() -> None:
    assert len(BY_NAME) == len(FILES) >= 40
    assert set(Counter(sample.expected for sample in FILES)) == {"read", "asked", "refused"}


@pytest.mark.parametrize("name", BY_NAME)
def test_a_file_comes_out_as_it_should(name: str) -> None:
    sample, outcome = BY_NAME[name], outcome_of(name)
    assert outcome.kind == sample.expected, outcome.refused or [words_of(question) for question in outcome.asked]
    if sample.refused:
        assert sample.refused.lower() in outcome.refused.lower()
        return
    asked = [words_of(question).lower() for question in outcome.asked]
    assert [words for words in sample.asks if not any(words.lower() in each for each in asked)] == []
    assert [each for each in asked if not any(words.lower() in each for words in sample.asks)] == [], "nothing else is asked"
    assert outcome.last is not None
    assert outcome.last.request is not None, "with every question answered it is a request"
    lens = [
        (
            element.glass if isinstance(element.glass, str) else element.glass.model_dump(),
            *(radius and round(radius, 4) for radius in (element.front.radius_mm, element.back.radius_mm)),
            round(element.centre_thickness_mm, 4),
        )
        for element in outcome.last.request.prescription.elements
    ]
    assert lens == [
        (one.glass, *(radius and round(radius, 4) for radius in (one.front_mm, one.back_mm)), round(one.thickness_mm, 4))
        for one in sample.lens
    ]
    for element, piece in zip(outcome.last.request.prescription.elements, sample.lens, strict=True):
        assert piece.diameter_mm is None or element.diameter_mm == pytest.approx(piece.diameter_mm)
        assert element.front.clear_diameter_mm <= element.diameter_mm


@pytest.mark.parametrize("name", named(tuple(sample for sample in FILES if sample.holds or sample.assumed)))
def test_what_a_file_says_beside_the_lens_is_kept_and_what_is_assumed_is_told(name: str) -> None:
    sample, draft = BY_NAME[name], outcome_of(name).last
    assert draft is not None
    told = " ".join(f"{one.what} {one.rule}" for one in draft.assumptions)
    assert [words for words in sample.assumed if words not in told] == []
    assert {place: at(draft.document, place) for place in sample.holds} == sample.holds


def at(document: Any, place: str) -> Any:
    for step in place.split("/"):
        document = document[int(step)] if isinstance(document, list) else (document or {}).get(step)
    return document


@pytest.mark.parametrize("name", named(tuple(sample for sample in FILES if sample.cells and not sample.refused)))
def test_of_every_cell_it_is_said_what_became_of_it(name: str) -> None:
    sample, outcome = BY_NAME[name], outcome_of(name)
    assert outcome.first is not None
    assert outcome.last is not None
    for draft in (outcome.first, outcome.last):
        ledger = {(cell.spot.sheet, cell.spot.row, cell.spot.letter): cell for cell in draft.cells}
        silent = {
            spot: text for spot, text in sample.cells.items() if not stands(text, ledger.get((spot[0], spot[1], letter_of(spot[2] - 1))))
        }  # fmt: skip
        assert silent == {}, "a cell is passed over"
        assert [cell for cell in draft.cells if cell.fate == "not_needed" and not cell.why] == [], "why it is not needed is told"
    assert not [cell for cell in outcome.first.cells if cell.fate == "asked"] or outcome.first.questions
    assert list(used_nowhere(outcome.last)) == []


def stands(text: str, cell: CellRead | None) -> bool:
    """Whether the ledger has the text of a cell, figures by their value."""
    if cell is None:
        return False
    try:
        return float(cell.text) == float(text)
    except ValueError:
        return " ".join(cell.text.split()) == " ".join(text.split())


def used_nowhere(draft: IntakeDraft) -> Iterator[tuple[str, str]]:
    """Cells that are said to stand in the request, at a place that it does not have."""
    for cell in draft.cells:
        if cell.fate == "used" and cell.pointer and not leads(draft.document, cell.pointer):
            yield cell.text, cell.pointer


def leads(document: Mapping[str, Any], pointer: str) -> bool:
    """Whether a pointer by names of elements leads to something in the request; a plane face has no radius."""
    here: Any = document
    names = [str(one["name"]) for one in document["prescription"]["elements"]]
    for step in pointer.split("/")[1:]:
        if isinstance(here, list):
            by_name = {str(each.get("name")): each for each in here if isinstance(each, Mapping)}
            by_name |= {f"{one}-{other}": space for (one, other), space in zip(pairwise(names), here, strict=False)}
            here = by_name.get(step) if step in by_name else here[int(step)] if step.isdecimal() and int(step) < len(here) else None
            if here is None:
                return False
        elif isinstance(here, Mapping):
            if step not in here:
                return False
            here = here[step]
        else:
            return False
    return True


@pytest.mark.parametrize("name", named(tuple(sample for sample in FILES if sample.words and not sample.refused)))
def test_of_every_word_of_a_letter_it_is_said_what_became_of_it(name: str) -> None:
    sample, outcome = BY_NAME[name], outcome_of(name)
    assert outcome.last is not None
    told = Counter(word for cell in outcome.last.cells for word in plain(cell.text))
    silent = Counter(word for text in sample.words for word in plain(text)) - told
    assert silent == Counter()


def plain(text: str) -> list[str]:
    """The words of a text without what only holds columns apart."""
    return [bare for word in text.replace("|", " ").split() if (bare := word.strip("-|:;,./"))]


def test_a_slip_that_the_rays_show_is_asked_about_at_its_cell_with_the_repair_first() -> None:
    (question,) = outcome_of("lost minus.csv").asked
    assert (question.spot.row, question.spot.letter, question.figure) == (4, "B", 42.65)
    assert question.choices[0].answer == "-42.65"
