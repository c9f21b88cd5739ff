"""Curve generating: the glass between blank and lens, off both faces."""

from __future__ import annotations

from services.process.domain.edging import rim_volume_mm3
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.operation_lines import Line, line
from services.process.domain.removal import removal_rate
from services.process.domain.tolerance_knees import knee_of
from shared_schemas.figure import Figure
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import Rates

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
