"""Figures of a blank that is not the one of the middle quantity: what they point to stands with the quantity it is for."""

from __future__ import annotations

from collections.abc import Mapping

from shared_schemas.blanks import Blank
from shared_schemas.figure import Figure
from shared_schemas.operations import Route


def blank_places(parts: Mapping[str, int], of_break: int) -> dict[str, tuple[str, str]]:
    """For each part whose blank differs where its blank would stand with the element, and where it stands with a break.

    Args:
        parts: the place of each part's element in the quote, in the order of the blanks of the break.
        of_break: the place of the break.
    """
    return {
        part: (f"/elements/{element}/blank/", f"/breaks/{of_break}/blanks/{number}/")
        for number, (part, element) in enumerate(parts.items())
    }


def moved_blank(blank: Blank, place: tuple[str, str]) -> Blank:
    """A blank whose figures point to themselves where it stands."""
    return blank.model_copy(update={"basis": tuple(moved(figure, place) for figure in blank.basis)})


def moved_route(route: Route, place: tuple[str, str] | None) -> Route:
    """A route whose figures point to the blank that it starts from."""
    if place is None:
        return route
    operations = tuple(
        one.model_copy(update={"basis": tuple(moved(figure, place) for figure in one.basis)}) for one in route.operations
    )
    return route.model_copy(update={"operations": operations})


def moved(figure: Figure, place: tuple[str, str]) -> Figure:
    """A figure, and all that went in, pointing to the second place wherever it points to the first; itself where it does not."""
    old, new = place
    inputs = tuple(moved(one, place) for one in figure.inputs)
    changes: dict[str, object] = {}
    if any(one is not other for one, other in zip(inputs, figure.inputs, strict=True)):
        changes["inputs"] = inputs
    if figure.at is not None and figure.at.startswith(old):
        changes["at"] = new + figure.at.removeprefix(old)
    return figure.model_copy(update=changes) if changes else figure
