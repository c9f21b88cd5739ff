"""Changes of a request as they are written on a command line, as operations of a JSON Patch."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import typer

from services.client.errors import ServerRefused
from services.desk.errors import FileUnreadable

LISTS_BY_NAME = frozenset({"elements", "spaces", "spares"})
BY_ORDER = "asphere"
"""An object whose members are numbers, the orders of its terms; everywhere else a number is a position in a list."""

OPERATION = re.compile(r"^(?:/copies/\d+)?/patch/([0-9]{1,3})(/|$)", re.ASCII)


@dataclass(frozen=True)
class WrittenOperation:
    """An operation, and the words of the command line or the place in a file that it was read from."""

    words: str
    operation: dict[str, Any]


def written_operations(file: Path | None, sets: Sequence[str], unsets: Sequence[str]) -> list[WrittenOperation]:
    """What is to be done, in this order: the operations of a file, each value that is set, each that is taken out.

    Raises `FileUnreadable`, `typer.BadParameter`.
    """
    return [
        *(read_patch(file) if file is not None else ()),
        *(WrittenOperation(f"--set {written.split('=')[0]}", set_operation(written)) for written in sets),
        *(WrittenOperation(f"--unset {path}", {"op": "remove", "path": pointer_of(path)}) for path in unsets),
    ]


def set_operation(written: str) -> dict[str, Any]:
    """`PATH=VALUE` as an operation: what stands there is replaced, what does not is added; of a list an entry is replaced."""
    path, equals, value = written.partition("=")
    if not equals or not path.strip():
        raise typer.BadParameter(
            f"{written!r} sets nothing; write a path, = and a value, such as elements.L2.front.form='3/2(0.5)'"
        )
    pointer = pointer_of(path)
    return {"op": "replace" if _is_in_a_list(pointer) else "add", "path": pointer, "value": value_of(value)}


def pointer_of(path: str) -> str:
    """The JSON pointer of a path of names with dots between them; one that begins with / is a pointer already, as a name with a dot needs."""
    path = path.strip()
    if path.startswith("/"):
        return path
    steps = path.split(".")
    if not all(steps):
        raise typer.BadParameter(f"{path!r} has an empty step; write names with a dot between them, such as elements.L2.front.form")
    return "".join(f"/{step.replace('~', '~0').replace('/', '~1')}" for step in steps)


def value_of(text: str) -> Any:
    """A value as it is written: as JSON where it is JSON, otherwise as text."""
    try:
        return json.loads(text, parse_constant=_no_such_number)
    except (ValueError, RecursionError):
        return text


def _no_such_number(text: str) -> Any:
    raise ValueError(text)


def _is_in_a_list(pointer: str) -> bool:
    above, _, last = pointer.rpartition("/")
    return above.rpartition("/")[2] in LISTS_BY_NAME or (last.isdecimal() and not above.endswith(f"/{BY_ORDER}"))


def read_patch(file: Path) -> list[WrittenOperation]:
    """The operations in a file of JSON. Raises `FileUnreadable`."""
    from services.desk.request_file import read_json  # noqa: PLC0415

    operations = read_json(file)
    if not isinstance(operations, list) or not all(isinstance(one, dict) for one in operations):
        raise FileUnreadable(file.name, "it must hold a JSON Patch: an array of operations, each an object with op and path")
    return [WrittenOperation(f"{file.name}, operation {place + 1}", one) for place, one in enumerate(operations)]


@contextmanager
def told_as_written(written: Sequence[WrittenOperation]) -> Iterator[None]:
    """What the server has against an operation is told by the words that it was read from."""
    try:
        yield
    except ServerRefused as fault:
        told = [one.model_copy(update={"pointer": _words(one.pointer, written)}) for one in fault.problem.errors]
        raise ServerRefused(fault.problem.model_copy(update={"errors": tuple(told)})) from fault


def _words(pointer: str, written: Sequence[WrittenOperation]) -> str:
    of = OPERATION.match(pointer)
    if of is None or int(of[1]) >= len(written):
        return pointer
    rest = pointer[of.end(1) :]
    return written[int(of[1])].words + ("" if rest in ("/path", "/value") else f", {rest}")
