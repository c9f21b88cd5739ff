"""Lists and ladders as a cell shows them: `saw, core`, `0: 54.20; 5: 47.70`, `MgF2: index 1.38, thickness_nm 99.638`.

What this notation cannot say exactly (a name with a comma in it) stands as JSON in the cell, and JSON is read wherever it stands.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from types import UnionType
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel

Json = Any


def list_in(cell: str, annotation: Any) -> Json:
    """The JSON value of a cell of a list; text that is none is given back as it is, for the validator to say so."""
    if cell[:1] in ("[", "{"):
        try:
            return json.loads(cell)
        except (ValueError, RecursionError):
            return cell
    entry = get_args(annotation)[0]
    contract = _contract(entry)
    if contract is None:
        return [figure_in(part.strip(), entry) for part in cell.split(",") if part.strip()]
    try:
        return [_entry(part.strip(), contract) for part in cell.split(";") if part.strip()]
    except ValueError:
        return cell


def cell_of(value: Sequence[Json], annotation: Any) -> str:
    """A list as a cell; `list_in` reads it back to the same."""
    plain = _plain(value, annotation)
    if plain and list_in(plain, annotation) == _without_defaults(value, annotation):
        return plain
    return json.dumps(value, separators=(",", ":"))


def plain_types(annotation: Any) -> set[Any]:
    """The types that an annotation names, without what is said of them."""
    inner = get_args(annotation)
    return {annotation} if not inner else set().union(*(plain_types(part) for part in inner))


def figure_in(text: str, annotation: Any) -> Json:
    """The JSON value of a text of one figure, word or truth; what does not read as one stays text."""
    kinds = plain_types(annotation)
    if bool in kinds and text.lower() in ("true", "yes", "false", "no"):
        return text.lower() in ("true", "yes")
    if "_" in text:  # Python would read 1_000 as a number; a table means something else by it
        return text
    for kind in (int, float):
        if kind in kinds:
            try:
                return kind(text)
            except ValueError:
                continue
    return text


def _contract(annotation: Any) -> type[BaseModel] | None:
    return annotation if isinstance(annotation, type) and issubclass(annotation, BaseModel) else None


def _entry(text: str, contract: type[BaseModel]) -> dict[str, Json]:
    """An entry from its text; raises `ValueError` for one that is not written so."""
    names = list(contract.model_fields)
    head, colon, rest = text.partition(":")
    if not colon:
        raise ValueError(text)
    entry = {names[0]: figure_in(head.strip(), contract.model_fields[names[0]].annotation)}
    if len(names) == 2:
        return entry | {names[1]: figure_in(rest.strip(), contract.model_fields[names[1]].annotation)}
    for part in rest.split(","):
        name, space, value = part.strip().partition(" ")
        if not space or name not in names or name in entry:
            raise ValueError(text)
        entry[name] = _pair_or_figure(value.strip(), contract.model_fields[name].annotation)
    return entry


def _pair_or_figure(text: str, annotation: Any) -> Json:
    first, to, second = text.partition(" to ")
    pair = next((part for part in _members(annotation) if get_origin(part) is tuple), None)
    if pair is None or not to:
        return figure_in(text, annotation)
    return [figure_in(part.strip(), get_args(pair)[0]) for part in (first, second)]


def _members(annotation: Any) -> tuple[Any, ...]:
    return get_args(annotation) if get_origin(annotation) in (Union, UnionType) else (annotation,)


def _plain(value: Sequence[Json], annotation: Any) -> str:
    contract = _contract(get_args(annotation)[0])
    if contract is None:
        return ", ".join(map(_word, value))
    names = list(contract.model_fields)
    entries = []
    for entry in _without_defaults(value, annotation):
        rest = {name: part for name, part in entry.items() if name != names[0]}
        if len(names) == 2:
            said = _word(rest[names[1]])
        else:
            said = ", ".join(
                f"{name} {' to '.join(map(_word, part)) if isinstance(part, list) else _word(part)}" for name, part in rest.items()
            )
        entries.append(f"{_word(entry[names[0]])}: {said}")
    return "; ".join(entries)


def _without_defaults(value: Sequence[Json], annotation: Any) -> list[Json]:
    contract = _contract(get_args(annotation)[0])
    if contract is None:
        return list(value)
    defaults: Mapping[str, Json] = {
        name: json.loads(json.dumps(field.default)) for name, field in contract.model_fields.items() if not field.is_required()
    }
    return [{name: part for name, part in entry.items() if name not in defaults or part != defaults[name]} for entry in value]


def _word(value: Json) -> str:
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    return str(value)
