"""A request written as a table reads back to the same bytes."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from random import Random
from typing import Any

import pytest

import services.desk
from services.desk.intake.draft import read_intake
from services.desk.intake.export import table_of, workbook_of
from shared_schemas.base import canonical_json
from shared_schemas.quote_request import QuoteRequest

DEMO = QuoteRequest.model_validate_json(
    (Path(services.desk.__file__).parent / "demo" / "lake_ice_lidar.json").read_text(encoding="utf-8")
)
SIGNS = "abcXYZ019äß漢{}[]  ;,:='\"#/-+."
FORMS = ("3/3(0.5)", "3/-(1)", "3/5(1/0.5); λ = 632.8 nm", "3/-; RMSi < 0.05", "3/270nm(50nm)")
QUALITIES = ("60-40", "60/40", "S-D 40-60", "5/3x0.16", "5/2×0,16; L1x0.04; E0.5")
COATINGS = (
    "ar-single", "MgF2", "uncoated", "AR", "house coating 7", "-", {"reflectance_max_share": 0.005, "band_nm": [450.0, 650.0], "angle_deg": 15.0},
    {"reflectance_max_share": 0.00512345, "band_nm": [450.5, 650.25]}, {"reflectance_min_share": 0.995, "band_nm": [1064.0, 1064.0]},
)  # fmt: skip
GLASSES = (
    "N-BK7",
    "BK7",
    "S-BSL 7",
    "fused silica",
    "517642",
    "517642.251",
    "517642251",
    "air",
    "1.5/64",
    {"nd": 1.6727, "vd": 32.25},
)


class Drawn(Random):
    """Fields of a request, each left out half of the time."""

    def text(self) -> str:
        return "".join(self.choices(SIGNS, k=self.randint(1, 20))).strip() or "a"

    def perhaps(self, *values: Any) -> Any:
        return self.choice(values) if self.random() < 0.5 else None

    def face(self, clear_diameter_mm: float) -> dict[str, Any]:
        return {
            "radius_mm": self.perhaps(round(self.uniform(400, 5000), 4), -self.uniform(400, 5000)), "clear_diameter_mm": clear_diameter_mm,
            "conic": self.perhaps(-1.0, -0.123456789) or 0.0, "asphere": {order: self.uniform(1e-9, 1e-7) for order in ("4", "6", "10") if self.random() < 0.2},
            "form": self.perhaps(*FORMS), "imperfections": self.perhaps(*QUALITIES), "texture": self.perhaps("P3", "G", "Rq 2 nm"),
            "laser_damage": self.perhaps("6/10 J/cm2; 1064 nm; 10 ns"), "coating": self.perhaps(*COATINGS),
        }  # fmt: skip

    def element(self, name: str, diameter_mm: float) -> dict[str, Any]:
        upper = round(self.uniform(0.001, 0.2), 5)
        clear_mm = round(diameter_mm * 0.9, 3)
        return {
            "name": self.choice([name, f"front-{name}"]), "glass": self.choice(GLASSES), "diameter_mm": diameter_mm,
            "centre_thickness_mm": round(self.uniform(4, 9), 4), "front": self.face(clear_mm), "back": self.face(clear_mm),
            "tolerances": {
                "diameter_mm": self.perhaps([0.0, -upper], [upper, -upper], [-upper, -2 * upper], [2 * upper, upper]),
                "centre_thickness_mm": self.perhaps(upper), "centring": self.perhaps("4/2'", '4/30"', "4/0.5'(0.02)"),
            },
            "bubbles": self.perhaps("1/3x0.16"), "inhomogeneity": self.perhaps("2/1;2"), "stress_birefringence": self.perhaps("0/10", "0/-"),
        }  # fmt: skip

    def prescription(self) -> dict[str, Any]:
        diameter_mm = round(self.uniform(20, 50), 3)
        elements = [self.element(f"L{position}", diameter_mm) for position in range(1, self.randint(1, 3) + 1)]
        spaces: list[dict[str, Any]] = []
        for before, behind in pairwise(elements):
            spaces.append(self.choice([{"cemented": True}, {"gap_mm": round(self.uniform(1, 9), 4)}]))
            if "cemented" in spaces[-1] and self.random() < 0.5:
                behind["front"] = before["back"]
        stop = {"after_element": self.randint(0, len(elements)), "distance_mm": round(self.uniform(0.1, 1), 3), "diameter_mm": 18.5}
        return {
            "title": self.text(), "wavelength_nm": self.choice([587.5618, 633.0, 1064.25]), "elements": elements, "spaces": spaces, "stop": self.perhaps(stop),
            "barrel": self.perhaps({"material": "brass", "length_mm": 40.5, "outer_diameter_mm": 55.0}), "field_half_angle_deg": self.perhaps(12.5),
            "entrance_pupil_diameter_mm": self.perhaps(17.25), "object_distance_mm": self.perhaps(450.0, 1234.5678), "transmitted_wavefront": self.perhaps("13/1(0.5)"),
            "assembly_imperfections": self.perhaps("15/3x0.16"), "first_article": self.random() < 0.5, "remarks": self.perhaps(self.text()) or "",
        }  # fmt: skip

    def request(self) -> QuoteRequest:
        prescription = self.prescription()
        name = prescription["elements"][0]["name"]
        return QuoteRequest.model_validate(
            {
                "prescription": prescription, "quantities": self.sample(range(1, 100_000), k=self.randint(1, 4)), "currency": self.choice(["USD", "EUR"]),
                "needed_by": self.perhaps("2027-03-15"), "customer_class": self.choice(["standard", "key account"]), "confidence": self.choice([0.9, 0.975]),
                "rate_revision": self.perhaps(4), "own_operations": self.perhaps(["special packing", "leak test"]) or [], "repeats": self.perhaps("Q-2026-000123"),
                **{field: self.perhaps(self.text()) or "" for field in ("customer", "reference", "contact", "purchase_terms")},
                "spares": self.perhaps([{"part": name, "pieces": 5}]) or [], "delivered": self.choice(["lenses", "sets"]), "prototypes": self.perhaps(3),
                "supplied": self.perhaps([{"what": "glass", "element": name, "mass_kg": 2.5}]) or [], "assumptions": self.perhaps([self.text()]) or [],
            }
        )  # fmt: skip


def read_back(content: str | bytes) -> QuoteRequest:
    draft = read_intake(content, name="lens.xlsx" if isinstance(content, bytes) else "lens.csv")
    assert draft.questions == (), [question.asks for question in draft.questions]
    assert draft.request is not None
    return draft.request


@pytest.mark.parametrize("seed", range(24))
def test_any_request_reads_back_from_its_table_to_the_same_bytes(seed: int) -> None:
    asked = Drawn(seed).request()
    assert canonical_json(read_back(table_of(asked))) == canonical_json(asked)


@pytest.mark.parametrize("seed", range(100, 106))
def test_any_request_reads_back_from_its_workbook_to_the_same_bytes(seed: int) -> None:
    asked = Drawn(seed).request()
    assert canonical_json(read_back(workbook_of(asked))) == canonical_json(asked)


def test_the_demo_reads_back_from_its_table() -> None:
    assert canonical_json(read_back(table_of(DEMO))) == canonical_json(DEMO)


@pytest.mark.parametrize(("before", "after"), [("3/2(0.5)", "3/1(0.2)"), (",25.4,", ",25.6,")])
def test_a_cell_that_is_changed_changes_the_request(before: str, after: str) -> None:
    text = "units,mm\nquantities,10\nsurface,radius_mm,thickness_mm,glass,clear_diameter_mm,diameter_mm,form\n1,50,5,N-BK7,20,25.4,3/2(0.5)\n2,-50,,,20,,\n"
    assert read_back(text) != read_back(text.replace(before, after))
