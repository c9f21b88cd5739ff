"""Exact rays against cases that have an answer: stigmatic faces, Snell's law, published lenses and their slips."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import sympy

from services.optics.first_order import foci, length_mm, system_matrix
from services.optics.rays import SurfaceOnAxis, best_focus_mm, rms_spot_mm, spots, surfaces_of, trace
from services.optics.trace import Bundle, Floats
from services.optics.train import train_of
from services.prescription.domain.typo_repair import does_not_focus, typo_repair
from shared_schemas.prescription import Prescription

FOLDER = Path(__file__).parent / "prescriptions"

# as published: indices at d; see each file's remarks for the book and page
INDICES = {
    "K1": (1.517, 1.649),
    "S1": (1.5168, 1.71736),
    "S2": (1.61272, 1.64769, 1.61272),
    "K3": (1.62041, 1.61659, 1.62041),
    "K4": (1.69100, 1.67271, 1.69100),
}


def lens(name: str, **cells: float) -> Prescription:
    """A published lens, with some cells, `elements__1__back__radius_mm`, changed."""
    document = json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    for path, value in cells.items():
        *rooms, last = path.split("__")
        here: Any = document
        for room in rooms:
            here = here[int(room)] if isinstance(here, list) else here[room]
        here[last] = value
    return Prescription.model_validate_json(json.dumps(document))


def parallel(*heights: float) -> Bundle:
    points = np.zeros((3, 1, len(heights)))
    points[1] = heights
    directions = np.zeros_like(points)
    directions[2] = 1.0
    return Bundle(points, directions)


def from_axis(z_mm: float, *angles: float) -> Bundle:
    """Rays that pass, or would pass, the axis at z, turned out of the meridian by their own angle."""
    y = np.sin(angles)
    directions = np.stack([y * np.sin(angles), y * np.cos(angles), np.cos(angles)])[:, None, :]
    points = np.zeros_like(directions)
    points[2] = z_mm
    return Bundle(points, directions)


def face(radius_mm: float | None, index_after: float, conic: float = 0.0, vertex_mm: float = 0.0) -> SurfaceOnAxis:
    return SurfaceOnAxis(radius_mm, vertex_mm, index_after, 1e6, conic)


def crossings(points: Floats, directions: Floats) -> Floats:
    """Where rays pass closest to the axis, counted from the last vertex."""
    p, d = points[:2], directions[:2]
    found: Floats = points[2] - (p * d).sum(axis=0) / (d * d).sum(axis=0) * directions[2]
    return found


@pytest.mark.parametrize(("radius_mm", "before", "after"), [(-30.0, 1.5168, 1.0), (40.0, 1.0, 1.7), (-25.0, 1.8, 1.33)])
def test_the_aplanatic_points_of_a_sphere_image_each_other_and_keep_the_ratio_of_sines(
    radius_mm: float, before: float, after: float
) -> None:
    # Born and Wolf, Principles of Optics: aplanatic points of a sphere, s = R (1 + n'/n), s' = R (1 + n/n'), sin U'/sin U = n'/n
    bundle = from_axis(radius_mm * (1 + after / before), 0.05, 0.15, 0.3, -0.4)
    passed = trace(surfaces=[face(radius_mm, after)], bundle=bundle, index_before=before)
    assert passed.arrives.all()
    assert crossings(passed.points_mm, passed.directions) == pytest.approx(radius_mm * (1 + before / after), abs=1e-9)
    sines = np.hypot(*passed.directions[:2]) / np.hypot(*bundle.directions[:2])
    assert sines == pytest.approx(after / before, abs=1e-9)


@pytest.mark.parametrize(
    ("radius_mm", "before", "after", "conic", "focus_mm"),
    [
        # Descartes, La Dioptrique (1637); Hecht, Optics: hyperboloid k = -n^2 from glass to air, ellipsoid k = -1/n^2 into glass
        (-25.0, 1.5168, 1.0, -(1.5168**2), 25.0 / 0.5168),
        (-25.0, 1.8, 1.0, -(1.8**2), 25.0 / 0.8),
        (30.0, 1.0, 1.5168, -1 / 1.5168**2, 1.5168 * 30.0 / 0.5168),
        (30.0, 1.0, 1.7, -1 / 1.7**2, 1.7 * 30.0 / 0.7),
    ],
)
def test_conics_of_descartes_bring_parallel_light_to_one_point(
    radius_mm: float, before: float, after: float, conic: float, focus_mm: float
) -> None:
    passed = trace(surfaces=[face(radius_mm, after, conic)], bundle=parallel(0.5, 5, 12, -17), index_before=before)
    assert passed.arrives.all()
    assert crossings(passed.points_mm, passed.directions) == pytest.approx(focus_mm, abs=1e-9)


def test_a_plano_convex_hyperboloid_collimates_its_focus() -> None:
    # Descartes, as above, turned round: from the focus through the hyperboloid into glass the light is parallel, and stays so
    n, radius = 1.5168, 25.0
    faces = [face(radius, n, -(n**2)), face(None, 1.0, vertex_mm=12.0)]
    passed = trace(surfaces=faces, bundle=from_axis(-radius / (n - 1), 0.01, 0.1, 0.2))
    assert passed.directions[2] == pytest.approx(1.0, abs=1e-12)


def root(series: Floats) -> Floats:
    """Square root of a power series."""
    found = np.zeros_like(series)
    found[0] = math.sqrt(series[0])
    for j in range(1, len(series)):
        found[j] = (series[j] - sum(found[i] * found[j - i] for i in range(1, j))) / (2 * found[0])
    return found


def test_a_cartesian_oval_as_an_even_asphere_images_a_near_point_to_a_near_point() -> None:
    # Descartes, La Geometrie (1637): n l + n' l' constant. Its sagitta as a power series of the square of the height.
    n, far_mm, near_mm, orders = 1.5, 100.0, 80.0, 11
    sag = np.zeros(orders)
    height = np.eye(1, orders, 1)[0]
    for _ in range(2 * orders):
        square = np.convolve(sag, sag)[:orders]
        before = root(height + square + 2 * far_mm * sag + np.eye(1, orders)[0] * far_mm**2)
        after = root(height + square - 2 * near_mm * sag + np.eye(1, orders)[0] * near_mm**2)
        path = before + n * after
        path[0] -= far_mm + n * near_mm
        sag = sag - path / (1 - n)
    curvature = 2 * sag[1]
    one = np.zeros(orders)
    one[:2] = 1.0, -(curvature**2)
    sphere = -root(one) / curvature
    terms = tuple((2 * j, float(sag[j] - sphere[j])) for j in range(2, orders))
    oval = SurfaceOnAxis(1 / curvature, 0.0, n, 20.0, 0.0, terms)
    passed = trace(surfaces=[oval], bundle=from_axis(-far_mm, 0.01, 0.03, 0.04))
    assert passed.arrives.all()
    assert crossings(passed.points_mm, passed.directions) == pytest.approx(near_mm, abs=1e-9)


@pytest.mark.parametrize(
    ("radius_mm", "conic", "asphere"),
    [
        (40.0, 0.0, ()),
        (-35.0, -2.3, ()),
        (60.0, 0.7, ()),
        (None, 0.0, ()),
        (45.0, -0.6, ((4, 2e-6), (6, -3e-9))),
        (None, 0.0, ((4, 1e-5),)),
    ],
)
@pytest.mark.parametrize(("before", "after"), [(1.0, 1.62), (1.62, 1.0)])
def test_snells_law_holds_at_a_face_and_the_ray_stays_in_its_plane(
    radius_mm: float | None, conic: float, asphere: tuple[tuple[int, float], ...], before: float, after: float
) -> None:
    # Snell: n (D x N) = n' (D' x N); the normal is that of SymPy's derivative of the sagitta (ISO 10110-12 form)
    draw = np.random.default_rng(7)
    points = np.concatenate([draw.uniform(-9, 9, (2, 1, 20)), np.full((1, 1, 20), -5.0)])
    slants = draw.uniform(-0.15, 0.15, (2, 1, 20))
    directions = np.concatenate([slants, np.sqrt(1 - (slants**2).sum(axis=0))[None]])
    passed = trace(
        surfaces=[SurfaceOnAxis(radius_mm, 0.0, after, 20, conic, asphere)], bundle=Bundle(points, directions), index_before=before
    )
    assert passed.arrives.all()
    r = sympy.Symbol("r", positive=True)
    c = 0 if radius_mm is None else 1 / radius_mm
    form = c * r**2 / (1 + sympy.sqrt(1 - (1 + conic) * c**2 * r**2)) + sum(a * r**order for order, a in asphere)
    sag, slope = sympy.lambdify(r, form), sympy.lambdify(r, sympy.diff(form, r))
    for i in range(20):
        x, y, z = passed.points_mm[:, 0, i]
        height = math.hypot(x, y)
        assert z == pytest.approx(float(sag(height)), abs=1e-11)
        normal = np.array([-x * slope(height) / height, -y * slope(height) / height, 1.0])
        normal /= np.linalg.norm(normal)
        bent = after * np.cross(passed.directions[:, 0, i], normal)
        assert bent == pytest.approx(before * np.cross(directions[:, 0, i], normal), abs=1e-12)
        assert np.linalg.norm(passed.directions[:, 0, i]) == pytest.approx(1, abs=1e-13)
        on_the_ray = np.cross(passed.points_mm[:, 0, i] - points[:, 0, i], directions[:, 0, i])
        assert on_the_ray == pytest.approx(np.zeros(3), abs=1e-11)


@pytest.mark.parametrize("name", INDICES)
def test_near_the_axis_the_exact_focus_is_the_paraxial_one_and_departs_with_the_square_of_the_height(name: str) -> None:
    train = train_of(lens(name), INDICES[name])
    seen = foci(matrix=system_matrix(train), length_mm=length_mm(train))
    assert seen is not None
    passed = trace(surfaces=surfaces_of(lens(name), INDICES[name]), bundle=parallel(1e-3, 0.1, 0.2))
    off = crossings(passed.points_mm, passed.directions)[0] - seen.back_focus_mm
    assert off[0] == pytest.approx(0.0, abs=1e-6)
    assert off[2] / off[1] == pytest.approx(4.0, rel=0.02)


@pytest.mark.parametrize("name", INDICES)
def test_published_lenses_focus(name: str) -> None:
    # see the remarks of each file; a corrected lens at full aperture blurs by less than 2e-4 of its focal length
    assert does_not_focus(lens(name), INDICES[name]) is None
    train = train_of(lens(name), INDICES[name])
    seen = foci(matrix=system_matrix(train), length_mm=length_mm(train))
    spot, best = (
        rms_spot_mm(prescription=lens(name), indices=INDICES[name]),
        best_focus_mm(prescription=lens(name), indices=INDICES[name]),
    )
    assert seen is not None
    assert spot is not None
    assert best is not None
    assert spot < 2e-4 * seen.focal_length_mm
    assert abs(best - seen.back_focus_mm) < 0.005 * seen.focal_length_mm


def test_the_triplet_of_smith_is_as_sharp_off_the_axis_as_a_triplet_is() -> None:
    # Smith, Modern Optical Engineering, 4th ed., p. 118-119: half field 11.86 degrees; spots computed independently
    at = spots(prescription=lens("S2"), indices=INDICES["S2"], fields_deg=(0.0, 8.0, 11.86))
    assert all(spot.rms_mm is not None and spot.rms_mm < 0.03 for spot in at)
    assert at[0].lost == 0.0
    assert 0 < at[1].lost < at[2].lost < 0.6


@pytest.mark.parametrize("name", ["S2", "K3", "K4"])
def test_light_goes_back_the_way_it_came(name: str) -> None:
    # reversibility: through the lens turned round the ray behind it comes out as the ray before it
    faces = surfaces_of(lens(name), INDICES[name])
    heights = (-4.0, 1.0, 3.0)
    there = trace(surfaces=faces, bundle=parallel(*heights))
    end = faces[-1].vertex_mm
    indices_before = [1.0, *(one.index_after for one in faces[:-1])]
    turned = [
        SurfaceOnAxis(None if one.radius_mm is None else -one.radius_mm, end - one.vertex_mm, before, one.semi_diameter_mm)
        for one, before in zip(reversed(faces), reversed(indices_before), strict=True)
    ]
    flip = np.array([-1.0, -1.0, 1.0])[:, None, None]
    mirror = np.array([1.0, 1.0, -1.0])[:, None, None]
    back = trace(surfaces=turned, bundle=Bundle(there.points_mm * mirror, there.directions * flip))
    assert back.arrives.all()
    assert back.directions[:2] == pytest.approx(np.zeros((2, 1, 3)), abs=1e-12)
    assert back.points_mm[1, 0] == pytest.approx(heights, abs=1e-10)


@pytest.mark.parametrize(
    ("name", "cell", "wrong", "right"),
    [
        # the published radius, thickness or gap of the book is the one that must be found again
        ("S2", "elements__0__front__radius_mm", -37.40, 37.40),
        ("S2", "elements__0__back__radius_mm", 341.48, -341.48),
        ("S2", "elements__1__front__radius_mm", 42.65, -42.65),
        ("S2", "elements__1__back__radius_mm", -36.40, 36.40),
        ("S2", "elements__2__front__radius_mm", -204.52, 204.52),
        ("S2", "elements__2__back__radius_mm", 37.05, -37.05),
        ("S2", "elements__1__back__radius_mm", 364.0, 36.40),
        ("S2", "elements__0__centre_thickness_mm", 0.59, 5.90),
        ("S2", "spaces__0__gap_mm", 1.293, 12.93),
        ("K3", "elements__2__back__radius_mm", 33.50754, -33.50754),
        ("K3", "spaces__1__gap_mm", 98.6946, 9.86946),
        ("K4", "elements__0__front__radius_mm", -23.713, 23.713),
        ("S1", "elements__0__back__radius_mm", -53.898, 53.898),
    ],
)
def test_a_slip_in_a_published_lens_is_named_with_the_published_figure(name: str, cell: str, wrong: float, right: float) -> None:
    found = typo_repair(lens(name, **{cell: wrong}), INDICES[name])
    assert found is not None
    assert found.pointer == "/" + cell.replace("__", "/")
    assert (found.was, found.becomes) == (wrong, pytest.approx(right))
    assert found.kind == ("radius sign" if wrong == -right else "decimal")
    assert found.spot_before_mm is not None
    assert found.spot_after_mm is not None
    assert found.spot_after_mm < found.spot_before_mm
