"""What a radius does to the focal length: exact for any change of one, none for what has no focal length."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.optics.first_order import Interface, foci, length_mm, system_matrix
from services.optics.train import focal_lengths_per_radius
from shared_schemas.check import CheckReport

radii = st.one_of(st.floats(15, 400), st.floats(-400, -15))


def focal_length(train: tuple[Interface, ...]) -> float | None:
    seen = foci(matrix=system_matrix(train), length_mm=length_mm(train))
    return seen.focal_length_mm if seen else None


@st.composite
def trains(draw: st.DrawFn) -> tuple[Interface, ...]:
    faces, before = [], 1.0
    for i in range(draw(st.integers(2, 6))):
        after = draw(st.sampled_from((1.0, 1.5168, 1.62, 1.85))) if i % 2 else draw(st.floats(1.45, 1.9))
        faces.append(Interface(draw(radii), before, after, draw(st.floats(0.5, 15))))
        before = after
    return (*faces[:-1], replace(faces[-1], index_after=1.0))


@given(train=trains(), which=st.integers(0, 5), ratio=st.floats(0.9, 1.1))
def test_the_focal_length_after_any_change_of_one_radius_follows_from_its_slope(
    train: tuple[Interface, ...], which: int, ratio: float
) -> None:
    i = which % len(train)
    before, radius = focal_length(train), train[i].radius_mm
    changed = (*train[:i], replace(train[i], radius_mm=(radius or 0.0) * ratio), *train[i + 1 :])
    if before is None or radius is None or abs(before) > 1e5:
        return
    slope = focal_lengths_per_radius(train=train, focal_length_mm=before)[i]
    assert slope is not None
    power = 1 / before + slope * (radius / before) ** 2 * (1 / (radius * ratio) - 1 / radius)
    matrix = system_matrix(changed)
    assert power == pytest.approx(-matrix.c, rel=1e-8, abs=1e-10)


def test_a_thin_lens_has_the_slopes_of_the_lensmaker() -> None:
    """f = 1/((n - 1)(1/R1 - 1/R2)), so df/dR1 = f^2 (n - 1)/R1^2 and df/dR2 = -f^2 (n - 1)/R2^2."""
    train = (Interface(50.0, 1.0, 1.5, 0.0), Interface(-80.0, 1.5, 1.0, 0.0))
    f = 1 / (0.5 * (1 / 50 + 1 / 80))
    front, back = focal_lengths_per_radius(train=train, focal_length_mm=f)
    assert front == pytest.approx(f**2 * 0.5 / 50**2)
    assert back == pytest.approx(-(f**2) * 0.5 / 80**2)


def test_plano_has_no_slope_and_an_afocal_lens_none_at_all() -> None:
    train = (Interface(None, 1.0, 1.5, 3.0), Interface(-80.0, 1.5, 1.0, 0.0))
    assert focal_lengths_per_radius(train=train, focal_length_mm=160.0)[0] is None
    assert focal_lengths_per_radius(train=train, focal_length_mm=None) == (None, None)


def test_the_report_says_what_each_radius_does(report: Callable[..., CheckReport]) -> None:
    found = report()
    first, second = found.elements
    signs = [one and one > 0 for one in (first.front.focal_length_per_radius, first.back.focal_length_per_radius)]
    assert signs == [True, False], "radii count with their sign"
    assert second.front.focal_length_per_radius is not None

    def afocal(document: dict[str, Any]) -> None:
        for element in document["elements"]:
            for face in ("front", "back"):
                element[face] = {**element[face], "radius_mm": None}

    assert report(afocal).elements[0].front.focal_length_per_radius is None
