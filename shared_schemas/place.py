"""Where a JSON pointer into a prescription leads, in words: `/elements/2/front/form` is "L3 front form"."""

from __future__ import annotations

from dataclasses import dataclass

from shared_schemas.prescription import Prescription


@dataclass(frozen=True)
class Place:
    """A place in a prescription: the element, space or other part, and what of it; `of_it` is empty for the whole part."""

    part: str
    of_it: str = ""

    def __str__(self) -> str:
        return f"{self.part} {self.of_it}".strip()


def place_of(pointer: str, prescription: Prescription) -> Place:
    """The place by the names of the elements; a pointer into a quote request will do as well."""
    steps = [step.replace("~1", "/").replace("~0", "~") for step in pointer.split("/")[1:]]
    if steps[:1] == ["prescription"]:
        steps = steps[1:]
    if not steps:
        return Place("the lens")
    names = [element.name for element in prescription.elements]
    number = int(steps[1]) if len(steps) > 1 and steps[1].isascii() and steps[1].isdigit() else None
    if steps[0] == "elements" and number is not None and number < len(names):
        return Place(names[number], _words(*(step for step in steps[2:] if step != "tolerances")))
    if steps[0] == "spaces" and number is not None and number + 1 < len(names):
        return Place(
            f"between {names[number]} and {names[number + 1]}", _words(*(step for step in steps[2:] if step != "cemented"))
        )
    return Place(_words(steps[0]), _words(*steps[1:]))


def face_of(pointer: str, prescription: Prescription) -> Place:
    """The element, and the face where it is of one: what of them the pointer is about is said elsewhere."""
    steps = pointer.split("/")
    return place_of("/".join(steps[:4] if steps[3:4] in (["front"], ["back"]) else steps[:3]), prescription)


def _words(*steps: str) -> str:
    return " ".join(step.removesuffix("_mm").replace("_", " ") for step in steps)
