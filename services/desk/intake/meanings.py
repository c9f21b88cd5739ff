"""What a cell of a customer's table means, by the kind of its column; `remark` reads any of them word by word."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal

from services.desk.intake.notation import read_indication
from services.desk.intake.reading import Reading, asked

__all__ = ["KINDS", "Reading", "read_cell"]


@dataclass(frozen=True)
class Beside:
    """What is known beside the cell: millimetres in a unit of its column, and the diameter of its element; `None` is not known."""

    unit_mm: Decimal | None = None
    diameter_mm: Decimal | None = None


def read_cell(
    kind: str, text: str, *, unit_mm: Decimal | None = None, diameter_mm: Decimal | None = None, where: str = ""
) -> Reading:
    """What a cell under a column of this kind means. An empty cell means nothing.

    `unit_mm` is millimetres in a unit of the column (`None`: mm), `diameter_mm` that of the element where it is known, which fits and run-out
    need; `where` names the place in what is asked.
    """
    if not text.strip():
        return Reading()
    reading = READERS[kind](text, Beside(unit_mm, diameter_mm))
    return replace(reading, asks=f"{where}: {reading.asks}") if where and reading.asks else reading


def _indication(name: str) -> Callable[[str, Beside], Reading]:
    def read(text: str, beside: Beside) -> Reading:
        return read_indication(name, text) or asked(f"{text.strip()} is not understood as {name.replace('_', ' ')}")

    return read


def _glass(text: str, beside: Beside) -> Reading:
    return Reading({"glass": text.strip()})


def _not_yet(text: str, beside: Beside) -> Reading:
    return Reading(left=text.strip())


READERS: dict[str, Callable[[str, Beside], Reading]] = {
    "glass": _glass,
    "coating": _not_yet,
    "form": _indication("form"),
    "power": _not_yet,
    "irregularity": _not_yet,
    "surface_quality": _indication("imperfections"),
    "texture": _indication("texture"),
    "laser_damage": _indication("laser_damage"),
    "centring": _indication("centring"),
    "wedge": _not_yet,
    "diameter_tolerance": _not_yet,
    "thickness_tolerance": _not_yet,
    "radius_tolerance": _not_yet,
    "bubbles": _indication("bubbles"),
    "inhomogeneity": _indication("inhomogeneity"),
    "stress_birefringence": _indication("stress_birefringence"),
    "transmitted_wavefront": _indication("transmitted_wavefront"),
    "assembly_imperfections": _indication("assembly_imperfections"),
    "remark": _not_yet,
}
KINDS = tuple(READERS)
