"""Every figure that quotes show: what `?of=` answers for each of their numbers, and all figures below those answers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from services.quoting.explain.basis import explain
from services.quoting.explain.figure_at import figure_at
from services.rates.domain.seed import seed_rates
from shared_schemas.figure import Figure, PointedFigure
from shared_schemas.quote import ExplainedBreak
from shared_schemas.quote_request import QuoteRequest
from tests.chain import alike_doublets, as_json, demo, job_of, published_triplet, through_stages
from tests.laws.equations import figures_in

CASES = ("demo", "triplet", "twins", "demo in yen", "triplet in euro")


@dataclass(frozen=True)
class Shown:
    """A quote as JSON, and what explains its breaks."""

    document: dict[str, Any]
    breaks: tuple[ExplainedBreak, ...]

    def of(self, pointer: str) -> PointedFigure:
        """What `?of=` answers."""
        return figure_at(pointer=pointer, document=self.document, explained=lambda: self.breaks)


def request_of_case(name: str) -> QuoteRequest:
    lens, _, currency = name.partition(" in ")
    request = {"demo": demo, "triplet": published_triplet, "twins": alike_doublets}[lens]()
    return request.model_copy(update={"currency": {"yen": "JPY", "euro": "EUR"}.get(currency, "USD")})


@cache
def shown(name: str) -> Shown:
    """One of the cases, quoted."""
    request, rates = request_of_case(name), seed_rates()
    _, blanks, operations, quote = through_stages(request, rates)
    explanation = explain(job=job_of(request), blanks=blanks, operations=operations, rates=rates)
    return Shown(as_json(quote), explanation.breaks)


def leaves(value: Any, pointer: str = "") -> Iterator[tuple[str, Any]]:
    """Every number, text and date of a document, with its pointer."""
    if isinstance(value, dict):
        for name, below in value.items():
            yield from leaves(below, f"{pointer}/{name.replace('~', '~0').replace('/', '~1')}")
    elif isinstance(value, list):
        for number, below in enumerate(value):
            yield from leaves(below, f"{pointer}/{number}")
    elif value is not None and not isinstance(value, bool):
        yield pointer, value


def is_number(pointer: str, value: Any) -> bool:
    """Whether a leaf is a number or an amount of money; texts within what explains a figure are none."""
    if isinstance(value, (int, float)):
        return True
    field = pointer.rsplit("/", 1)[1]
    in_basis = "/basis/" in pointer
    return (field == "value" if in_basis else field not in {"digest"}) and str(value).replace(".", "", 1).removeprefix(
        "-"
    ).isdecimal()


@cache
def answers(name: str) -> tuple[tuple[str, Any, PointedFigure], ...]:
    """Of each number of a case its pointer, its value and what `?of=` answers."""
    quote = shown(name)
    return tuple((pointer, value, quote.of(pointer)) for pointer, value in leaves(quote.document) if is_number(pointer, value))


def figures_shown(name: str) -> Iterator[Figure]:
    """All figures of the answers and of the explanation."""
    for _, _, figure in answers(name):
        yield from figures_in(figure)
    yield from figures_in([one.figures for one in shown(name).breaks])


def equations_shown() -> set[str]:
    """Every equation that stands in any figure of the cases."""
    return {figure.formula for name in CASES for figure in figures_shown(name) if figure.formula}
