"""Best-known packings of N equal discs in a square, N = 1 to 20: does the search find them?

Source of the sizes: Circle packing in a square, https://infogalactic.com/info/Circle_packing_in_a_square; most closed forms are given
there too. Discs have radius 1.
"""

from __future__ import annotations

import math
from itertools import combinations

import pytest

from services.shop.layout.rectangle import Oblong
from services.shop.layout.search import find_places

SIDE_OF_SQUARE = (
    2, 3.414214, 3.931852, 4, 4.828427, 5.328201, 5.732051, 5.863703, 6, 6.747442,
    7.022510, 7.144958, 7.463047, 7.732051, 7.863703, 8, 8.532660, 8.656402, 8.907461, 8.978083,
)  # fmt: skip
SLACK = 1e-6
"""Part by which a container is larger than published: the figures have six decimals."""
WANTED = 18


def fits(count: int, size: float) -> bool:
    """Whether places are found, and by a check of its own lie inside and apart."""
    size *= 1 + SLACK
    places = find_places(count=count, region=Oblong((size - 2) / 2, (size - 2) / 2))
    if places is None:
        return False
    centres = [(2 * float(x), 2 * float(y)) for x, y in places]
    assert len(centres) == count
    for x, y in centres:
        assert max(abs(x), abs(y)) + 1 <= size / 2 + 1e-12
    assert all(math.dist(one, other) >= 2 - 1e-12 for one, other in combinations(centres, 2))
    return True


def test_the_search_fits_at_least_eighteen_of_twenty_into_the_published_size() -> None:
    missed = [count for count, size in enumerate(SIDE_OF_SQUARE, start=1) if not fits(count, float(size))]
    assert len(SIDE_OF_SQUARE) - len(missed) >= WANTED, f"missed: {missed}"


# Closed forms from the same pages: no search, however long, may fit them into a container smaller than is known to be optimal.
@pytest.mark.parametrize(("count", "size"), [(4, 4.0), (5, 2 + 2 * math.sqrt(2)), (9, 6.0)])
def test_no_places_are_found_in_a_square_smaller_than_the_proven_one(count: int, size: float) -> None:
    side = (size * (1 - 1e-4) - 2) / 2
    assert find_places(count=count, region=Oblong(side, side)) is None
