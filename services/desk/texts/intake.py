"""A draft of what a customer sent, as a person reads it: how it was read, what was assumed, what is asked, what became of every cell."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from string import ascii_lowercase
from typing import Any

from rich.console import Group, RenderableType
from rich.text import Text

from services.desk.texts.page_parts import cells, listed, section, table_with
from shared_schemas.intake import Assumption, CellRead, Choice, IntakeDraft, Question, Spot

WIDTH = 79
UNKNOWN = "?"
FATES = {"used": "used", "heading": "heads", "assumed": "read by a rule", "asked": "asked about", "not_needed": "not needed"}
MOST_SHOWN = 12
"""Of cells that are not needed so many are shown by themselves."""


def draft_page(draft: IntakeDraft) -> RenderableType:
    """Everything of a draft."""
    parts: list[RenderableType] = [Text(f"{draft.name}", style="bold")]
    parts += [Text(f"  {line}") for line in draft.recognised]
    parts += _summary(draft.cells)
    parts += _lens(draft.document)
    parts += listed("Assumed", assumed_lines(draft.assumptions))
    parts += listed("Not needed for a quote", _not_needed(draft.cells))
    if draft.questions:
        parts.append(Text(f"\nQuestions ({len(draft.questions)})", style="bold cyan"))
        for number, question in enumerate(draft.questions, start=1):
            parts += [Text(line) for line in (*question_lines(question, number), *_wrapped(_answered_by(question), 3))]
    return Group(*parts)


def _lens(document: Mapping[str, Any]) -> list[RenderableType]:
    """The lens as it was read, as far as it is known; what is still asked about is a question mark."""
    prescription = document.get("prescription")
    elements = prescription.get("elements") if isinstance(prescription, Mapping) else None
    if not elements or not isinstance(prescription, Mapping):
        return []
    table = table_with("element", "glass", ">R1 mm", ">R2 mm", ">thick mm", ">dia mm", "then")
    spaces = prescription.get("spaces") or []
    for number, element in enumerate(elements):
        space = spaces[number] if number < len(spaces) else None
        table.add_row(
            *cells(
                str(element.get("name", UNKNOWN)),
                _glass(element.get("glass", UNKNOWN)),
                *(_radius(element.get(face, {})) for face in ("front", "back")),
                *(_figure(element.get(field, UNKNOWN)) for field in ("centre_thickness_mm", "diameter_mm")),
                _space(space),
            )
        )
    many = ", ".join(map(str, document.get("quantities") or ()))
    return [*section("Read as" + (f", for {many}" if many else ""), table)]


def _glass(glass: Any) -> str:
    return f"nd {glass.get('nd')}, vd {glass.get('vd')}" if isinstance(glass, Mapping) else str(glass)


def _radius(face: Mapping[str, Any]) -> str:
    radius = face.get("radius_mm", UNKNOWN)
    return "plane" if radius is None else _figure(radius)


def _figure(value: Any) -> str:
    return f"{value:.10g}" if isinstance(value, (int, float)) else str(value)


def _space(space: Any) -> str:
    """What follows an element: cement, or air."""
    if not isinstance(space, Mapping):
        return ""
    return "cement" if space.get("cemented") else f"{_figure(space.get('gap_mm', UNKNOWN))} mm air"


def assumed_lines(assumptions: Iterable[Assumption]) -> list[str]:
    """Assumptions with their rules and the cells where there are some, those by one rule together."""
    of_rule: dict[str, list[str]] = {}
    for one in assumptions:
        where = in_words(one.spot)
        of_rule.setdefault(one.rule.rstrip("."), []).append(one.what.rstrip(".") + (f" [{where}]" if where else ""))
    return [f"{'; '.join(whats)} ({rule})" for rule, whats in of_rule.items()]


def question_lines(question: Question, number: int) -> list[str]:
    """A question with its number, its cell, what stands there, and its choices by letters."""
    where = in_words(question.spot)
    lines = _wrapped(f"{number}. {f'[{where}] ' if where else ''}{question.asks}", 3, first=0)
    if question.figure is not None:
        lines += _wrapped(f"There stands: {question.figure}", 3)
    for letter, choice in lettered(question).items():
        means = "" if choice.means in ("", choice.answer) else f" - {choice.means}"
        lines += _wrapped(f"{letter}) {choice.answer}{means}", 6, first=3)
    return lines


def lettered(question: Question) -> dict[str, Choice]:
    """The choices by letters: a figure that is typed is a figure, and never the number of a choice."""
    return dict(zip(ascii_lowercase, question.choices, strict=False))


def _answered_by(question: Question) -> str:
    which = "" if question.free else "one of these, "
    return f"{which}by --answer '{question.name}=...'"


def _wrapped(text: str, indent: int, *, first: int | None = None) -> list[str]:
    """A text in lines of a terminal."""
    return textwrap.wrap(
        " ".join(text.split()), WIDTH, initial_indent=" " * (indent if first is None else first), subsequent_indent=" " * indent,
        break_on_hyphens=False,
    )  # fmt: skip


def in_words(spot: Spot) -> str:
    """Where something stands: `sheet Lens, row 4, column C (Radius)`."""
    column = f"column {spot.letter}" if spot.letter else ""
    head = f"{column} ({spot.column})" if column and spot.column else column or spot.column
    word = f'"{spot.word}"' if spot.word else ""
    parts = (f"sheet {spot.sheet}" if spot.sheet else "", f"row {spot.row}" if spot.row else "", head, word)
    return ", ".join(part for part in parts if part)


def _summary(cells: Sequence[CellRead]) -> list[RenderableType]:
    if not cells:
        return []
    counts = Counter(cell.fate for cell in cells)
    told = ", ".join(f"{counts[fate]} {words}" for fate, words in FATES.items() if counts[fate])  # type: ignore[index]
    return [Text(f"  {len(cells)} cells and words: {told}.")]


def _not_needed(cells: Iterable[CellRead]) -> list[str]:
    """Cells that a quote does not need, those for one reason together."""
    of_reason: dict[str, list[CellRead]] = {}
    for cell in cells:
        if cell.fate == "not_needed":
            of_reason.setdefault(cell.why or "it says nothing that a quote needs", []).append(cell)
    lines = []
    for why, those in of_reason.items():
        shown = "; ".join(f"{in_words(cell.spot)}: {cell.text[:60]}".removeprefix(": ") for cell in those[:MOST_SHOWN])
        more = f"; and {len(those) - MOST_SHOWN} more" if len(those) > MOST_SHOWN else ""
        lines.append(f"{why.rstrip('.')}: {shown}{more}")
    return lines
