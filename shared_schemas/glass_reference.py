"""Which glass does a prescription mean? A catalogue name, a six-digit or a nine-digit code, looked up in the rates."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cached_property, lru_cache
from string import ascii_uppercase

from shared_schemas.rates import GlassRow

CODE = re.compile(r"([0-9]{6})(?:[./ ]?([0-9]{3}))?")
"""Six digits, or nine with the density behind a point, a slash, a space or nothing."""

NEAR_NAMES = 3
ALIKE = 0.7
TRANSMISSION_GRADE = re.compile(r"HT(?:I|ULTRA)?$")
MAKERS_PREFIX = re.compile(r"^(?:GLASS|SCHOTT|OHARA|HOYA|CDGM)?(?:[A-Z]+-)?")
LOOK_ALIKE = str.maketrans({"O": "0", "I": "1", "L": "1"})

OTHER_NAMES = {
    "K9": "517642", "HK9L": "517642", "BSC7": "517642", "BOROSILICATECROWN": "517642", "FD60": "805254", "FDS90": "847238",
    "HZF52A": "847238", "FCD1": "497816",
}  # fmt: skip
"""Names of glasses that other makers or the trade use, with the six-digit code of the glass. From memory."""


class GlassNotFound(LookupError):
    """The reference names no glass, or a code that several glasses share. `candidates` are names that may be meant."""

    def __init__(self, reference: str, candidates: tuple[str, ...], ambiguous: bool) -> None:
        self.reference = reference
        self.candidates = candidates
        self.ambiguous = ambiguous
        if ambiguous:
            text = f"the code {reference} is shared by {' and '.join(candidates)}; say which, by name"
        elif candidates:
            text = f"no glass is called {reference}; did you mean {' or '.join(candidates)}?"
        else:
            text = f"no glass is called {reference}, and no name in the rates is near it"
        super().__init__(text)


def find_glass(reference: str, glasses: Sequence[GlassRow]) -> GlassRow:
    """The row that a reference means; upper or lower case, spaces for hyphens and a code with or without density do.

    A code that a glass shares with its own grades of transmission only (N-BK7 with N-BK7HT) means the usual grade.
    Raises `GlassNotFound` with the nearest names, or with all glasses that share the code.
    """
    catalogue = _catalogue(glasses)
    row = catalogue.by_name.get(_plain(reference))
    if row is not None:
        return row
    coded = CODE.fullmatch(reference.strip())
    if coded is None:
        raise GlassNotFound(reference, catalogue.near(reference), ambiguous=False)
    same = catalogue.of_code(coded.group(1), coded.group(2))
    if len(same) == 1:
        return same[0]
    raise GlassNotFound(reference, tuple(row.name for row in same), ambiguous=len(same) > 1)


@dataclass(frozen=True, eq=False)
class _Catalogue:
    """The glasses of one revision, looked up by name and by code."""

    glasses: Sequence[GlassRow]

    @cached_property
    def by_name(self) -> dict[str, GlassRow]:
        return {_plain(row.name): row for row in reversed(self.glasses)}

    @cached_property
    def _by_code(self) -> dict[str, list[GlassRow]]:
        found: dict[str, list[GlassRow]] = {}
        for row in self.glasses:
            found.setdefault(row.code[:6], []).append(row)
        return found

    def of_code(self, six: str, density: str | None) -> list[GlassRow]:
        """The glasses of a code. Nine digits are held against the code that is stated, else against the density."""
        same = self._by_code.get(six, [])
        if density is not None:
            stated = [row for row in same if row.code == f"{six}.{density}"]
            same = stated or [row for row in same if _density_digits(row) == density]
        names = {_plain(row.name) for row in same}
        return [row for row in same if not _is_grade_of_one_in(_plain(row.name), names)]

    def near(self, reference: str) -> tuple[str, ...]:
        """Names that may be meant: without the maker's letters, with an ending more, misread, misspelt, or of another maker."""
        wanted = _plain(reference)
        bare = _bare(reference)
        found = [row.name for row in self.glasses if _bare(row.name) == bare]
        if bare in OTHER_NAMES or wanted in OTHER_NAMES:
            found += [row.name for row in self.of_code(OTHER_NAMES.get(wanted) or OTHER_NAMES[bare], None)]
        found += [row.name for plain, row in self.by_name.items() if plain.translate(LOOK_ALIKE) == wanted.translate(LOOK_ALIKE)]
        stem = bare.rstrip(ascii_uppercase)
        if stem:
            found += [row.name for row in self.glasses if _bare(row.name).rstrip(ascii_uppercase) == stem]
        if wanted:
            found += [self.by_name[plain].name for plain in get_close_matches(wanted, self.by_name, n=NEAR_NAMES, cutoff=ALIKE)]
        return tuple(dict.fromkeys(found))[:NEAR_NAMES]


@dataclass(frozen=True, eq=False)
class _Same:
    """A tuple of glasses, the same only as itself: comparing 250 rows costs more than what is looked up."""

    glasses: tuple[GlassRow, ...]

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.glasses is self.glasses

    def __hash__(self) -> int:
        return id(self.glasses)


@lru_cache(maxsize=8)
def _catalogue_of(same: _Same) -> _Catalogue:
    return _Catalogue(same.glasses)


def _catalogue(glasses: Sequence[GlassRow]) -> _Catalogue:
    return _catalogue_of(_Same(glasses)) if isinstance(glasses, tuple) else _Catalogue(glasses)


def _density_digits(row: GlassRow) -> str | None:
    return None if row.density_g_cm3 is None else f"{round(100 * row.density_g_cm3):03d}"


def _is_grade_of_one_in(plain: str, names: set[str]) -> bool:
    """Whether a name is another's with a grade of transmission behind it: N-BK7HT beside N-BK7."""
    usual = TRANSMISSION_GRADE.sub("", plain)
    return usual != plain and usual in names


def _bare(name: str) -> str:
    """A name without its maker's letters: N-BK7, S-BSL 7 and "Schott BK7" as BK7, BSL7 and BK7."""
    letters = re.sub(r"[\s_]+", "", name).upper()
    return _plain(MAKERS_PREFIX.sub("", letters)) or _plain(name)


def _plain(name: str) -> str:
    return re.sub(r"[\s_-]", "", name).upper()
