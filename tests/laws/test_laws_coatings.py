"""A face that asks more of its coating never makes the lens cheaper: whole chain, at every quantity, by rows, shared runs and designs."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest

from services.rates.domain.seed import seed_rates
from tests import chain

RATES = seed_rates()
QUANTITIES = (1, 5, 25, 100, 1000)
OF_REFLECTION = (None, *(f"R <= {percent} % 450 to 650 nm" for percent in (3, 1.7, 1.0, 0.5, 0.3, 0.19, 0.13, 0.09)))
OF_BAND = tuple(f"R <= 1.7 % {band} nm" for band in ("550", "450 to 650", "420 to 680", "400 to 750", "400 to 900", "400 to 1000"))
OF_MIRRORS = tuple(f"R >= {percent} % 450 to 700 nm" for percent in (70, 88, 92, 95))


def prices(prescription: dict[str, Any]) -> list[Decimal]:
    quote = chain.quote_of(chain.request_of(prescription, QUANTITIES), RATES)
    return [one.unit_price for one in quote.breaks]


def never_cheaper(ladder: list[list[Decimal]]) -> None:
    for looser, tighter in pairwise(ladder):
        assert all(one <= other for one, other in zip(looser, tighter, strict=True)), (looser, tighter)
    assert ladder[0][1] < ladder[-1][1]


@pytest.mark.parametrize("glass", ["N-BK7", "N-SF6", "CaF2"])
def test_a_tighter_reflectance_on_both_faces_is_never_cheaper(glass: str) -> None:
    never_cheaper([prices(chain.singlet(glass=glass, coating=asked)) for asked in OF_REFLECTION])


@pytest.mark.parametrize("ladder", [OF_BAND, OF_MIRRORS], ids=["a wider band", "a better mirror"])
def test_more_of_a_coating_is_never_cheaper(ladder: tuple[str, ...]) -> None:
    never_cheaper([prices(chain.singlet(coating=asked)) for asked in ladder])


def two_of_one_glass(asked: str | None, other: str) -> dict[str, Any]:
    """Two elements of a glass, the back of each uncoated: a run may take both fronts."""
    lens = chain.singlet()
    (one,) = lens["elements"]
    first = one | {"front": one["front"] | {"coating": asked}}
    second = one | {
        "name": "L2",
        "front": one["front"] | {"coating": other, "radius_mm": 80.0},
        "back": one["back"] | {"radius_mm": -80.0},
    }
    return lens | {"elements": [first, second], "spaces": [{"gap_mm": 3.0}]}


@pytest.mark.parametrize("other", ["R <= 0.5 % 450 to 650 nm", "R <= 0.05 % 450 to 650 nm", "ar-broadband"])
def test_a_tighter_face_never_makes_a_lens_cheaper_by_the_run_that_it_shares(other: str) -> None:
    never_cheaper([prices(two_of_one_glass(asked, other)) for asked in OF_REFLECTION])
