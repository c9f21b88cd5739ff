"""Names in a draft that the rates do not have: each is a question, with the nearest names that they do have."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from difflib import get_close_matches
from typing import Any

from services.desk.drafts.places import name_of
from shared_schemas.glass_reference import GlassNotFound, find_glass
from shared_schemas.intake import Choice, Question
from shared_schemas.rates import Rates

PREFIX = "name"
NONE = "none"
"""What is answered where there is to be nothing: no coating, no day, no such step."""
NEAREST = 6


def questions_of_names(document: Mapping[str, Any], rates: Rates, *, today: date) -> list[Question]:
    """A question for every glass, coating, step, currency and class of customer that the rates do not know, and for a day that is gone."""
    return [
        *_glasses(document, rates),
        *_coatings(document, rates),
        *_steps(document, rates),
        *_terms(document, rates),
        *_day(document, today),
    ]


def _elements(document: Mapping[str, Any]) -> Iterator[tuple[str, Mapping[str, Any]]]:
    prescription = document.get("prescription")
    elements = prescription.get("elements") if isinstance(prescription, Mapping) else None
    for number, element in enumerate(elements if isinstance(elements, list) else ()):
        if isinstance(element, Mapping):
            yield f"/prescription/elements/{number}", element


def _glasses(document: Mapping[str, Any], rates: Rates) -> Iterator[Question]:
    for place, element in _elements(document):
        glass = element.get("glass")
        if not isinstance(glass, str):
            continue
        try:
            find_glass(glass, rates)
        except GlassNotFound as fault:
            asks = f"{element.get('name') or 'An element'} is of {glass[:60]}: {str(fault).rstrip('?.')}. Which glass is it?"
            choices = [Choice(answer=name, means=f"the glass {name}") for name in fault.candidates]
            yield _question(f"{place}/glass", document, asks, glass, choices)


def _coatings(document: Mapping[str, Any], rates: Rates) -> Iterator[Question]:
    known = [row.name for row in rates.coatings]
    for place, element in _elements(document):
        for face in ("front", "back"):
            surface = element.get(face)
            coating = surface.get("coating") if isinstance(surface, Mapping) else None
            if isinstance(coating, str) and coating not in known:
                asks = f"The {face} of {element.get('name') or 'an element'} has the coating {coating[:60]}, which the rates do not know. Which is it?"
                choices = [*_choices(coating, known, "the coating"), Choice(answer=NONE, means="an uncoated face")]
                yield _question(f"{place}/{face}/coating", document, asks, coating, choices)


def _steps(document: Mapping[str, Any], rates: Rates) -> Iterator[Question]:
    known = [row.name for row in rates.operations]
    for number, name in enumerate(document.get("own_operations") or ()):
        if isinstance(name, str) and name not in (*known, NONE):
            asks = f"The shop has no step called {name[:60]}. Which is it?"
            choices = [*_choices(name, known, "the step"), Choice(answer=NONE, means="no such step")]
            yield _question(f"/own_operations/{number}", document, asks, name, choices)


def _terms(document: Mapping[str, Any], rates: Rates) -> Iterator[Question]:
    for field, what, known in (
        ("currency", "currency", [row.name for row in rates.currencies]),
        ("customer_class", "class of customer", [row.name for row in rates.commercial]),
    ):
        name = document.get(field)
        if isinstance(name, str) and name not in known:
            asks = f"The rates have no {what} {name[:60]}. Which is it?"
            yield _question(f"/{field}", document, asks, name, _choices(name, known, f"the {what}"))


def _day(document: Mapping[str, Any], today: date) -> Iterator[Question]:
    said = document.get("needed_by")
    try:
        day = date.fromisoformat(said) if isinstance(said, str) else None
    except ValueError:
        day = None
    if day is not None and day < today and isinstance(said, str):
        asks = f"It is needed by {day}, and that day is gone. By when is it needed? Answer year, month and day, as 2027-03-01."
        yield _question("/needed_by", document, asks, said, [Choice(answer=NONE, means="no day is said")])


def _choices(name: str, known: list[str], what: str) -> list[Choice]:
    """The nearest names first, then others, as many as can be looked through."""
    near = get_close_matches(name, known, n=NEAREST, cutoff=0.4)
    every = list(dict.fromkeys([*near, *known]))[: max(NEAREST, len(near))]
    return [Choice(answer=one, means=f"{what} {one}") for one in every]


def _question(pointer: str, document: Mapping[str, Any], asks: str, figure: str, choices: Iterable[Choice]) -> Question:
    return Question(
        name=name_of(PREFIX, pointer, document), pointer=pointer, asks=asks[:2000], figure=figure[:200], choices=tuple(choices)
    )


def tidied(document: dict[str, Any]) -> dict[str, Any]:
    """The document without steps that an answer took out."""
    steps = document.get("own_operations")
    return document | {"own_operations": [step for step in steps if step != NONE]} if isinstance(steps, list) else document
