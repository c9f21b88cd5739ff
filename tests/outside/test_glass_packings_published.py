"""Best-known packings of N equal discs in a square and in a circle, N = 1 to 20: does the search find them?

Sources of the sizes: Circle packing in a circle, https://en.wikipedia.org/wiki/Circle_packing_in_a_circle; Circle packing in a
square, https://infogalactic.com/info/Circle_packing_in_a_square; most closed forms are given there too. Discs have radius 1.
"""

from __future__ import annotations

import math
from itertools import combinations

import pytest

from services.shop.layout.regions import Oblong, Region, Round
from services.shop.layout.search import find_places

RADIUS_OF_CIRCLE = (
    1, 2, 2.154701, 2.414214, 2.701302, 3, 3, 3.304765, 3.613126, 3.813026,
    3.923804, 4.029602, 4.236068, 4.328429, 4.521357, 4.615426, 4.792034, 4.863703, 4.863703, 5.122321,
)  # fmt: skip
SIDE_OF_SQUARE = (
    2, 3.414214, 3.931852, 4, 4.828427, 5.328201, 5.732051, 5.863703, 6, 6.747442,
    7.022510, 7.144958, 7.463047, 7.732051, 7.863703, 8, 8.532660, 8.656402, 8.907461, 8.978083,
)  # fmt: skip
SLACK = 1e-6
"""Part by which a container is larger than published: the figures have six decimals."""
WANTED = 36


def fits(count: int, container: str, size: float) -> bool:
    """Whether places are found, and by a check of its own lie inside and apart."""
    size *= 1 + SLACK
    region: Region = Round((size - 1) / 2) if container == "circle" else Oblong((size - 2) / 2, (size - 2) / 2)
    places = find_places(count=count, region=region)
    if places is None:
        return False
    centres = [(2 * float(x), 2 * float(y)) for x, y in places]
    assert len(centres) == count
    for x, y in centres:
        if container == "circle":
            assert math.hypot(x, y) + 1 <= size + 1e-12
        else:
            assert max(abs(x), abs(y)) + 1 <= size / 2 + 1e-12
    assert all(math.dist(one, other) >= 2 - 1e-12 for one, other in combinations(centres, 2))
    return True


def test_the_search_fits_at_least_thirty_six_of_forty_into_the_published_size() -> None:
    cases = [
        (count, container, size)
        for container, sizes in (("circle", RADIUS_OF_CIRCLE), ("square", SIDE_OF_SQUARE))
        for count, size in enumerate(sizes, start=1)
    ]
    missed = [f"{count} in a {container}" for count, container, size in cases if not fits(count, container, float(size))]
    assert len(cases) - len(missed) >= WANTED, f"missed: {', '.join(missed)}"


# Closed forms from the same pages: no search, however long, may fit them into a container smaller than is known to be optimal.
@pytest.mark.parametrize(("count", "size"), [(4, 4.0), (5, 2 + 2 * math.sqrt(2)), (9, 6.0)])
def test_no_places_are_found_in_a_square_smaller_than_the_proven_one(count: int, size: float) -> None:
    side = (size * (1 - 1e-4) - 2) / 2
    assert find_places(count=count, region=Oblong(side, side)) is None


@pytest.mark.parametrize(("count", "size"), [(3, 1 + 2 / math.sqrt(3)), (7, 3.0)])
def test_no_places_are_found_in_a_circle_smaller_than_the_proven_one(count: int, size: float) -> None:
    assert find_places(count=count, region=Round((size * (1 - 1e-4) - 1) / 2)) is None


# How many unit discs are known to fit in a circle of radius n: 1, 2, 7, 11, 19, 27. https://oeis.org/A023393
@pytest.mark.parametrize(("radius", "most"), [(1, 1), (2, 2), (3, 7), (4, 11), (5, 19)])
def test_discs_in_a_circle_of_whole_radius(radius: int, most: int) -> None:
    assert find_places(count=most, region=Round((radius * (1 + SLACK) - 1) / 2)) is not None
