"""From stock to a generated piece: sawing plates, coring discs, taking pressings from the store, generating curves."""

from __future__ import annotations

import math
from collections.abc import Iterator

from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.faces.removal import removal_rate
from services.process.domain.route.edging import rim_volume_mm3
from services.process.domain.route.knees import knee_of
from services.process.domain.route.lines import Line, line
from services.process.domain.route.rate_rows import allowance_row
from shared_schemas.figure import Figure
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import Rates


def cut_blank(work: ElementWork, rates: Rates) -> Iterator[Line]:
    """What stands before generating: a pressing skips saw and core; what gives one blank across, as a rod does, only needs the saw."""
    form = work.blank.form
    if form == "pressing":
        yield line("press_blank", rates)
    sliced = form in ("slab", "strip", "rod") or (form == "disc" and work.blank.plates_per_slab > 1)
    if sliced:
        yield _saw(work, rates)
    if form in ("slab", "strip") or (form == "disc" and work.blank.discs_per_plate > 1):
        yield _core(work, rates)


def core_volume_mm3(*, diameter_mm: float, thickness_mm: float, kerf_mm: float) -> float:
    """Ring that a core drill turns to slurry: pi/4 ((d + 2k)^2 - d^2) t [mm3]."""
    return math.pi / 4 * ((diameter_mm + 2 * kerf_mm) ** 2 - diameter_mm**2) * thickness_mm


def _saw(work: ElementWork, rates: Rates) -> Line:
    """One cut frees a plate, out of which so many discs come; a cut turns the kerf over the plate's face to slurry."""
    blank = work.blank
    kerf = allowance_row(rates, "saw_kerf", work.diameter_mm)
    face_mm2 = blank.discs_per_plate * blank.volume_mm3 / blank.thickness_mm / blank.utilisation
    rate = removal_rate("saw", work.glass, rates)
    minutes = face_mm2 * kerf.allowance_mm / rate.mm3_per_min

    def why() -> tuple[Figure, ...]:
        inputs = (
            Figure(name="face", value=face_mm2, unit="mm2", formula="discs per plate x disc / utilisation"),
            Figure(name="kerf", value=kerf.allowance_mm, unit="mm", rate_row=Rates.ref("allowances", kerf)),
            rate.figure(),
        )
        return (Figure(name="run", value=minutes, unit="min", formula="face x kerf / removal rate", inputs=inputs),)

    return line(
        "saw", rates, batch_size=blank.discs_per_plate, run_min=minutes, consumables=rate.row.consumables_per_batch,
        run_basis=why, batch_basis=lambda: Figure(
            name="batch_size", value=blank.discs_per_plate, formula="discs per plate", source="the blank plan"
        ),
    )  # fmt: skip


def _core(work: ElementWork, rates: Rates) -> Line:
    blank = work.blank
    kerf = allowance_row(rates, "core_kerf", work.diameter_mm)
    volume = core_volume_mm3(diameter_mm=blank.diameter_mm, thickness_mm=blank.thickness_mm, kerf_mm=kerf.allowance_mm)
    rate = removal_rate("core", work.glass, rates)
    minutes = volume / rate.mm3_per_min

    def why() -> tuple[Figure, ...]:
        inputs = (
            Figure(name="d", value=blank.diameter_mm, unit="mm", source="the blank plan"),
            Figure(name="t", value=blank.thickness_mm, unit="mm", source="the blank plan"),
            Figure(name="kerf", value=kerf.allowance_mm, unit="mm", rate_row=Rates.ref("allowances", kerf)),
            rate.figure(),
        )
        formula = "pi/4 ((d + 2 kerf)^2 - d^2) t / removal rate"
        return (Figure(name="each", value=minutes, unit="min", formula=formula, inputs=inputs),)

    return line("core", rates, each_min=minutes, consumables=rate.row.consumables_per_batch, run_basis=why)


FLAT_DEPTH_MM = 0.5
"""Depth of glass that even a plane face has to lose, in sharing the volume between the faces; common practice for cut blanks."""


def generated_volume_mm3(*, blank_mm3: float, lens_mm3: float, rim_mm3: float) -> float:
    """Glass that generating takes off both faces: blank less lens less the rim that centring takes [mm3].

    Raises: FigureOutOfRange when the lens is larger than its blank.
    """
    if lens_mm3 > blank_mm3:
        raise FigureOutOfRange("volume of the lens [mm3]", lens_mm3, f"at most that of the blank, {blank_mm3:g} mm3")
    return max(blank_mm3 - lens_mm3 - rim_mm3, 0.0)


def share_of_face(*, sag_mm: float, other_sag_mm: float) -> float:
    """Share of the generated volume that one face gives: the faces share it as their depths, each with half a millimetre more."""
    own, other = sag_mm + FLAT_DEPTH_MM, other_sag_mm + FLAT_DEPTH_MM
    return own / (own + other)


def generate(work: ElementWork, face: FaceWork, rates: Rates, *, worked_first: bool) -> Line:
    """Generating one face, one piece at a time, at the rate of the glass's grindability class."""
    rim = rim_volume_mm3(blank_diameter_mm=work.blank.diameter_mm, diameter_mm=work.diameter_mm, edge_mm=work.edge_mm)
    both = generated_volume_mm3(blank_mm3=work.blank.volume_mm3, lens_mm3=work.finished_volume_mm3, rim_mm3=rim)
    other = work.back if face.face == "front" else work.front
    share = share_of_face(sag_mm=face.sag_mm, other_sag_mm=other.sag_mm)
    rate = removal_rate("generate", work.glass, rates)
    minutes = both * share / rate.mm3_per_min

    def why() -> tuple[Figure, ...]:
        inputs = (
            Figure(name="blank", value=work.blank.volume_mm3, unit="mm3", source="the blank plan"),
            Figure(name="lens", value=work.finished_volume_mm3, unit="mm3", source="the check report"),
            Figure(name="rim", value=rim, unit="mm3", formula="pi/4 (D_b^2 - D^2) ET"),
            Figure(name="share", value=share, formula="(sag + 0.5 mm) over that of both faces"),
            rate.figure(),
        )
        order = Figure(
            name="worked", value="first" if worked_first else "second", formula=work.order.reason, source="common practice"
        )
        each = Figure(name="each", value=minutes, unit="min", formula="(blank - lens - rim) x share / removal rate", inputs=inputs)
        return each, order

    return line(
        "generate", rates, face=face.face, diameter_mm=work.blank.diameter_mm, each_min=minutes, run_basis=why,
        consumables=rate.row.consumables_per_batch, knee=knee_of("generate", work.demands_on(face), rates),
        extra=work.extra_work.at("generate"),
    )  # fmt: skip
