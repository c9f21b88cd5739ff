"""What a cell of a customer's table means, by the kind of its column; `remark` reads any of them word by word."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal

from services.desk.intake.coatings import read_coating
from services.desk.intake.days import read_day
from services.desk.intake.form_words import joined_forms, read_form
from services.desk.intake.glasses import read_glass
from services.desk.intake.notation import KIND_IN_WORDS, place_of, read_indication
from services.desk.intake.quality import read_laser_damage, read_quality, read_texture
from services.desk.intake.quantities import read_quantities
from services.desk.intake.reading import Reading, asked
from services.desk.intake.remarks import faces_of, read_remark, whole_answers
from services.desk.intake.terms import read_order
from services.desk.intake.tolerances import (
    nominal_and_tolerance,
    read_centring,
    read_diameter_tolerance,
    read_radius_tolerance,
    read_thickness_tolerance,
)

__all__ = ["KINDS", "VERBATIM", "Reading", "joined_forms", "nominal_and_tolerance", "read_cell"]

VERBATIM = "verbatim: "
"""Before a text that is to stand in its field as it is written, whatever it would mean otherwise."""


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
    need; `where` names the place in what is asked and in remarks. A glass that is air or cement comes as `medium`. Fields of a face come
    as `form`, `imperfections`, `texture`, `laser_damage`, `coating`, with `front.` or `back.` before them where the cell itself says of
    which face it is. Fields of the order come as a
    request has them, with `prescription.` before those of the whole lens. Two forms of one face, of power and of irregularity, are put together by `joined_forms`.
    """
    if not text.strip():
        return Reading()
    if text.startswith(VERBATIM) and kind in FIELDS:
        return Reading({FIELDS[kind]: text.removeprefix(VERBATIM)})
    beside = Beside(unit_mm, diameter_mm)
    reading = READERS[kind](text, beside)
    if not reading.plain and kind in OF_A_FACE:
        reading = _of_named_faces(kind, text, beside) or reading
    if not where:
        return reading
    remarks = {"remarks": f"{where}: {reading.values['remarks']}"} if "remarks" in reading.values else {}
    return replace(reading, values=reading.values | remarks, asks=f"{where}: {reading.asks}" if reading.asks else "")


def _of_named_faces(kind: str, text: str, beside: Beside) -> Reading | None:
    """A cell that says of which faces it is, such as `60-40 both sides`."""
    bare, faces = faces_of(text.strip())
    reading = READERS[kind](bare, beside) if faces else None
    if reading is None:
        return None
    if reading.asks:
        return replace(reading, choices=whole_answers(text, bare, reading.choices)) if reading.choices else None
    return replace(reading, values={f"{face}.{name}": value for name, value in reading.values.items() for face in faces})


def _indication(name: str) -> Callable[[str, Beside], Reading]:
    def read(text: str, beside: Beside) -> Reading:
        return read_indication(name, text) or asked(f"{text.strip()} is not understood as {KIND_IN_WORDS[name]}")

    return read


def _remark(text: str, beside: Beside) -> Reading:
    return read_remark(text, lambda kind, clause: READERS[kind](clause, beside))


READERS: dict[str, Callable[[str, Beside], Reading]] = {
    "glass": lambda text, beside: read_glass(text),
    "coating": lambda text, beside: read_coating(text),
    "form": lambda text, beside: read_form(text),
    "power": lambda text, beside: read_form(text, "power"),
    "irregularity": lambda text, beside: read_form(text, "irregularity"),
    "surface_quality": lambda text, beside: read_quality(text),
    "texture": lambda text, beside: read_texture(text),
    "laser_damage": lambda text, beside: read_laser_damage(text),
    "centring": lambda text, beside: read_centring(text, unit_mm=beside.unit_mm, diameter_mm=beside.diameter_mm),
    "wedge": lambda text, beside: read_centring(text, unit_mm=beside.unit_mm, diameter_mm=beside.diameter_mm, wedge=True),
    "diameter_tolerance": lambda text, beside: read_diameter_tolerance(
        text, unit_mm=beside.unit_mm, diameter_mm=beside.diameter_mm
    ),
    "thickness_tolerance": lambda text, beside: read_thickness_tolerance(text, unit_mm=beside.unit_mm),
    "radius_tolerance": lambda text, beside: read_radius_tolerance(text, unit_mm=beside.unit_mm),
    "bubbles": _indication("bubbles"),
    "inhomogeneity": _indication("inhomogeneity"),
    "stress_birefringence": _indication("stress_birefringence"),
    "transmitted_wavefront": _indication("transmitted_wavefront"),
    "assembly_imperfections": _indication("assembly_imperfections"),
    "quantities": lambda text, beside: read_quantities(text),
    "needed_by": lambda text, beside: read_day(text),
    "order": lambda text, beside: read_order(text) or Reading(left=text.strip()),
    "remark": _remark,
}
KINDS = tuple(READERS)
OF_A_FACE = ("form", "power", "irregularity", "surface_quality", "texture", "laser_damage", "coating")
FIELDS = {
    "glass": "glass", "coating": "coating", "form": "form", "surface_quality": "imperfections", "texture": "texture", "laser_damage": "laser_damage",
    **{name: place_of(name) for name in ("centring", "bubbles", "inhomogeneity", "stress_birefringence", "transmitted_wavefront", "assembly_imperfections")},
}  # fmt: skip
"""The one field that a kind of text fills, for kinds that fill one."""
