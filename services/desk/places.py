"""A JSON pointer into a prescription, in words: `/elements/2/front/form` is "L3, front, form"."""

from __future__ import annotations

from shared_schemas.prescription import Prescription


def in_words(pointer: str, prescription: Prescription) -> str:
    """Where a pointer points, by the names of the elements; the pointer of a whole quote request does as well."""
    steps = [step.replace("~1", "/").replace("~0", "~") for step in pointer.split("/")[1:]]
    if steps[:1] == ["prescription"]:
        steps = steps[1:]
    if not steps:
        return "the lens"
    number = int(steps[1]) if len(steps) > 1 and steps[1].isascii() and steps[1].isdigit() else None
    names = [element.name for element in prescription.elements]
    if steps[0] == "elements" and number is not None and number < len(names):
        steps = [names[number], *steps[2:]]
    elif steps[0] == "spaces" and number is not None and number + 1 < len(names):
        steps = [f"the space between {names[number]} and {names[number + 1]}", *steps[2:]]
    return ", ".join(step.replace("_", " ") for step in steps)
