"""The ways there are to a part: which of its operations are done in which."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from operator import attrgetter
from typing import TypeVar

from services.process.domain.route.lines import Line
from shared_schemas.operations import Choice, Way

Lines = tuple[Line, ...]
Option = TypeVar("Option", bound=str)

_figures = attrgetter(
    "operation", "face", "method", "centre", "setup_min", "batch_size", "batch_min", "piece_min", "attended_share", "yield_share",
    "batch_loss", "consumables", "sampled", "rework_share", "rework_yield", "rework_min", "ways",
)  # fmt: skip


def for_each(choice: Choice, options: Sequence[Option], make: Callable[[Option], Iterable[Line]]) -> Lines:
    """The operations of every option of a choice, each with its way; once and without it where the options do not differ.

    Args:
        make: the operations of an option.
    """
    made = {option: tuple(make(option)) for option in options}
    first, *others = made.values()
    if all(_alike(first, other) for other in others):
        return first
    return tuple(
        replace(one, ways=(*one.ways, Way(choice=choice, option=option))) for option, lines in made.items() for one in lines
    )


def _alike(one: Lines, other: Lines) -> bool:
    return [*map(_figures, one)] == [*map(_figures, other)]


def options_of(choice: Choice, lines: Iterable[Line]) -> tuple[str, ...]:
    """The options of a choice that some operations name."""
    return tuple(dict.fromkeys(way.option for one in lines for way in one.ways if way.choice == choice))
