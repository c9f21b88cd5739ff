"""Elements drawn for the laws: every kind of shape a shop meets, from 3 mm to 115 mm, and their faces by a second hand.

The second hand is written from the drawing's equation alone and shares nothing with `services.optics`, so that a fault there shows.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

Face = dict[str, Any]
Floats = NDArray[np.float64]

SMALLEST_MM, LARGEST_MM = 3.0, 115.0
GOOD_TO = 0.98
"""Share of its reach up to which a curve is ground (common practice); one that ends before the rim ends at its clear diameter."""


def lenses(*, seed: int) -> Iterator[tuple[str, dict[str, Any]]]:
    """Lenses of one element as JSON without end, each with the name of its kind; some cannot be made."""
    draw = np.random.default_rng(seed)
    while True:
        kind, make = list(KINDS.items())[int(draw.integers(len(KINDS)))]
        diameter = float(np.exp(draw.uniform(math.log(SMALLEST_MM), math.log(LARGEST_MM))))
        yield kind, _lens(draw, diameter, *make(draw, diameter / 2))


def _lens(draw: np.random.Generator, diameter_mm: float, front: Face, back: Face) -> dict[str, Any]:
    """A centre thick enough for an edge on the part and a little beyond it; the rest by chance."""
    rim = diameter_mm / 2
    beyond = np.linspace(0.0, 1.12 * rim + 0.5, 60)
    least = float((depths(front, rim, beyond) - depths(back, rim, beyond)).max())
    thickness = max(least, 0.03 * diameter_mm) + float(draw.uniform(0.4, 1.5)) * (0.5 + 0.08 * diameter_mm)
    marks = {"form": "3/3(0.5)", "imperfections": "5/3x0.16"}
    element = {
        "name": "L1", "glass": "N-BK7", "diameter_mm": diameter_mm, "centre_thickness_mm": thickness,
        "front": {**front, **marks}, "back": {**back, **marks},
        "tolerances": {"diameter_mm": [0.0, -0.03], "centre_thickness_mm": 0.05, "centring": "4/2'"},
    }  # fmt: skip
    return {"title": "drawn", "elements": [element], "spaces": []}


def _clear(draw: np.random.Generator, rim_mm: float) -> float:
    return 2 * rim_mm * float(draw.uniform(0.7, 0.98))


def _sphere(draw: np.random.Generator, rim_mm: float, sign: int) -> Face:
    radius = rim_mm * float(np.exp(draw.uniform(math.log(1.12), math.log(80.0))))
    return {"radius_mm": sign * radius, "clear_diameter_mm": _clear(draw, rim_mm)}


def _plano(draw: np.random.Generator, rim_mm: float) -> Face:
    return {"radius_mm": None, "clear_diameter_mm": _clear(draw, rim_mm)}


def _flat_seat(draw: np.random.Generator, rim_mm: float, sign: int) -> Face:
    radius = rim_mm * float(draw.uniform(0.45, 1.0))
    return {"radius_mm": sign * radius, "clear_diameter_mm": 2 * radius * float(draw.uniform(0.4, 0.95))}


def _near_hemisphere(draw: np.random.Generator, rim_mm: float, sign: int) -> Face:
    radius = rim_mm * float(draw.uniform(1.0, 1.06))
    return {"radius_mm": sign * radius, "clear_diameter_mm": 2 * min(rim_mm, radius * float(draw.uniform(0.9, 0.979)))}


def _conic(draw: np.random.Generator, rim_mm: float, sign: int) -> Face:
    conic = -1.0 if draw.random() < 0.2 else float(draw.choice([-1, 1]) * 10 ** draw.uniform(-7, 0.4))
    conic = -0.9 if abs(1 + conic) < 0.01 and conic != -1.0 else conic
    radius = rim_mm * float(np.exp(draw.uniform(math.log(1.2), math.log(30.0)))) * math.sqrt(max(1.0, 1 + conic))
    return {"radius_mm": sign * radius, "conic": conic, "clear_diameter_mm": _clear(draw, rim_mm)}


def _asphere(draw: np.random.Generator, rim_mm: float, sign: int, most_mm: float) -> Face:
    """Even terms that depart at the rim by up to `most_mm`, either way, on a sphere or a conic."""
    face = _sphere(draw, rim_mm, sign) if draw.random() < 0.5 else _conic(draw, rim_mm, sign)
    orders = draw.choice([4, 6, 8, 10], size=int(draw.integers(1, 4)), replace=False)
    departures = draw.uniform(-1, 1, len(orders)) * most_mm
    terms = {str(n): float(d / rim_mm ** int(n)) for n, d in zip(orders, departures, strict=True)}
    return {**face, "asphere": terms}


def _any(draw: np.random.Generator, rim_mm: float, sign: int) -> Face:
    makes: list[Callable[[np.random.Generator, float, int], Face]] = [_sphere, _conic, lambda d, r, s: _asphere(d, r, s, 0.05 * r)]
    return _plano(draw, rim_mm) if draw.random() < 0.25 else makes[int(draw.integers(3))](draw, rim_mm, sign)


def _sign(draw: np.random.Generator) -> int:
    return int(draw.choice([-1, 1]))


def _meniscus(draw: np.random.Generator, rim_mm: float) -> tuple[Face, Face]:
    sign = _sign(draw)
    return _any(draw, rim_mm, sign), _sphere(draw, rim_mm, sign)


def _against_any(
    make: Callable[[np.random.Generator, float, int], Face],
) -> Callable[[np.random.Generator, float], tuple[Face, Face]]:
    """An element with one face of a kind, front or back, and any other behind or before it."""

    def both(draw: np.random.Generator, rim_mm: float) -> tuple[Face, Face]:
        of_kind, other = make(draw, rim_mm, _sign(draw)), _any(draw, rim_mm, _sign(draw))
        return (of_kind, other) if draw.random() < 0.5 else (other, of_kind)

    return both


KINDS: dict[str, Callable[[np.random.Generator, float], tuple[Face, Face]]] = {
    "spheres": lambda d, r: (_sphere(d, r, _sign(d)), _sphere(d, r, _sign(d))),
    "plano": lambda d, r: (_plano(d, r), _any(d, r, _sign(d))),
    "window": lambda d, r: (_plano(d, r), _plano(d, r)),
    "meniscus": _meniscus,
    "conic": _against_any(_conic),
    "strong asphere": _against_any(lambda d, r, s: _asphere(d, r, s, 0.2 * r)),
    "weak asphere": _against_any(lambda d, r, s: _asphere(d, r, s, 10 ** d.uniform(-7, -3))),
    "corrector plate": _against_any(lambda d, r, s: {**_asphere(d, r, s, 0.1 * r), "radius_mm": None, "conic": 0.0}),
    "flat seat": _against_any(_flat_seat),
    "two flat seats": lambda d, r: (_flat_seat(d, r, _sign(d)), _flat_seat(d, r, _sign(d))),
    "near-hemisphere": _against_any(_near_hemisphere),
}


def curve_ends_mm(face: Face, rim_mm: float) -> float:
    """Height [mm] at which the curve of a face ends on a part of that semi-diameter; a flat goes on outside."""
    conic = face.get("conic", 0.0)
    if face["radius_mm"] is None or conic <= -1:
        return math.inf
    good_to = GOOD_TO * abs(face["radius_mm"]) / math.sqrt(1 + conic)
    return float(face["clear_diameter_mm"] / 2) if rim_mm >= good_to else good_to


def depths(face: Face, rim_mm: float, heights_mm: Floats) -> Floats:
    """Signed depths [mm] of a face as drawn: the root of (1 + k) z^2 - 2 R z + y^2 = 0, and the even terms as far as the part goes."""
    heights = np.minimum(heights_mm, curve_ends_mm(face, rim_mm))
    radius, conic = face["radius_mm"], face.get("conic", 0.0)
    z = np.zeros_like(heights)
    if radius is not None:
        root = np.sqrt(np.maximum(0.0, radius**2 - (1 + conic) * heights**2)) * math.copysign(1.0, radius)
        z = heights**2 / (radius + root)
    for order, term in face.get("asphere", {}).items():
        z = z + term * np.minimum(heights, rim_mm) ** int(order)
    return z


def extremes(face: Face, rim_mm: float, height_mm: float) -> tuple[float, float]:
    """Least and greatest depth [mm] of a face up to a height, looked for on a grid that is drawn closer twice."""
    return -_greatest(face, rim_mm, height_mm, -1), _greatest(face, rim_mm, height_mm, 1)


def _greatest(face: Face, rim_mm: float, height_mm: float, sign: int) -> float:
    low, high = 0.0, height_mm
    most = sign * float(depths(face, rim_mm, np.array([rim_mm]))[0])  # where terms stop growing there may be a kink
    for _ in range(3):
        heights = np.linspace(low, high, 401)
        z = sign * depths(face, rim_mm, heights)
        at = int(z.argmax())
        most = max(most, float(z[at]))
        low, high = float(heights[max(0, at - 1)]), float(heights[min(400, at + 1)])
    return most


NODES, WEIGHTS = np.polynomial.legendre.leggauss(160)


def volume_mm3(element: dict[str, Any], height_mm: float | None = None) -> float:
    """Volume [mm^3] of an element as drawn, or gone on to a height: rings of glass, by a Gauss rule between the heights at which a face changes."""
    rim = element["diameter_mm"] / 2
    wide = rim if height_mm is None else height_mm
    front, back = element["front"], element["back"]
    ends = sorted({0.0, min(rim, wide), wide, *(end for face in (front, back) if (end := curve_ends_mm(face, rim)) < wide)})
    total = 0.0
    for low, high in pairwise(ends):
        r = low + (high - low) * (NODES + 1) / 2
        thick = element["centre_thickness_mm"] - depths(front, rim, r) + depths(back, rim, r)
        total += float((WEIGHTS * (high - low) / 2 * 2 * math.pi * r * thick).sum())
    return total


RINGS = 20_000


def pressed_mm3(element: dict[str, Any], diameter_mm: float, per_face_mm: float) -> float:
    """Volume [mm^3] of an element whose faces go on to a diameter, with so much glass all over each: rings, and their slant heights."""
    rim, r = element["diameter_mm"] / 2, np.linspace(0.0, diameter_mm / 2, RINGS + 1)
    front, back = (depths(element[side], rim, r) for side in ("front", "back"))
    thick = np.maximum(element["centre_thickness_mm"] - front + back, 0.0)
    lens = float(np.trapezoid(2 * math.pi * r * thick, r))
    middle = (r[1:] + r[:-1]) / 2
    areas = [float((2 * math.pi * middle * np.hypot(np.diff(r), np.diff(z))).sum()) for z in (front, back)]
    return lens + sum(areas) * per_face_mm
