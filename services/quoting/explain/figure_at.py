"""Which figure stands at a place of a quote, and what lies behind it? The place is named by a JSON pointer.

Every number, amount and day of a ready quote has an answer. A figure that the request states is given; any other has a
formula and its inputs, a rate row, or the source that it was worked out by.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from services.quoting.errors import PointerNamesNoFigure
from services.quoting.explain.figures_of_break import figure_of_break
from services.quoting.explain.figures_of_check import figure_of_check
from services.quoting.explain.figures_of_parts import figure_of_bought_part, figure_of_element, figure_of_route, figure_of_tooling
from services.quoting.explain.figures_of_savings import figure_of_offer, figure_of_relaxation, figure_of_relaxations_together
from services.quoting.explain.places import Place, given
from shared_schemas.figure import Figure, PointedFigure
from shared_schemas.quote import ExplainedBreak

Document = Mapping[str, Any]
Explained = Callable[[], Sequence[ExplainedBreak]]

NAMES_SHOWN = 12


def figure_at(*, pointer: str, document: Document, explained: Explained) -> PointedFigure:
    """The figure at a pointer of a ready quote as JSON.

    Args:
        explained: gives the explained breaks; called only for a place in a break.

    Raises `PointerNamesNoFigure` where the pointer leads nowhere, or to something that is no figure.
    """
    tokens, value = _followed(pointer, document)
    if isinstance(value, dict) and _within_basis(tokens):
        return PointedFigure(pointer=pointer, **value)
    if value is None or isinstance(value, (bool, dict, list)):
        raise PointerNamesNoFigure(pointer, _why(value), _below(value))
    place = Place(tokens, value, document)
    found = _figure(place, explained)
    return PointedFigure(pointer=pointer, **{name: getattr(found, name) for name in Figure.model_fields})


def _figure(place: Place, explained: Explained) -> Figure:
    if _within_basis(place.tokens):
        return place.figure(source="the figure above it says what it is")
    head = place.tokens[0]
    if head == "breaks":
        quantity = place.at("breaks", place.tokens[1], "quantity")
        return figure_of_break(place, next(one.figures for one in explained() if one.quantity == quantity))
    return _BY_SECTION.get(head, _of_head)(place)


def _of_head(place: Place) -> Figure:
    """What stands at the top of a quote."""
    texts = {
        "rate_revision": "the revision of the rates in force when the request was accepted, or the one it asks for",
        "rate_digest": "SHA-256 of the rates in canonical JSON",
        "quoted_on": "the day the request was accepted",
        "number": "given by this server in the order of requests",
        "revision": "counted from 1, one more for each requote",
        "digest": "SHA-256 of what was worked out, in canonical JSON",
    }
    if place.name == "valid_until":
        return place.figure(
            formula="quoted_on + valid_days of the terms",
            inputs=(place.input("quoted_on", "quoted_on"),),
            source="rate table commercial",
        )
    if place.name in texts:
        return place.figure(source=texts[place.name])
    return given(place)


def _of_finding(place: Place) -> Figure:
    """A figure of a finding: its sentence says what it is, its source where the limit comes from."""
    finding = place.owner(2)
    return place.figure(
        unit=str(finding.get("unit", "")), formula=finding["message"], source=finding.get("source") or "this finding"
    )


def _of_caution(place: Place) -> Figure:
    return place.figure(source="the operation plan; local codes and licensed practice go before it")


_BY_SECTION: dict[str, Callable[[Place], Figure]] = {
    "prescription": given,
    "confidence": given,
    "currency": given,
    "customer": given,
    "check": figure_of_check,
    "elements": figure_of_element,
    "assembly": figure_of_route,
    "tooling": figure_of_tooling,
    "bought_parts": figure_of_bought_part,
    "offers": figure_of_offer,
    "relaxations": figure_of_relaxation,
    "best_relaxations": figure_of_relaxations_together,
    "findings": _of_finding,
    "cautions": _of_caution,
}


def _within_basis(tokens: Sequence[str]) -> bool:
    return "basis" in tokens


def _followed(pointer: str, document: Document) -> tuple[tuple[str, ...], Any]:
    """The tokens of a pointer, and what stands there."""
    tokens = tuple(part.replace("~1", "/").replace("~0", "~") for part in pointer.split("/")[1:])
    if not tokens or not pointer.startswith("/"):
        raise PointerNamesNoFigure(pointer, "it must begin with / and name a place", _below(document))
    here: Any = document
    for depth, token in enumerate(tokens):
        if isinstance(here, list) and token.isdecimal() and len(token) < 6 and int(token) < len(here):
            here = here[int(token)]
        elif isinstance(here, dict) and token in here:
            here = here[token]
        else:
            raise PointerNamesNoFigure(pointer, f"there is no {token} in /{'/'.join(tokens[:depth])}", _below(here))
    return tokens, here


def _why(value: Any) -> str:
    if value is None:
        return "nothing stands there"
    return "a yes or no stands there" if isinstance(value, bool) else "more than one figure stands there"


def _below(value: Any) -> str:
    """The first names or positions that stand in an object or a list."""
    names = list(value) if isinstance(value, dict) else []
    if isinstance(value, list):
        names = [str(number) for number in range(len(value))]
    shown = names[:NAMES_SHOWN]
    return ", ".join([*shown, "…"] if len(names) > len(shown) else shown)
