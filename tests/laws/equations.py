"""Equations of laws read by SymPy and held against the functions that state them."""

from __future__ import annotations

import ast
import inspect
import math
import random
import sys
from collections.abc import Callable, Iterator
from decimal import Decimal
from fractions import Fraction
from functools import cache
from typing import Any

import sympy
from scipy.special import gamma, gammaincc

from services.optics.law import Law
from shared_schemas.figure import Figure

DRAWS = 200
ITEMS = 3
"""How many figures a sequence argument is drawn with."""


def _each(items: tuple[Any, ...]) -> tuple[Any, ...]:
    """The items themselves, or those of the one sequence that is given."""
    return tuple(items[0]) if len(items) == 1 and isinstance(items[0], tuple) else items


def _exact(value: Any) -> float | Fraction:
    """Money, a string in JSON, and whole numbers as fractions, so that what lies half way between two cents lies there for the equation too."""
    return float(value) if isinstance(value, float) else Fraction(value)


def _rounded(value: float | Fraction, places: float) -> float | Fraction:
    """Python's `round`: halves to the even neighbour."""
    return round(value, int(places))


def _upper_gamma(order: float, argument: float) -> float:
    """The upper incomplete gamma function, by SciPy."""
    return float(gammaincc(float(order), float(argument)) * gamma(float(order)))


FUNCTIONS: dict[str, Callable[..., Any]] = {
    "sqrt": sympy.sqrt, "exp": sympy.exp, "erfc": sympy.erfc, "log": sympy.log, "log2": lambda x: sympy.log(x) / sympy.log(2), "sin": sympy.sin, "cos": sympy.cos,
    "tan": sympy.tan, "asin": sympy.asin, "acos": sympy.acos, "atan": sympy.atan, "radians": lambda x: x * sympy.pi / 180,
    "degrees": lambda x: x * 180 / sympy.pi, "ceil": sympy.ceiling, "floor": sympy.floor, "uppergamma": sympy.Function("upper_gamma"), "min": lambda *items: sympy.Min(*_each(items)), "max": lambda *items: sympy.Max(*_each(items)),
    "abs": sympy.Abs, "round": sympy.Function("rounded"), "sum": lambda items: sympy.Add(*items), "product": lambda items: sympy.Mul(*items), "len": len, "pi": sympy.pi,
}  # fmt: skip
"""What an equation may name besides the arguments of its law; all in the sense of Python's `math`."""


def is_sequence(law: Law, argument: str) -> bool:
    """Whether a law takes several figures as one argument."""
    return "Sequence" in str(inspect.signature(law.function).parameters[argument].annotation)


def arguments_of(law: Law) -> list[str]:
    """The names of a law's arguments."""
    return list(inspect.signature(law.function).parameters)


def names_in(equation: str) -> set[str]:
    """Every name in an equation that is no function of it."""
    tree = ast.parse(equation, mode="eval")
    return {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)} - set(FUNCTIONS)


def worked_out(law: Law, values: dict[str, Any]) -> float:
    """What the equation gives for values, by SymPy; it knows nothing of the function."""
    counts = tuple((name, len(value) if isinstance(value, (list, tuple)) else None) for name, value in values.items())
    numbers = (value if isinstance(value, (list, tuple)) else (value,) for value in values.values())
    return float(_compiled(law.equation, counts)(*(_exact(number) for items in numbers for number in items)))


@cache
def _compiled(equation: str, counts: tuple[tuple[str, int | None], ...]) -> Callable[..., float]:
    """An equation as a function of its figures, one after the other; `counts` has how many stand in an argument that takes several."""
    symbols: dict[str, Any] = {}
    for name, count in counts:
        symbols[name] = sympy.Symbol(name, real=True) if count is None else sympy.symbols(f"{name}_0:{count}", real=True)
    flat = [one for symbol in symbols.values() for one in (symbol if isinstance(symbol, tuple) else (symbol,))]
    expression = sympy.sympify(equation, locals={**FUNCTIONS, **symbols})
    modules = ["math", {"Min": min, "Max": max, "Abs": abs, "ceiling": math.ceil, "rounded": _rounded, "upper_gamma": _upper_gamma}]
    compiled: Callable[..., float] = sympy.lambdify(flat, expression, modules=modules)
    return compiled


def drawn(law: Law, generator: random.Random, ranges: dict[str, tuple[float, float]]) -> dict[str, Any]:
    """Values for the arguments of a law: whole ones where it takes whole ones, decimal ones where it takes money."""
    parameters = inspect.signature(law.function).parameters
    return {name: _drawn(name, str(one.annotation), generator, ranges) for name, one in parameters.items()}


def _drawn(name: str, annotation: str, generator: random.Random, ranges: dict[str, tuple[float, float]]) -> Any:
    if "Sequence" in annotation:
        inner = annotation[annotation.index("[") + 1 : -1]
        return [_drawn(name, inner, generator, ranges) for _ in range(ITEMS)]
    low, high = ranges.get(name) or ((0.02, 0.98) if "share" in name or "yield" in name else (0.5, 20.0))
    if annotation == "int":
        return generator.randint(max(1, math.ceil(low)), max(2, math.floor(high)))
    figure = generator.uniform(low, high)
    return Decimal(repr(round(figure, 4))) if "Decimal" in annotation and "float" not in annotation else figure


def figures_in(document: Any) -> Iterator[Figure]:
    """Every figure in a tree of figures, or of objects that carry some."""
    if isinstance(document, Figure):
        yield document
        for one in document.inputs:
            yield from figures_in(one)
    elif isinstance(document, (list, tuple)):
        for one in document:
            yield from figures_in(one)


def bound(law: Law, figure: Figure) -> dict[str, Any]:
    """The inputs of a figure as arguments of its law; what is left over goes to the one argument that takes several."""
    names = arguments_of(law)
    single = {one.name: one.value for one in figure.inputs if one.name in names and not is_sequence(law, one.name)}
    several = [name for name in names if is_sequence(law, name)]
    rest = [one.value for one in figure.inputs if one.name not in single]
    return {**single, **({several[0]: rest} if several else {})}


def main() -> None:
    """Print how many equations the figures of quotes show, and how many of those are held against their functions."""
    from tests.laws.shown import equations_shown  # noqa: PLC0415 the figures of quotes need this module
    from tests.laws.test_laws_equations import all_laws, fault_of  # noqa: PLC0415

    checked = {law.equation for law in all_laws() if fault_of(law) is None}
    shown = equations_shown()
    sys.stdout.write(f"equations shown: {len(shown)}, machine-checked: {len(shown & checked)} (of {len(checked)} laws)\n")


if __name__ == "__main__":
    main()
