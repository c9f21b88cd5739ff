"""What an amended table changes in a quote: the differences as a JSON Patch by the names of elements, and what stays as it was.

Only what a cell of the table says is taken. What a rule filled in, and what the table has no column for, stays as it is in the quote.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from services.desk.errors import FileUnreadable
from shared_schemas.intake import Assumption, IntakeDraft
from shared_schemas.json_patch import by_name
from shared_schemas.prescription import Element, Prescription

SAID = ("used", "assumed")
"""What becomes of a cell that is in the request: it is there as it stands, or by a rule that is told."""

WHOLE = frozenset({"glass", "coating"})
"""Fields that are changed as a whole, for they may be of one kind or another, a name or a document; as a space is, a gap or cement."""

MOST_PLACES_TOLD = 4
ASSUMPTIONS = "/assumptions"


@dataclass(frozen=True)
class ChangedByTable:
    """One thing that the table says otherwise: where, by the names of elements, what the quote has there, and what the table says."""

    pointer: str
    old: Any
    new: Any
    op: str = "replace"

    def operation(self) -> dict[str, Any]:
        """The operation that makes it so."""
        return {"op": self.op, "path": self.pointer} | ({} if self.op == "remove" else {"value": self.new})


@dataclass(frozen=True)
class Amendment:
    """What a table changes, in the order in which it can be done, what it says nothing of, what was assumed in reading that, and whether its
    elements were taken in their order."""

    changes: tuple[ChangedByTable, ...]
    kept: tuple[str, ...]
    assumed: tuple[Assumption, ...]
    by_order: bool

    def patch(self) -> list[dict[str, Any]]:
        """The changes as a JSON Patch."""
        return [one.operation() for one in self.changes]


def amended(before: Prescription, draft: IntakeDraft, *, known: Mapping[str, Any] | None = None) -> Amendment:
    """What the table of a draft changes in a prescription, and in the fields of its request that are `known`.

    Elements go by the names that the table gives them; where it gives none, or others throughout, by their order, if there are as many.
    Raises `FileUnreadable` where the table does not say which element is which.
    """
    said = [cell.pointer for cell in draft.cells if cell.fate in SAID and cell.pointer]
    table = draft.document.get("prescription", {})
    there = [str(one["name"]) for one in table.get("elements", ())]
    names = _names(before, there, draft.name, are_named=any(pointer.endswith("/name") for pointer in said))
    old, new = by_name(before.model_dump(mode="json")), by_name(table, names)
    pointers = frozenset(_renamed(pointer, names) for pointer in said)
    others = [*_elements(before, [names[one] for one in there], new)]
    changes = [
        *others,
        *_leaves(old, {name: value for name, value in new.items() if name != "spaces" or not others}, "", pointers),
        *_of_the_request(draft.document, known or {}, pointers),
    ]
    moved = frozenset(one.pointer for one in changes)
    assumed = tuple(one for one in draft.assumptions if not one.pointer or _is_said(_renamed(one.pointer, names), moved))
    if changes:
        changes += _of_assumptions(assumed, (known or {}).get("assumptions", ()))
    return Amendment(tuple(changes), tuple(_kept(before, pointers)), assumed, by_order=any(names[one] != one for one in there))


def answers_of(before: Prescription, draft: IntakeDraft) -> dict[str, str]:
    """Answers to those questions of a draft that ask for what the table does not have and the quote does: it stays as it is."""
    there = [str(one["name"]) for one in draft.document.get("prescription", {}).get("elements", ())]
    try:
        names = _names(before, there, draft.name, are_named=True)
    except FileUnreadable:
        return {}
    old = by_name(before.model_dump(mode="json"))
    found = {}
    for question in draft.questions:
        value = _at(old, _renamed(question.pointer, names)) if question.figure is None else None
        if isinstance(value, (str, float)):
            found[question.name] = str(value)
    return found


def _at(document: Any, pointer: str) -> Any:
    for step in pointer.split("/")[1:]:
        document = document.get(step) if isinstance(document, dict) else None
    return document


def _names(before: Prescription, there: Sequence[str], file: str, *, are_named: bool) -> dict[str, str]:
    """What each element of the table is called in the quote; new elements keep the name that the table gives them."""
    known = [element.name for element in before.elements]
    if len(there) == len(known) and set(there) != set(known):
        return dict(zip(there, known, strict=True))
    common = [name for name in there if name in known]
    if len(there) != len(known) and not (common and are_named):
        raise FileUnreadable(
            file,
            f"it has {len(there)} elements and the quote {len(known)} ({', '.join(known)}), and it does not say which is which: "
            "add a column with their names, or change what you mean with --set",
        )
    if common != [name for name in known if name in there]:
        raise FileUnreadable(
            file, f"its elements stand in another order than those of the quote ({', '.join(known)}): put them in that order"
        )
    return {name: name for name in there}


def _renamed(pointer: str, names: Mapping[str, str]) -> str:
    """A pointer of the table's with the names that the quote has, below the prescription where it is of that."""
    steps = pointer.removeprefix("/prescription").split("/")
    if len(steps) > 2 and steps[1] == "elements":
        steps[2] = names.get(steps[2], steps[2])
    if len(steps) > 2 and steps[1] == "spaces":
        pairs = {f"{front}-{back}": f"{names[front]}-{names[back]}" for front, back in pairwise(names)}
        steps[2] = pairs.get(steps[2], steps[2])
    return "/".join(steps)


def _elements(before: Prescription, there: Sequence[str], new: Mapping[str, Any]) -> Iterator[ChangedByTable]:
    """Elements that go and come, and then the spaces between those there are as the table has them."""
    known = [element.name for element in before.elements]
    if list(there) == known:
        return
    for element in before.elements:
        if element.name not in there:
            yield ChangedByTable(f"/elements/{element.name}", element.model_dump(mode="json"), None, "remove")
    for place, name in enumerate(there):
        if name not in known:
            behind = next((one for one in there[place + 1 :] if one in known), "-")
            yield ChangedByTable(f"/elements/{behind}", None, new["elements"][name], "add")
    yield ChangedByTable("/spaces", [space.model_dump(mode="json") for space in before.spaces], [*new["spaces"].values()])


def _leaves(old: Mapping[str, Any], new: Mapping[str, Any], above: str, said: frozenset[str]) -> Iterator[ChangedByTable]:
    """What a cell says otherwise than the quote, field by field. Elements are called what the quote calls them."""
    for name, value in new.items():
        pointer = f"{above}/{name}"
        if (above == "/elements" and name not in old) or (name == "name" and above.startswith("/elements/")):
            continue
        present = old.get(name)
        if isinstance(value, dict) and isinstance(present, dict) and name not in WHOLE and above != "/spaces":
            yield from _leaves(present, value, pointer, said)
        elif value != present and _is_said(pointer, said):
            yield ChangedByTable(pointer, present, value, "replace" if name in old else "add")


def _is_said(pointer: str, said: frozenset[str]) -> bool:
    """Whether a cell says what stands there, or a part of it."""
    return any(one == pointer or one.startswith(f"{pointer}/") or pointer.startswith(f"{one}/") for one in said)


def _of_the_request(document: Mapping[str, Any], known: Mapping[str, Any], said: frozenset[str]) -> Iterator[ChangedByTable]:
    """Quantities, a customer, a day that stand in the table otherwise than in the quote."""
    for name, value in document.items():
        if name not in ("prescription", "assumptions") and value != known.get(name) and _is_said(f"/{name}", said):
            yield ChangedByTable(f"/{name}", known.get(name), value, "add")


def _of_assumptions(assumed: Sequence[Assumption], known: Sequence[str]) -> Iterator[ChangedByTable]:
    """What was assumed in reading the table, after what the request says was assumed before."""
    told = [*dict.fromkeys((*known, *(f"{one.what.rstrip('.')} ({one.rule.rstrip('.')})" for one in assumed)))]
    if told != list(known):
        yield ChangedByTable(ASSUMPTIONS, list(known), told, "add")


def _kept(before: Prescription, said: frozenset[str]) -> Iterator[str]:
    """What the quote has and the table says nothing of, by field: fields that say no more than their default are none."""
    places: dict[str, list[str]] = {}
    for element in before.elements:
        for pointer, field in _set_fields(element):
            if not _is_said(f"/elements/{element.name}{pointer}", said):
                where = " ".join(step for step in pointer.split("/")[1:-1] if step != "tolerances")
                places.setdefault(field, []).append(f"{element.name} {where}".strip())
    for field in (
        "barrel",
        "stop",
        "entrance_pupil_diameter_mm",
        "field_half_angle_deg",
        "object_distance_mm",
        "transmitted_wavefront",
    ):
        if getattr(before, field) is not None and not _is_said(f"/{field}", said):
            places[field] = []
    for field, of in places.items():
        more = f" and {len(of) - MOST_PLACES_TOLD} more" if len(of) > MOST_PLACES_TOLD else ""
        told = f" of {', '.join(of[:MOST_PLACES_TOLD])}{more}" if of else ""
        yield f"{field.removesuffix('_mm').replace('_', ' ')}{told}"


def _set_fields(element: Element) -> Iterator[tuple[str, str]]:
    for field in ("stress_birefringence", "bubbles", "inhomogeneity"):
        if getattr(element, field) is not None:
            yield f"/{field}", field
    for field, value in element.tolerances:
        if value is not None:
            yield f"/tolerances/{field}", "tolerance of the diameter" if field == "diameter_mm" else f"{field} tolerance"
    for face in ("front", "back"):
        for field in ("conic", "asphere", "form", "imperfections", "texture", "laser_damage", "coating"):
            if getattr(getattr(element, face), field):
                yield f"/{face}/{field}", field
