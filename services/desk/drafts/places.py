"""Places in a request: by names of elements, as people and answers call them, and by position, as JSON pointers do."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

ELEMENT = re.compile(r"(?P<before>(?:/prescription)?/elements/)(?P<number>\d{1,4})(?P<after>(?:/.*)?)", re.ASCII | re.DOTALL)


def by_names(pointer: str, document: Mapping[str, Any]) -> str:
    """A pointer with the name of its element in the place of the position: `/prescription/elements/L2/front/radius_mm`."""
    read = ELEMENT.fullmatch(pointer)
    if read is None:
        return pointer
    elements = document.get("prescription", {}).get("elements", ())
    number = int(read["number"])
    name = elements[number].get("name") if number < len(elements) and isinstance(elements[number], Mapping) else None
    return f"{read['before']}{name}{read['after']}" if isinstance(name, str) and "/" not in name else pointer


def name_of(prefix: str, pointer: str, document: Mapping[str, Any]) -> str:
    """The name of a question about a place: `check.L2.front.radius_mm`."""
    steps = [step for step in by_names(pointer, document).split("/") if step and step not in ("prescription", "elements")]
    return ".".join((prefix, *steps))[:200]


def value_at(document: Any, pointer: str) -> Any:
    """What stands at a pointer, `None` where nothing does."""
    for step in pointer.split("/")[1:]:
        if isinstance(document, Mapping):
            document = document.get(step)
        elif isinstance(document, list) and step.isdecimal() and int(step) < len(document):
            document = document[int(step)]
        else:
            return None
    return document


def put_at(document: Any, pointer: str, value: Any) -> bool:
    """Put a value where a pointer leads; whether it leads anywhere."""
    *way, last = pointer.split("/")[1:]
    holder = value_at(document, "".join(f"/{step}" for step in way))
    if isinstance(holder, dict):
        holder[last] = value
    elif isinstance(holder, list) and last.isdecimal() and int(last) < len(holder):
        holder[int(last)] = value
    else:
        return False
    return True
