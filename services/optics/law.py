"""How a law is written down once, and how a figure explains itself by it.

A law is a function of keyword arguments whose docstring has a line `Equation:` in the names of those arguments, in Python's signs.
A figure that is shown is made from the function, its arguments and its result, so its formula is never a second text. A test holds
every equation against its function.
"""

from __future__ import annotations

import inspect
import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import Any, TypeVar

from shared_schemas.figure import Figure, RateRowRef

Function = TypeVar("Function", bound=Callable[..., Any])
Value = float | int | Decimal | str

HEADS = r"(?:Args|Returns|Raises|Notes|Source|Equation)"
LONGEST_NAME = 60

UNITS = (
    ("_nm_per_cm", "nm/cm"), ("_1e6_per_k", "1e-6/K"), ("_g_cm3", "g/cm3"), ("_per_h", "/h"), ("_mm3", "mm3"), ("_mm2", "mm2"),
    ("_mm", "mm"), ("_um", "um"), ("_nm", "nm"), ("_arcmin", "arcmin"), ("_mrad", "mrad"), ("_deg", "deg"), ("_fringes", "fringe"),
    ("_days", "days"), ("days_saved", "days"), ("_min", "min"), ("_kg", "kg"), ("_g", "g"), ("_pa", "Pa"), ("_h", "h"),
)  # fmt: skip
"""Units by how a name ends, the longer endings first."""


@dataclass(frozen=True)
class Law:
    """A function with its equation and its source as its docstring states them; `name` is the function's."""

    function: Callable[..., Any]
    name: str
    equation: str
    source: str | None


LAWS: dict[str, Law] = {}
"""Every law of the rooms that were imported, by module and name."""


def law(function: Function) -> Function:
    """Enters a function as a law; the function itself stays what it is. Raises `ValueError` for a docstring without `Equation:`."""
    written = Law(function, function.__name__, _section(function, "Equation") or "", _section(function, "Source"))
    if not written.equation:
        raise ValueError(f"{function.__module__}.{function.__name__} is called a law and states no equation")
    LAWS[f"{function.__module__}.{function.__name__}"] = written
    return function


def figure_of(
    function: Callable[..., Any], /, *, name: str | None = None, unit: str | None = None, rate_row: RateRowRef | None = None,
    **inputs: Figure | Sequence[Figure],
) -> Figure:  # fmt: skip
    """The figure that a law gives for figures: its value is the function's, its formula the law's equation.

    Args: what the figure is called, without it the law's name; its unit, without it the one that the law's name ends with; the row
    it rests on besides its inputs; one figure for each argument of the law, or several for one that takes a sequence. An input is
    shown under the name of its argument.
    """
    written = law_of(function)
    value = function(**{key: _value(one) for key, one in inputs.items()})
    shown: list[Figure] = []
    for key, one in inputs.items():
        shown += [_called(one, key)] if isinstance(one, Figure) else list(one)
    return _figure(
        (name or written.name)[:LONGEST_NAME], value, unit_by_name(written.name) if unit is None else unit, formula=written.equation,
        inputs=tuple(shown), rate_row=rate_row, source=written.source,
    )  # fmt: skip


def given(name: str, value: Value, unit: str = "", *, at: str | None = None, source: str | None = None) -> Figure:
    """A figure that is taken as it is: from `at`, a JSON pointer into the quote, or from a `source` in words.

    With neither it is a column of the rate row that the figure above it quotes.
    """
    return _figure(name[:LONGEST_NAME], value, unit, at=at, source=source)


def column(name: str, value: Value, unit: str, rate_row: RateRowRef) -> Figure:
    """A figure as a rate row has it."""
    return _figure(name[:LONGEST_NAME], value, unit, rate_row=rate_row)


def decided(
    name: str, value: Value, reason: str, *, unit: str = "", alternatives: Sequence[Figure] = (), rate_row: RateRowRef | None = None,
    source: str | None = None,
) -> Figure:  # fmt: skip
    """A figure that was decided, not worked out by one equation: the reason in words, and the alternatives with their figures."""
    return Figure(
        name=name[:LONGEST_NAME],
        value=value,
        unit=unit,
        reason=reason[:2000],
        inputs=tuple(alternatives),
        rate_row=rate_row,
        source=source,
    )


def changed_figure(figure: Figure, **changes: Any) -> Figure:
    """A figure with fields replaced. Thousands are made for a quote, and a new one costs a fifth of a copy."""
    return _figure(**{**figure.__dict__, **changes})


def _is_of_same_row(one: RateRowRef | None, other: RateRowRef | None) -> bool:
    """Whether two references are to one row; told by name, as references of a quote are compared by the thousand."""
    return one is other or (one is not None and other is not None and (one.table, one.row) == (other.table, other.row))


def quoted_once(figure: Figure, above: RateRowRef | None = None) -> Figure:
    """A figure whose inputs quote no row that stands above them: a row is told once, what is below is out of the nearest."""
    if not figure.inputs and figure.rate_row is None:
        return figure
    row = None if _is_of_same_row(figure.rate_row, above) else figure.rate_row
    inputs = tuple([quoted_once(one, figure.rate_row or above) for one in figure.inputs])
    if row is figure.rate_row and all(one is before for one, before in zip(inputs, figure.inputs, strict=True)):
        return figure
    return changed_figure(figure, rate_row=row, inputs=inputs)


PLAIN = (float, int, Decimal, str)
FIELDS = frozenset(Figure.model_fields)


def _figure(
    name: str, value: Any, unit: str = "", *, formula: str | None = None, reason: str | None = None, inputs: tuple[Figure, ...] = (),
    rate_row: RateRowRef | None = None, at: str | None = None, source: str | None = None,
) -> Figure:  # fmt: skip
    """A figure out of what our own laws give. A finite number or a text of a plain type need not be validated, which takes longest."""
    if type(value) not in PLAIN or (type(value) is float and not math.isfinite(value)):
        return Figure(
            name=name,
            value=value,
            unit=unit,
            formula=formula,
            reason=reason,
            inputs=inputs,
            rate_row=rate_row,
            at=at,
            source=source,
        )
    made = Figure.__new__(Figure)
    fields = {
        "name": name, "value": value, "unit": unit, "formula": formula, "reason": reason, "inputs": inputs, "rate_row": rate_row, "at": at, "source": source
    }  # fmt: skip
    object.__setattr__(made, "__dict__", fields)
    object.__setattr__(made, "__pydantic_fields_set__", set(FIELDS))
    object.__setattr__(made, "__pydantic_extra__", None)
    object.__setattr__(made, "__pydantic_private__", None)
    return made


@cache
def unit_by_name(name: str) -> str:
    """The unit that a name ends with; none where it ends with no unit."""
    return next((unit for ending, unit in UNITS if name.endswith(ending)), "")


@cache
def law_of(function: Callable[..., Any]) -> Law:
    """The law that a function was entered as; raises `LookupError` for one that was not."""
    written = LAWS.get(f"{function.__module__}.{function.__name__}")
    if written is None:
        raise LookupError(f"{function.__module__}.{function.__name__} is no law: it has no @law")
    return written


def _value(given_as: Figure | Sequence[Figure]) -> Any:
    return given_as.value if isinstance(given_as, Figure) else [one.value for one in given_as]


def _called(figure: Figure, name: str) -> Figure:
    return figure if figure.name == name else changed_figure(figure, name=name[:LONGEST_NAME])


def _section(function: Callable[..., Any], head: str) -> str | None:
    """A section of a docstring on one line; `None` where it has none."""
    text = inspect.getdoc(function) or ""
    match = re.search(rf"^{head}: ?(.*?)(?=^{HEADS}:|\Z)", text, flags=re.MULTILINE | re.DOTALL)
    return re.sub(r"\s+", " ", match.group(1)).strip().removesuffix(".") if match else None
