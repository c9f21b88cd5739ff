"""Which figure stands at a place of a quote, and what lies behind it? The place is named by a JSON pointer.

Every number, amount and day of a ready quote has an answer: the customer's own figure, the law that gave it with its inputs, the
row of the rates, the decision with its alternatives, or the method by which it was found.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from services.quoting.errors import PointerNamesNoFigure
from services.quoting.explain.figures_of_break import figure_of_break
from services.quoting.explain.figures_of_savings import figure_of_offer, figure_of_relaxation, figure_of_relaxations_together
from services.quoting.explain.places import Place, basis_in, names_below, place_at
from services.quoting.pricing.overridden.setting import said_of
from shared_schemas.figure import Figure, PointedFigure, RateRowRef
from shared_schemas.overrides import AppliedOverride
from shared_schemas.quote import ExplainedBreak

Document = Mapping[str, Any]
Explained = Callable[[], Sequence[ExplainedBreak]]

GIVEN = "the request"
OF_ITS_WAYS = ("routes", "blanks", "tooling")
"""What a quantity has of its own where it is made in another way: told as what stands beside the breaks."""
TERMS_OF = {"valid_until": "valid_days", "tooling_terms": "tooling"}
"""What of the terms decides a figure at the top of a quote."""
OF_A_FIGURE = "part of what explains a figure"


def figure_at(*, pointer: str, document: Document, explained: Explained) -> PointedFigure:
    """The figure at a pointer of a ready quote as JSON.

    Args:
        explained: gives the explained breaks; called only for a place in a break.

    Raises `PointerNamesNoFigure` where the pointer leads nowhere, or to something that is no figure.
    """
    place = place_at(pointer, document)
    value = place.value
    if value is None or isinstance(value, (bool, list)) or (isinstance(value, dict) and "basis" not in place.tokens[:-1]):
        raise PointerNamesNoFigure(pointer, _why(value), names_below(value))
    figure = _followed(_figure(place, explained), document, explained, seen=(pointer,))
    return PointedFigure(pointer=pointer, **{name: getattr(figure, name) for name in Figure.model_fields})


def _followed(figure: Figure, document: Document, explained: Explained, *, seen: tuple[str, ...]) -> Figure:
    """A figure that only says where else it stands, with what explains it there; a way round ends where it began."""
    if figure.at is None or figure.at in seen or figure.formula or figure.rate_row or figure.reason:
        return figure
    place = place_at(figure.at, document)
    if place.value is None or isinstance(place.value, (bool, dict, list)):
        return figure.model_copy(update={"source": figure.source or GIVEN})
    there = _figure(place, explained)
    there = _followed(there, document, explained, seen=(*seen, figure.at))
    answer = {name: getattr(there, name) for name in ("formula", "reason", "inputs", "rate_row", "source")}
    return figure.model_copy(update=answer)


def _figure(place: Place, explained: Explained) -> Figure:
    if "basis" in place.tokens[:-1]:
        return _within_basis(place)
    head = place.tokens[0]
    if head == "breaks" and len(place.tokens) > 2 and place.tokens[2] in OF_ITS_WAYS:
        return _of_basis(place) or _of_plans(place)
    if head == "breaks":
        quantity = place.at("breaks", place.tokens[1], "quantity")
        return figure_of_break(place, next(one.figures for one in explained() if one.quantity == quantity))
    return _of_basis(place) or _BY_SECTION.get(head, _of_head)(place)


def _of_basis(place: Place) -> Figure | None:
    """What the basis of the nearest object around a place has under its name; of a list the figure of the same position."""
    by_position = place.tokens[-1].isdecimal()
    for owner in place.owners():
        figures = [one for one in basis_in(owner) if one.name == place.name]
        if figures:
            number = int(place.tokens[-1]) if by_position and len(figures) > 1 else 0
            return place.of(figures[min(number, len(figures) - 1)])
        if "basis" in owner:
            return None
    return None


def _within_basis(place: Place) -> Figure:
    """A figure of a basis; one that says nothing of itself is a column of the row that the nearest figure above it quotes."""
    if isinstance(place.value, dict):
        return _with_row(Figure.model_validate(place.value), place)
    owner = place_at("/" + "/".join(token.replace("~", "~0").replace("/", "~1") for token in place.tokens[:-1]), place.document)
    if place.tokens[-1] == "value":
        return _with_row(Figure.model_validate(owner.value), owner)
    return place.explained_by(source=OF_A_FIGURE)


def _with_row(figure: Figure, place: Place) -> Figure:
    if figure.formula or figure.reason or figure.rate_row or figure.source or figure.at:
        return figure
    return figure.model_copy(update={"rate_row": _row_above(place)})


def _row_above(place: Place) -> RateRowRef | None:
    """The row that the nearest figure above quotes, or the nearest beside that one."""
    for owner in place.owners():
        if "rate_row" in owner:
            return RateRowRef.model_validate(owner["rate_row"])
    return next(_rows(place.owners()), None)


def _rows(owners: Sequence[Mapping[str, Any]]) -> Iterator[RateRowRef]:
    for owner in owners:
        for beside in (*owner.get("inputs", ()), *owner.get("basis", ())):
            if "rate_row" in beside:
                yield RateRowRef.model_validate(beside["rate_row"])


def _of_head(place: Place) -> Figure:
    """What stands at the top of a quote."""
    sources = {
        "rate_revision": "the revision of the rates in force when the request was accepted, or the one it asks for",
        "rate_digest": "SHA-256 of the rates in canonical JSON",
        "quoted_on": "the day the request was accepted",
        "number": "given by this server in the order of requests",
        "revision": "counted from 1, one more for each requote",
        "digest": "SHA-256 of what was worked out, in canonical JSON",
        "valid_until": "quoted_on and the valid_days of the terms: rate table commercial",
        "tooling_terms": "rate table commercial: tooling of the terms",
    }
    return place.explained_by(source=sources.get(place.name, GIVEN), reason=_set_by(place, f"/terms/{TERMS_OF.get(place.name)}"))


def _set_by(place: Place, pointer: str) -> str | None:
    """Who set a figure of the worksheet when, and why; `None` where nobody did."""
    overrides: Sequence[Mapping[str, Any]] = place.document.get("overrides", ())
    return next((said_of(AppliedOverride.model_validate(one)) for one in overrides if one["pointer"] == pointer), None)


def _of_override(place: Place) -> Figure:
    """A figure of an override: who set it, or that it would be worked out."""
    override = place.at(*place.tokens[:2])
    if place.tokens[2] == "base":
        return place.explained_by(source="worked out: what would stand there without the override")
    return place.explained_by(reason=_set_by(place, override["pointer"]))


def _given(place: Place) -> Figure:
    return place.explained_by(source=GIVEN)


def _of_finding(place: Place) -> Figure:
    """A figure of a finding: its sentence says why it matters, its source where the limit comes from."""
    finding = next(owner for owner in place.owners() if "message" in owner)
    return place.explained_by(
        unit=str(finding.get("unit", "")), reason=finding["message"], source=finding.get("source") or "this finding"
    )


def _of_check(place: Place) -> Figure:
    if "findings" in place.tokens:
        return _of_finding(place)
    return place.explained_by(source="the check of the prescription")


def _of_plans(place: Place) -> Figure:
    """What the plans before say of a blank, an operation, a tool or a bought part beyond their basis."""
    if "sampled" in place.tokens:
        return place.explained_by(source="ISO 2859-1, normal inspection, single sampling, from memory")
    if "operations" in place.tokens:
        return _of_operation(place)
    if "blank" in place.tokens:
        return place.explained_by(source="the blank plan")
    if "consumes" in place.tokens:
        return place.explained_by(source="the prescription: which elements are cemented, and that each lens has one of every part")
    return place.explained_by(source="the operation plan")


OF_REWORK = ("rework_share", "rework_yield", "rework_min")


def _of_operation(place: Place) -> Figure:
    """A figure of an operation that its basis has under no name of its own: a column of a row that the others quote."""
    table = {"batch_loss": "yields", "attended_share": "work_centres", **dict.fromkeys(OF_REWORK, "yields")}.get(place.name)
    row = next((one for one in _rows_in(basis_in(place.owners()[0])) if one.table == table), None)
    if row is not None:
        return place.explained_by(rate_row=row)
    sources = {
        "piece_min": "pieces go one at a time: their minutes are those of the batch",
        "consumables": "nothing is spent on it besides its minutes",
        "batch_loss": "no batch of it is lost as a whole",
    }
    return place.explained_by(source=sources.get(place.name, "the operation plan"))


def _rows_in(figures: Sequence[Figure]) -> Iterator[RateRowRef]:
    for figure in figures:
        if figure.rate_row is not None:
            yield figure.rate_row
        yield from _rows_in(figure.inputs)


def _of_caution(place: Place) -> Figure:
    return place.explained_by(source="the operation plan; local codes and licensed practice go before it")


_BY_SECTION: dict[str, Callable[[Place], Figure]] = {
    "prescription": _given,
    "confidence": _given,
    "currency": _given,
    "customer": _given,
    "check": _of_check,
    "elements": _of_plans,
    "assembly": _of_plans,
    "tooling": _of_plans,
    "bought_parts": _of_plans,
    "offers": figure_of_offer,
    "relaxations": figure_of_relaxation,
    "best_relaxations": figure_of_relaxations_together,
    "findings": _of_finding,
    "cautions": _of_caution,
    "overrides": _of_override,
}


def _why(value: Any) -> str:
    if value is None:
        return "nothing stands there"
    return "a yes or no stands there" if isinstance(value, bool) else "more than one figure stands there"
