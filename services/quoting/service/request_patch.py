"""A JSON Patch on a quote request, with elements, spaces and spare parts by their names."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from difflib import get_close_matches
from itertools import pairwise
from typing import Any

from jsonpatch import JsonPatchException, JsonPatchTestFailed, apply_patch
from jsonpointer import JsonPointer, JsonPointerException

from services.chassis.problems import shown
from services.quoting.change_errors import PatchTestFailed
from services.quoting.errors import RequestUnanswerable
from services.quoting.explain.places import names_below
from shared_schemas.prescription import Prescription
from shared_schemas.problem import ProblemDetail
from shared_schemas.quote_life import MOST_FAULTS, MOST_VALUES, has_more_values
from shared_schemas.quote_request import QuoteRequest

OF_THE_PRESCRIPTION = frozenset(Prescription.model_fields) - frozenset(QuoteRequest.model_fields)
CUTOFF = 0.4
"""From this share of common signs on, a name is offered for one that is not there (`difflib`)."""

NOTHING = object()
LOOK_AGAIN = "look at the latest revision again, and send a patch for that"


@dataclass(frozen=True)
class Patched:
    """A document with a patch done, and where each of its operations came to, as a plain JSON pointer."""

    document: Any
    places: tuple[str, ...]


class _Unfit(Exception):
    """An operation that cannot be done: in which member the fault lies, and what is wrong."""

    def __init__(self, member: str, reason: str, figure: Any, limit: Any, remedy: str) -> None:
        self.member = member
        self.detail = ProblemDetail(pointer="", reason=reason, figure=shown(figure), limit=shown(limit), remedy=remedy)


class _TooMuch(_Unfit):
    """A copy after which there is more than any request has: nothing more is done."""


class _TestFailed(_Unfit):
    """A test that found something else than it expects."""


def patched(document: Any, operations: Sequence[Mapping[str, Any]], *, by_name: bool = True) -> Patched:
    """A document with the operations done one after the other; itself it stays as it is. Without `by_name` paths are plain JSON pointers.

    Raises `RequestUnanswerable` with every operation that cannot be done, at its place below `/patch`, and `PatchTestFailed` where one
    of them is a test that found something else.
    """
    document = deepcopy(document)
    places: list[str] = []
    faults: list[ProblemDetail] = []
    refused: type[RequestUnanswerable | PatchTestFailed] = RequestUnanswerable
    for number, operation in enumerate(operations):
        try:
            plain = _plain(operation, document) if by_name else operation
            document = _done(plain, operation, document)
            places.append(plain["path"])
        except _Unfit as unfit:
            refused = PatchTestFailed if isinstance(unfit, _TestFailed) else refused
            faults.append(unfit.detail.model_copy(update={"pointer": f"/patch/{number}/{unfit.member}"}))
            if isinstance(unfit, _TooMuch) or len(faults) == MOST_FAULTS:
                break
    if faults:
        raise refused(faults)
    return Patched(document, tuple(places))


def _plain(operation: Mapping[str, Any], document: Any) -> dict[str, Any]:
    """The operation with positions in the place of names."""
    paths = {member: _pointer(member, operation[member], document) for member in ("path", "from") if member in operation}
    return {**operation, **paths}


def _pointer(member: str, path: str, document: Any) -> str:
    steps = JsonPointer(path).parts
    if steps and steps[0] in OF_THE_PRESCRIPTION:
        steps = ["prescription", *steps]
    plain: list[str] = []
    for step in steps:
        names_of = NAMED.get(tuple(plain))
        plain.append(step if names_of is None else _position(member, step, names_of(document)))
    return JsonPointer.from_parts(plain).path


def _position(member: str, step: str, names: Sequence[str]) -> str:
    """The position of what is called by a name; a step that is a position stays one, if nothing is called so."""
    if names.count(step) == 1:
        return str(names.index(step))
    if step == "-" or (step.isascii() and step.isdecimal() and step not in names):
        return step
    if step in names:
        raise _Unfit(member, f"{step} names more than one", step, ", ".join(names), "a position, counted from 0")
    raise _Unfit(member, f"nothing is called {step}", step, ", ".join(names), _near(step, names) or "one of the names there are")


def _near(step: str, names: Sequence[str]) -> str:
    near = get_close_matches(step, names, 3, CUTOFF)
    return f"write {' or '.join(near)}" if near else ""


def _element_names(document: Any) -> list[str]:
    return _called(_at(document, "prescription", "elements"), "name")


def _space_names(document: Any) -> list[str]:
    names = _element_names(document)
    return [f"{before}-{after}" for before, after in pairwise(names)]


def _spare_names(document: Any) -> list[str]:
    return _called(_at(document, "spares"), "part")


def _called(parts: Any, field: str) -> list[str]:
    """What the parts of a list are called; an empty text for whatever has no name."""
    return [str(part.get(field, "")) if isinstance(part, dict) else "" for part in parts] if isinstance(parts, list) else []


def _at(document: Any, *steps: str) -> Any:
    for step in steps:
        document = document.get(step) if isinstance(document, dict) else None
    return document


NAMED: Mapping[tuple[str, ...], Callable[[Any], list[str]]] = {
    ("prescription", "elements"): _element_names,
    ("prescription", "spaces"): _space_names,
    ("spares",): _spare_names,
}
"""Lists whose entries go by names: an element by its own, a space by those of its neighbours, a spare part by the part's."""


def _done(plain: Mapping[str, Any], written: Mapping[str, Any], document: Any) -> Any:
    """The document with one operation done; it is changed in place, and stays as it was where the operation cannot be done."""
    try:
        document = apply_patch(document, [plain], in_place=True, atomic=True)
    except JsonPatchTestFailed as failed:
        found = JsonPointer(plain["path"]).resolve(document, NOTHING)
        stands = "nothing" if found is NOTHING else "another value"
        figure = None if found is NOTHING else found
        raise _TestFailed("value", f"{stands} stands at {written['path']}", figure, plain["value"], LOOK_AGAIN) from failed
    except (JsonPatchException, JsonPointerException) as fault:
        raise _why_not(plain, written, document, str(fault)) from fault
    if plain["op"] == "copy" and has_more_values(document, MOST_VALUES):
        raise _TooMuch("from", "with this copy the request has more values than any lens needs", None, MOST_VALUES, "copy less")
    return document


def _why_not(plain: Mapping[str, Any], written: Mapping[str, Any], document: Any, otherwise: str) -> _Unfit:
    """The first step of the paths that leads nowhere, with what stands there instead."""
    for member in ("from", "path"):
        steps = JsonPointer(plain[member]).parts if member in plain else []
        here = document
        for depth, step in enumerate(steps):
            known = _names(here)
            if step not in known:
                last_of_new = member == "path" and plain["op"] in ("add", "move", "copy") and depth == len(steps) - 1
                if last_of_new and not isinstance(here, list):
                    break
                above = written[member].rsplit("/", len(steps) - depth)[0] or "the request"
                remedy = _near(step, known) or ("a name or position that is there" if known else "a shorter path")
                return _Unfit(member, f"there is no {step} in {above}", step, names_below(here) or None, remedy)
            here = here[step] if isinstance(here, dict) else here[int(step)]
    return _Unfit("path", otherwise, written.get("path"), None, "see RFC 6902 for what the operation does")


def _names(value: Any) -> list[str]:
    if isinstance(value, dict):
        return list(value)
    return [str(position) for position in range(len(value))] if isinstance(value, list) else []
