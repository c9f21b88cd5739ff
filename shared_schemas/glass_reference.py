"""Which glass does a prescription mean? A name, a six- or nine-digit code, or another maker's name, looked up in the rates."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from difflib import get_close_matches
from functools import cached_property, lru_cache
from string import ascii_uppercase
from typing import Literal

from shared_schemas.published_glasses import IN_WORDS, PublishedGlass, plain, published_glass, without_maker
from shared_schemas.rates import GlassRow, InForce, Rates

CODE = re.compile(r"([0-9]{6})(?:[./ ]?([0-9]{3}))?")
"""Six digits, or nine with the density behind a point, a slash, a space or nothing."""

NEAR_NAMES = 3
NEAREST = 2
ALIKE = 0.7
TRANSMISSION_GRADE = re.compile(r"HT(?:I|ULTRA)?$")
MAKERS_PREFIX = re.compile(r"^(?:[A-Z]+-)?")
LOOK_ALIKE = str.maketrans({"O": "0", "I": "1", "L": "1"})

SAME_ND = 1e-4
SAME_VD_SHARE = 0.003
"""Glasses whose published n_d differ by less than one in the fourth decimal, and v_d by at most three tenths of a per cent, pass for
one another without new radii (common practice)."""

COMMERCIAL_ND = 0.001
COMMERCIAL_VD_SHARE = 0.008
"""Commercial tolerance of a melt: n_d within 0.001, v_d within 0.8 %. https://www.optimaxsi.com/optics-in-one-week/"""

How = Literal["name", "code", "shared code", "older code", "other name"]


@dataclass(frozen=True)
class GlassMatch:
    """The row that a reference means, how it was found, other glasses that it might mean, and what was published of a foreign name."""

    row: GlassRow
    how: How
    others: tuple[str, ...] = ()
    published: PublishedGlass | None = None


class GlassNotFound(LookupError):
    """The reference names no glass of the rates, or a code that several share of which none is stocked.

    `candidates` are names that may be meant, or that come nearest to the `published` glass of that name.
    """

    def __init__(
        self, reference: str, candidates: tuple[str, ...], ambiguous: bool, published: PublishedGlass | None = None
    ) -> None:
        self.reference = reference
        self.candidates = candidates
        self.ambiguous = ambiguous
        self.published = published
        if ambiguous:
            text = f"the code {reference} is shared by {' and '.join(candidates)}, none of them stocked; say which, by name"
        elif published is not None:
            text = (
                f"{reference} (nd {published.nd:.5f}, vd {published.vd:.2f}) is not in the rates, and no glass in them has its index; "
                f"nearest is {' or '.join(candidates)}"
            )
        elif candidates:
            text = f"no glass is called {reference}; did you mean {' or '.join(candidates)}?"
        else:
            text = f"no glass is called {reference}, and no name in the rates is near it"
        super().__init__(text)


def find_glass(reference: str, rates: Rates) -> GlassMatch:
    """The glass that a reference means; upper or lower case, spaces for hyphens, a maker's word and a code with or without density do.

    Of glasses that share a code, that which the shop stocks is taken, by volume the cheapest; so it is with a code that was rounded the
    older way, and with the name of a glass that the rates do not have but whose published index and Abbe number one of theirs has. A
    code that a glass shares with its own grades of transmission only (N-BK7 with N-BK7HT) means the usual grade.
    Raises `GlassNotFound` with the nearest names, or with all glasses that share the code.
    """
    catalogue = _catalogue_of(InForce(rates))
    row = catalogue.named(reference)
    if row is not None:
        return GlassMatch(row, "name")
    coded = CODE.fullmatch(reference.strip())
    if coded is not None:
        return _by_code(reference, catalogue, coded.group(1), coded.group(2))
    return _by_published_name(reference, catalogue)


def _by_code(reference: str, catalogue: _Catalogue, six: str, density: str | None) -> GlassMatch:
    same = catalogue.of_code(six, density)
    if len(same) == 1:
        return GlassMatch(same[0], "code")
    stocked = catalogue.cheapest_first(same)
    if stocked:
        return GlassMatch(stocked[0], "shared code", _others(same, stocked[0]))
    if same:
        raise GlassNotFound(reference, tuple(row.name for row in same), ambiguous=True)
    older = catalogue.of_older_code(six) if density is None else []
    stocked = catalogue.cheapest_first(older)
    if stocked:
        return GlassMatch(stocked[0], "older code", _others(older, stocked[0]))
    raise GlassNotFound(reference, catalogue.near(reference), ambiguous=False)


def _by_published_name(reference: str, catalogue: _Catalogue) -> GlassMatch:
    published = published_glass(reference)
    if published is None:
        raise GlassNotFound(reference, catalogue.near(reference), ambiguous=False)
    same = catalogue.usual_grades(row for row in catalogue.rates.glasses if is_same_glass(published, row))
    chosen = catalogue.cheapest_first(same) or same
    if not chosen:
        raise GlassNotFound(reference, catalogue.nearest(published), ambiguous=False, published=published)
    return GlassMatch(chosen[0], "other name", _others(same, chosen[0]), published)


def is_same_glass(published: PublishedGlass, row: GlassRow) -> bool:
    """Whether a row has the published index and Abbe number of a glass."""
    if row.nd is None or row.vd is None:
        return False
    return abs(row.nd - published.nd) < SAME_ND and abs(row.vd - published.vd) <= SAME_VD_SHARE * published.vd


def distance(*, from_nd: float, from_vd: float, to_nd: float, to_vd: float) -> float:
    """How far apart two glasses lie in n_d and v_d, counted in commercial tolerances of a melt [-].

    Notes: sqrt((dn / 0.001)^2 + (dv / (0.008 v))^2), v that of the first glass.
    Source: derived; the tolerances as published at https://www.optimaxsi.com/optics-in-one-week/
    """
    return math.hypot((to_nd - from_nd) / COMMERCIAL_ND, (to_vd - from_vd) / (COMMERCIAL_VD_SHARE * from_vd))


def _others(rows: Iterable[GlassRow], taken: GlassRow) -> tuple[str, ...]:
    return tuple(row.name for row in rows if row is not taken)


@dataclass(frozen=True, eq=False)
class _Catalogue:
    """The glasses of one revision, looked up by name, by code and by price."""

    rates: Rates

    @cached_property
    def by_name(self) -> dict[str, GlassRow]:
        rows = {plain(row.name): row for row in reversed(self.rates.glasses)}
        return {**{word: rows[plain(name)] for word, name in IN_WORDS.items() if plain(name) in rows}, **rows}

    @cached_property
    def _by_code(self) -> dict[str, list[GlassRow]]:
        rows: dict[str, list[GlassRow]] = {}
        for row in self.rates.glasses:
            rows.setdefault(row.code[:6], []).append(row)
        return rows

    @cached_property
    def _price_per_kg(self) -> dict[str, Decimal]:
        """The least price of a kilogram of each glass that is stocked."""
        prices: dict[str, Decimal] = {}
        for form in self.rates.stock_forms:
            price = form.prices[0].price_per_kg
            prices[form.glass] = min(price, prices.get(form.glass, price))
        return prices

    def named(self, reference: str) -> GlassRow | None:
        """The row of a name, with its maker's word or without."""
        row = self.by_name.get(plain(reference))
        if row is not None:
            return row
        bare, maker = without_maker(reference)
        row = self.by_name.get(bare)
        return row if row is not None and maker in (None, row.maker) else None

    def cheapest_first(self, rows: Iterable[GlassRow]) -> list[GlassRow]:
        """Those that are stocked, by the price of their volume: a blank is as large in one glass as in another."""
        stocked = [row for row in rows if row.name in self._price_per_kg]
        return sorted(stocked, key=lambda row: (float(self._price_per_kg[row.name]) * (row.density_g_cm3 or 1.0), row.name))

    def of_code(self, six: str, density: str | None) -> list[GlassRow]:
        """The glasses of a code. Nine digits are held against the code that is stated, else against the density."""
        same = self._by_code.get(six, [])
        if density is not None:
            stated = [row for row in same if row.code == f"{six}.{density}"]
            same = stated or [row for row in same if _density_digits(row) == density]
        return self.usual_grades(same)

    def of_older_code(self, six: str) -> list[GlassRow]:
        """The glasses whose index and Abbe number give the code when each is cut off, or rounded up, at its last digit.

        Older catalogues cut the index off: n_d 1.51680 was 516, now it is 517.
        """
        index, abbe = int(six[:3]), int(six[3:])
        return self.usual_grades(
            row
            for row in self.rates.glasses
            if row.nd is not None and row.vd is not None
            if abs(1000 * (row.nd - 1) % 1000 - index) < 1 and abs(10 * row.vd - abbe) < 1
        )

    def usual_grades(self, rows: Iterable[GlassRow]) -> list[GlassRow]:
        """The rows without the grades of transmission of one that is among them: N-BK7HT beside N-BK7."""
        several = list(rows)
        names = {plain(row.name) for row in several}
        return [row for row in several if not _is_grade_of_one_in(plain(row.name), names)]

    def nearest(self, published: PublishedGlass) -> tuple[str, ...]:
        """The names of the stocked glasses nearest to a published one."""
        stocked = self.usual_grades(row for row in self.rates.glasses if row.name in self._price_per_kg)

        def away(row: GlassRow) -> float:
            place = row.in_glass_map
            return (
                math.inf if place is None else distance(from_nd=published.nd, from_vd=published.vd, to_nd=place.nd, to_vd=place.vd)
            )

        return tuple(row.name for row in sorted(stocked, key=away)[:NEAREST])

    def near(self, reference: str) -> tuple[str, ...]:
        """Names that may be meant: without the maker's letters, with an ending more, misread or misspelt."""
        wanted = plain(reference)
        bare = _bare(reference)
        names = [row.name for row in self.rates.glasses if _bare(row.name) == bare]
        names += [row.name for key, row in self.by_name.items() if key.translate(LOOK_ALIKE) == wanted.translate(LOOK_ALIKE)]
        stem = bare.rstrip(ascii_uppercase)
        if stem:
            names += [row.name for row in self.rates.glasses if _bare(row.name).rstrip(ascii_uppercase) == stem]
        if wanted:
            names += [self.by_name[key].name for key in get_close_matches(wanted, self.by_name, n=NEAR_NAMES, cutoff=ALIKE)]
        return tuple(dict.fromkeys(names))[:NEAR_NAMES]


@lru_cache(maxsize=8)
def _catalogue_of(same: InForce) -> _Catalogue:
    return _Catalogue(same.rates)


def _density_digits(row: GlassRow) -> str | None:
    return None if row.density_g_cm3 is None else f"{round(100 * row.density_g_cm3):03d}"


def _is_grade_of_one_in(key: str, names: set[str]) -> bool:
    """Whether a name is another's with a grade of transmission behind it: N-BK7HT beside N-BK7."""
    usual = TRANSMISSION_GRADE.sub("", key)
    return usual != key and usual in names


def _bare(name: str) -> str:
    """A name without its maker's letters: N-BK7, S-BSL 7 and "Schott BK7" as BK7, BSL7 and BK7."""
    letters = re.sub(r"[\s_]+", "", name).upper()
    for word in ("GLASS", "SCHOTT", "OHARA", "HOYA", "CDGM"):
        letters = letters.removeprefix(word)
    return plain(MAKERS_PREFIX.sub("", letters)) or plain(name)
