"""What lenses cost, for laws over prices: all four stages in this process, each lens through them once."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from services.quoting.pricing.evaluation import Evaluation, evaluate
from services.quoting.pricing.plans import Plans
from services.quoting.pricing.quote import plans_for
from services.rates.domain.seed import seed_rates
from shared_schemas.blanks import BlankPlan
from shared_schemas.operations import OperationPlan
from shared_schemas.rates import Rates
from tests.chain import job_of, request_of, sections_of

Prescription = dict[str, Any]

LARGEST = 100_000
"""Every lens is planned for so many: what was asked for besides changes nothing, as a law of its own says."""


@lru_cache(maxsize=1)
def rates() -> Rates:
    """The rates of the seed."""
    return seed_rates()


@dataclass(frozen=True)
class Planned:
    """A lens through the stages before quoting, and what quoting works from."""

    blanks: BlankPlan
    operations: OperationPlan
    plans: Plans

    def at(self, quantity: int, *, evened: bool = True) -> Evaluation:
        """One quantity worked out."""
        return evaluate(self.plans, quantity=quantity, evened=evened)

    def price(self, quantity: int) -> float:
        """The unit price of the even list."""
        return float(self.at(quantity).price.unit)

    def alone(self, quantity: int) -> float:
        """The unit price of that quantity by itself, and its share of the charges for tools."""
        evaluation = self.at(quantity, evened=False)
        charges = sum((tool.charge for tool in evaluation.made.tooling), start=0)
        return float(evaluation.price.unit) + float(charges) / quantity


def planned(prescription: Prescription, **fields: Any) -> Planned:
    """A lens as the shop of the seed plans it; each is planned once."""
    return _planned(json.dumps(prescription, sort_keys=True), json.dumps(fields, sort_keys=True))


@lru_cache(maxsize=400)
def _planned(prescription: str, fields: str) -> Planned:
    request = request_of(json.loads(prescription), (LARGEST,), **json.loads(fields))
    _, blanks, operations = sections_of(request, rates())
    return Planned(blanks, operations, plans_for(job_of(request), blanks, operations, rates()))


GLASSES = ("N-BK7", "N-SF11", "N-LAK22", "N-SK16", "N-BAK4")


def singlets(*, seed: int, count: int, smallest_mm: float = 8.0, largest_mm: float = 100.0) -> Iterator[Prescription]:
    """Lenses of one element that any shop makes: all shapes, sizes and usual tolerances."""
    draw = np.random.default_rng(seed)
    for _ in range(count):
        diameter = float(np.exp(draw.uniform(np.log(smallest_mm), np.log(largest_mm))))
        yield one_element(draw, round(diameter, 2))


def one_element(draw: np.random.Generator, diameter_mm: float) -> Prescription:
    """One element, convex or concave, plane on the back now and then."""
    steep = float(draw.uniform(0.8, 3.0)) * diameter_mm
    front = steep if draw.random() < 0.7 else -steep
    back = None if draw.random() < 0.3 else -front * float(draw.uniform(0.8, 2.0))
    sag = sum(diameter_mm**2 / 8 / abs(radius) for radius in (front, back) if radius)
    thickness = 0.06 * diameter_mm + 1.5 + (1.25 * sag if front > 0 else 0.0)
    marks = {
        "clear_diameter_mm": round(0.9 * diameter_mm, 3),
        "form": f"3/{draw.choice([2, 3, 5])}({draw.choice([0.3, 0.5, 1.0, 2.0])})",
        "imperfections": f"5/{draw.choice([2, 3])}x{draw.choice([0.16, 0.25, 0.4])}",
    }
    element = {
        "name": "L1", "glass": str(draw.choice(GLASSES)), "diameter_mm": diameter_mm, "centre_thickness_mm": round(thickness, 3),
        "front": {"radius_mm": round(front, 3), **marks}, "back": {"radius_mm": None if back is None else round(back, 3), **marks},
        "tolerances": {
            "diameter_mm": [0.0, -float(draw.choice([0.02, 0.03, 0.1]))],
            "centre_thickness_mm": float(draw.choice([0.03, 0.05, 0.1])), "centring": f"4/{draw.choice([1, 2, 4])}'",
        },
    }  # fmt: skip
    return {"title": "drawn", "elements": [element], "spaces": []}


def changed(prescription: Prescription, **fields: Any) -> Prescription:
    """The lens with fields of its first element changed."""
    other = copy.deepcopy(prescription)
    other["elements"][0].update(fields)
    return other


def with_faces(prescription: Prescription, **fields: Any) -> Prescription:
    """The lens with fields of both faces of its first element changed."""
    other = copy.deepcopy(prescription)
    for face in ("front", "back"):
        other["elements"][0][face].update(fields)
    return other


def toleranced(prescription: Prescription, **fields: Any) -> Prescription:
    """The lens with tolerances of its first element changed."""
    other = copy.deepcopy(prescription)
    other["elements"][0]["tolerances"].update(fields)
    return other


def flipped(prescription: Prescription) -> Prescription:
    """The same element turned round."""
    other = copy.deepcopy(prescription)
    element = other["elements"][0]
    faces = {name: copy.deepcopy(element[name]) for name in ("front", "back")}
    for name, from_ in (("front", "back"), ("back", "front")):
        face = faces[from_]
        if face["radius_mm"] is not None:
            face["radius_mm"] = -face["radius_mm"]
        if face.get("asphere"):
            face["asphere"] = {order: -value for order, value in face["asphere"].items()}
        element[name] = face
    return other
