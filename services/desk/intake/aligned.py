"""Columns that are held apart by blanks alone: a cell belongs to the head that it stands under, so that an empty one is seen as such."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from services.desk.intake.heads import head_of

FEWEST_HEADS = 3
WORDS_APART = re.compile(r"[^\s]+(?:[ \u00a0][^\s]+)*")
WORDS = re.compile(r"[^\s]+")
ALIGNED = {"  ": WORDS_APART, " ": WORDS}
"""What one cell is, by what holds the columns apart: words with single blanks between them, or one word."""


@dataclass(frozen=True)
class Word:
    """A cell as it stands in its line: from where to where, and its text."""

    begin: int
    end: int
    text: str

    def apart_from(self, other: Word) -> int:
        """Characters between two cells of different lines, 0 where one stands over the other."""
        return max(0, other.begin - self.end, self.begin - other.end)


def aligned(lines: Sequence[str], cell: re.Pattern[str]) -> Iterator[tuple[int, list[str]]]:
    """Number and cells of every line; a line with fewer cells than the heads above it has them in the columns that they stand under."""
    heads: list[Word] = []
    for number, line in enumerate(lines, start=1):
        words = [Word(match.start(), match.end(), match[0]) for match in cell.finditer(line.expandtabs())]
        if sum(head_of(word.text) is not None for word in words) >= FEWEST_HEADS:
            heads = words
            yield number, [word.text for word in words]
            continue
        places = _places(words, heads) if 1 < len(words) < len(heads) else None
        if places is None:
            yield number, [word.text for word in words]
        else:
            by_place = dict(zip(places, words, strict=True))
            yield number, [by_place[i].text if i in by_place else "" for i in range(len(heads))]


def _places(words: Sequence[Word], heads: Sequence[Word]) -> list[int] | None:
    """The column of each cell, the nearest head; `None` where two would be in one, so that nothing is known."""
    places = [min(range(len(heads)), key=lambda i: (word.apart_from(heads[i]), abs(word.begin - heads[i].begin))) for word in words]
    return places if len(set(places)) == len(places) and places == sorted(places) else None
