"""Published lenses of several elements as tables of surfaces, to be checked as a customer would send them.

Every table is from memory; its focal length is held against the published one in `test_prescription_refusals.py`. Diameters of glass
are not published: twice the semi-aperture and a rim of 0.5 mm up to 25 mm, 1 mm above (common practice).
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from itertools import pairwise

from shared_schemas.prescription import Prescription

Row = tuple[float | None, float, str | tuple[float, float] | None, float]
"""Radius [mm] (`None` plano), distance to the next face [mm], what fills it (`None` air), clear semi-diameter [mm]."""


@dataclass(frozen=True)
class Lens:
    """A published lens: source, focal length [mm], half field [deg], the stop as (element before it, mm behind, mm wide), its rows."""

    source: str
    focal_length_mm: float
    field_half_angle_deg: float | None
    stop: tuple[int, float, float] | None
    rows: tuple[Row, ...]


LENSES: dict[str, Lens] = {
    "double gauss 28 deg": Lens(
        "US 2,532,751, as in many textbooks", 99.5, 14.0, (3, 16.369445, 20.4),
        ((56.20238, 8.75, "SSK2", 29.2), (152.28580, 0.5, None, 28.1), (37.68262, 12.5, "SK2", 24.3), (None, 3.8, "F5", 21.3),
         (24.23130, 30.117402, None, 14.9), (-28.37731, 3.8, "F5", 13.2), (None, 11.0, "SK16", 16.5), (-37.92546, 0.5, None, 18.9),
         (177.41176, 7.0, "SK16", 21.3), (-79.45143, 0.0, None, 21.6)),
    ),
    "triplet 50 mm f/5": Lens(
        "Cooke triplet of textbooks, f 50, f/5, 20 deg", 50.0, 20.0, (2, 0.0, 8.0),
        ((22.01359, 3.258956, "SK16", 9.5), (-435.76044, 6.007551, None, 9.5), (-22.21328, 0.999975, "F2", 5.0),
         (20.29192, 4.750409, None, 5.0), (79.68360, 2.952076, "SK16", 7.5), (-18.39533, 0.0, None, 7.5)),
    ),
    "triplet f/2.7": Lens(
        "US 1,987,878, Schneider; Smith, Modern Lens Design", 100.0, 20.0, None,
        ((40.94, 8.74, (1.617, 55.0), 18.5), (None, 11.05, None, 18.5), (-55.65, 2.78, (1.649, 33.8), 15.0),
         (39.75, 7.63, None, 15.0), (107.56, 9.54, (1.617, 55.0), 16.0), (-43.33, 0.0, None, 16.0)),
    ),
    "tessar": Lens(
        "US 2,854,889, Brendel; Smith, Modern Lens Design", 100.0, 20.0, (2, 4.16, 29.0),
        ((42.97, 9.8, (1.691, 54.7), 19.2), (-115.33, 2.1, (1.549, 45.4), 19.2), (306.84, 8.16, None, 19.2),
         (-59.06, 1.87, (1.64, 34.6), 17.3), (40.93, 10.64, None, 17.3), (183.92, 7.05, (1.691, 54.7), 16.5),
         (-48.91, 0.0, None, 16.5)),
    ),
    "heliar": Lens(
        "US 2,645,156, Tronnier; Smith, Modern Lens Design", 100.0, 20.0, (3, 3.0, 23.0),
        ((30.81, 7.7, "LAKN7", 14.5), (-89.35, 1.85, "F5", 14.5), (580.38, 3.52, None, 14.5), (-80.63, 1.85, "BAF9", 12.3),
         (28.34, 7.18, None, 12.0), (None, 1.85, "LF5", 12.3), (32.19, 7.27, "LAK13", 12.3), (-52.99, 0.0, None, 12.3)),
    ),
    "petzval portrait": Lens(
        "Dallmeyer's portrait lens; Kingslake, Lens Design Fundamentals", 100.0, 10.0, None,
        ((52.9, 5.8, "517642", 14.0), (-41.4, 1.5, (1.576, 41.0), 14.0), (436.2, 46.6, None, 14.0), (104.8, 2.2, (1.576, 41.0), 12.0),
         (36.8, 0.7, None, 12.0), (45.5, 3.6, "517642", 12.0), (-149.5, 0.0, None, 12.0)),
    ),
    "hypergon": Lens(
        "Goerz Hypergon, US 706,650; Kingslake, A History of the Photographic Lens, 130 deg", 100.0, 65.0, (1, 6.9, 4.6),
        ((8.57, 2.2, (1.51, 63.0), 7.9), (8.63, 13.8, None, 7.6), (-8.63, 2.2, (1.51, 63.0), 7.6), (-8.57, 0.0, None, 7.9)),
    ),
    "achromat 30": Lens(
        "catalogue achromat, f 30, 25.4 mm", 30.0, None, None,
        ((20.9, 12.0, "N-BAF10", 11.5), (-16.7, 2.0, "N-SF6HT", 11.5), (-79.8, 0.0, None, 11.5)),
    ),
    "achromat 50": Lens(
        "catalogue achromat, f 50, 25.4 mm", 50.0, None, None,
        ((33.3, 9.0, "N-BAF10", 11.4), (-22.3, 2.5, "N-SF10", 11.4), (-291.1, 0.0, None, 11.4)),
    ),
    "achromat 100": Lens(
        "catalogue achromat, f 100, 25.4 mm", 100.1, None, None,
        ((62.8, 4.0, "BK7", 11.4), (-45.7, 2.5, "SF5", 11.4), (-128.2, 0.0, None, 11.4)),
    ),
    "achromat 150": Lens(
        "catalogue achromat, f 150, 25.4 mm", 150.0, None, None,
        ((91.6, 5.7, "517642", 11.4), (-66.7, 2.2, "673322", 11.4), (-197.7, 0.0, None, 11.4)),
    ),
    "achromat 50 of 12.7": Lens(
        "catalogue achromat, f 50, 12.7 mm", 50.0, None, None,
        ((27.4, 3.5, "516642", 5.7), (-22.5, 1.5, "648339", 5.7), (-91.8, 0.0, None, 5.7)),
    ),
    "gauss objective": Lens(
        "W. J. Smith, Modern Lens Design (1992), p. 65", 100.0, None, None,
        ((17.654, 1.4, "BK7", 7.2), (53.898, 0.1, None, 7.2), (16.53, 0.6, "SF1", 7.2), (13.075, 0.0, None, 7.2)),
    ),
    "smith triplet": Lens(
        "W. J. Smith, Modern Optical Engineering, 4th ed., p. 118", 101.18, None, (2, 2.0, 20.6),
        ((37.40, 5.9, "SK4", 14.7), (-341.48, 12.93, None, 14.7), (-42.65, 2.5, "648339", 10.8), (36.40, 11.85, None, 10.8),
         (204.52, 5.9, "SK4", 11.6), (-37.05, 0.0, None, 11.6)),
    ),
}  # fmt: skip


def diameter_mm(semi_mm: float) -> float:
    """Diameter of the glass [mm] around a clear semi-diameter [mm]."""
    return round(2 * semi_mm + (0.5 if 2 * semi_mm <= 25 else 1.0), 3)


def prescription_of(name: str) -> Prescription:
    """A published lens as a prescription: two faces of glass make an element, a face between two glasses is cemented."""
    lens = LENSES[name]
    elements, spaces = [], []
    for (front, thickness, glass, front_semi), (back, gap, behind, back_semi) in pairwise(lens.rows):
        if glass is None:
            continue
        elements.append({
            "name": f"L{len(elements) + 1}",
            "glass": {"nd": glass[0], "vd": glass[1]} if isinstance(glass, tuple) else glass,
            "diameter_mm": diameter_mm(max(front_semi, back_semi)),
            "centre_thickness_mm": thickness,
            "front": {"radius_mm": front, "clear_diameter_mm": 2 * front_semi},
            "back": {"radius_mm": back, "clear_diameter_mm": 2 * back_semi},
        })  # fmt: skip
        spaces.append({"gap_mm": gap} if behind is None else {"cemented": True})
    stop = None if lens.stop is None else dict(zip(("after_element", "distance_mm", "diameter_mm"), lens.stop, strict=True))
    document = {
        "title": name, "remarks": lens.source, "elements": elements, "spaces": spaces[:-1], "stop": stop,
        "field_half_angle_deg": lens.field_half_angle_deg,
    }  # fmt: skip
    return Prescription.model_validate_json(json.dumps(document))
