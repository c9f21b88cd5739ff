"""How many lenses share a block, against the best packings known and against the geometry of the sphere."""

from __future__ import annotations

import math

import pytest

from services.process.domain.faces.block import clearance_diameter_mm
from services.shop.layout.lenses_on_block import flat_block_formula, layout_of, spherical_block_formula
from services.shop.layout.rings_on_sphere import Cap, lenses_of, spaced_rings

# Best-known packings of N equal circles in a circle: https://en.wikipedia.org/wiki/Circle_packing_in_a_circle
PUBLISHED = {
    1: 1.0, 2: 2.0, 3: 1 + 2 / math.sqrt(3), 4: 1 + math.sqrt(2), 5: 1 + math.sqrt(2 * (1 + 1 / math.sqrt(5))), 6: 3.0, 7: 3.0,
    8: 1 + 1 / math.sin(math.pi / 7), 9: 1 + math.sqrt(2 * (2 + math.sqrt(2))), 10: 3.813026, 11: 1 + 1 / math.sin(math.pi / 9),
    12: 4.029602, 13: 2 + math.sqrt(5), 14: 4.328429, 15: 4.521357, 16: 4.615426, 17: 4.792034,
    18: 1 + math.sqrt(2) + math.sqrt(6), 19: 1 + math.sqrt(2) + math.sqrt(6), 20: 5.122321,
}  # fmt: skip


def lenses_in_rings(*, radius_ratio: float, half_angle_deg: float) -> int:
    """Lenses in fixed rings on a sphere."""
    lens = math.asin(1 / (2 * radius_ratio))
    edge = min(math.radians(half_angle_deg), math.pi / 2 + lens) - lens
    return lenses_of(spaced_rings(Cap(lens, edge)))


# Evaluated at the published ratios above; computed independently.
@pytest.mark.parametrize(
    ("ratio", "formula"),
    [(2.1547, 2.98), (2.4142, 3.87), (2.7013, 4.97), (3.0, 6.25), (3.6131, 9.29), (3.8130, 10.40), (4.2361, 12.96), (4.6154, 15.48),
     (4.8637, 17.24), (5.1223, 19.18)],
)  # fmt: skip
def test_the_flat_formula_at_the_published_ratios(ratio: float, formula: float) -> None:
    assert flat_block_formula(diameter_ratio=ratio) == pytest.approx(formula, abs=0.01)


def test_the_flat_formula_alone_misses_just_below_a_step_and_the_layout_does_not() -> None:
    """D/d = 2.99: the formula says 6, five fit (six need 3, as published above)."""
    assert math.floor(flat_block_formula(diameter_ratio=2.99)) == 6
    assert layout_of(radius_ratio=None, width_ratio=2.99).count == 5


def test_the_flat_formula_alone_is_two_low_at_nineteen_and_the_layout_is_not() -> None:
    ratio = PUBLISHED[19]
    assert math.floor(flat_block_formula(diameter_ratio=ratio)) == 17
    assert layout_of(radius_ratio=None, width_ratio=ratio + 1e-6).count == 19


def test_at_published_ratios_the_flat_formula_is_right_or_low_by_two_at_most() -> None:
    short = [count - math.floor(flat_block_formula(diameter_ratio=ratio)) for count, ratio in PUBLISHED.items() if count >= 3]
    assert min(short) >= 0
    assert max(short) == 2


# Larger blocks: hexagonal lattices at their best offset hold 163, 40 and 19; computed independently.
@pytest.mark.parametrize(("block", "pitch", "formula"), [(400, 28, 152.6), (200, 27, 40.7), (100, 20, 18.2)])
def test_the_flat_formula_of_large_blocks(block: float, pitch: float, formula: float) -> None:
    assert flat_block_formula(diameter_ratio=block / pitch) == pytest.approx(formula, abs=0.1)


# Computed independently; at R/d 1 and 90 degrees six lenses fit, one at the pole and five around it.
@pytest.mark.parametrize(
    ("ratio", "angle", "formula"),
    [(1.0, 90, 5.50), (1.5, 60, 6.25), (1.5, 90, 13.0), (2.0, 60, 11.50), (2.0, 75, 17.29), (2.0, 90, 23.50), (2.5, 60, 18.25),
     (3.0, 60, 26.5), (5.0, 60, 74.5)],
)  # fmt: skip
def test_the_spherical_formula(ratio: float, angle: float, formula: float) -> None:
    assert spherical_block_formula(radius_ratio=ratio, half_angle_deg=angle) == pytest.approx(formula, abs=0.01)


# Smallest angle of N points on a sphere (Tammes): https://cohn.mit.edu/?p=232. d = 2 R sin(angle / 2).
@pytest.mark.parametrize(("count", "angle_deg"), [(12, 63.43495), (24, 43.69077)])
def test_the_spherical_formula_stays_below_the_best_codes_of_the_full_sphere(count: int, angle_deg: float) -> None:
    ratio = 1 / (2 * math.sin(math.radians(angle_deg) / 2))
    assert count - 3 < spherical_block_formula(radius_ratio=ratio, half_angle_deg=180) < count


def test_the_back_corner_of_a_convex_lens_asks_for_room() -> None:
    """R 50, d 26, edge 2.8: d_eff 27.483, 9.43 lenses instead of 10.59; computed independently from the geometry."""
    wide = clearance_diameter_mm(radius_mm=50, diameter_mm=26, edge_mm=2.8)
    assert wide == pytest.approx(27.483, abs=0.0005)
    assert spherical_block_formula(radius_ratio=50 / wide, half_angle_deg=60) == pytest.approx(9.43, abs=0.005)
    assert spherical_block_formula(radius_ratio=50 / 26, half_angle_deg=60) == pytest.approx(10.59, abs=0.005)


# Rings at a spacing of exactly one lens, drawn by hand; computed independently. Spreading the rings never loses a lens.
@pytest.mark.parametrize(
    ("ratio", "angle", "drawn"),
    [(1.0, 90, 6), (1.5, 60, 6), (1.5, 90, 12), (2.0, 60, 6), (2.0, 75, 16), (2.0, 90, 22), (2.5, 60, 17), (3.0, 60, 26), (3.0, 75, 32),
     (5.0, 60, 76)],
)  # fmt: skip
def test_rings_hold_at_least_what_was_drawn(ratio: float, angle: float, drawn: int) -> None:
    assert lenses_in_rings(radius_ratio=ratio, half_angle_deg=angle) >= drawn


# What the formula says at the smallest R/d that was found to hold N = 2, 3, … equal caps within the angle; computed independently.
BEST_CAPS = {
    60: (2.50, 2.99, 3.91, 5.10, 5.91, 6.50, 8.12, 9.48, 10.09, 11.00, 11.83, 12.56, 13.92),
    90: (math.nan, 3.00, 4.00, 5.34, 5.50, 7.00, 8.40, 9.20, 9.85, 10.89, 11.24, 12.83, 13.79),
}


@pytest.mark.parametrize(("angle", "count"), [(angle, count) for angle in BEST_CAPS for count in range(3, 15)])
def test_rings_never_hold_more_than_the_best_caps_found(angle: int, count: int) -> None:
    needed = math.sqrt((BEST_CAPS[angle][count - 2] + 0.5) / (6 * (1 - math.cos(math.radians(angle)))))
    assert lenses_in_rings(radius_ratio=0.995 * needed, half_angle_deg=angle) < count


@pytest.mark.parametrize("angle", BEST_CAPS)
def test_three_to_six_lenses_are_held_in_rings_where_the_best_caps_hold_them(angle: int) -> None:
    for count in (3, 4, 6):
        needed = math.sqrt((BEST_CAPS[angle][count - 2] + 0.5) / (6 * (1 - math.cos(math.radians(angle)))))
        assert lenses_in_rings(radius_ratio=1.005 * needed, half_angle_deg=angle) >= count
