"""What the drawing asks for that the minutes hold only in part, or not at all."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from services.process.domain.element_work import ElementWork, FaceWork
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.prescription import Prescription, Surface

GROUND = "G"
"""An ISO 10110-8 texture that begins so is of a ground face."""


def unplanned(elements: Sequence[ElementWork], prescription: Prescription) -> Iterator[Finding]:
    """A finding for every indication that is not, or not wholly, in the minutes."""
    for work, element in zip(elements, prescription.elements, strict=True):
        for face, surface in ((work.front, element.front), (work.back, element.back)):
            yield from _texture(work, face, surface)
            yield from _laser(work, face, surface)
    wavefront, imperfections = prescription.transmitted_wavefront, prescription.assembly_imperfections
    if wavefront is not None and prescription.barrel is None:
        yield finding(
            "wavefront-not-measured",
            "/transmitted_wavefront",
            "The lens is delivered in parts, without a barrel: its transmitted wavefront is not measured, and not in the minutes.",
            figure=wavefront,
            remedy="a barrel, so that the lens is mounted and measured",
        )
    if imperfections is not None and not any(space.cemented for space in prescription.spaces):
        yield finding(
            "assembly-imperfections-not-looked-at",
            "/assembly_imperfections",
            "The lens has no cemented faces; imperfections of the assembly are not inspected, and not in the minutes.",
            figure=imperfections,
            remedy="state 5/ for each face",
        )


def _texture(work: ElementWork, face: FaceWork, surface: Surface) -> Iterator[Finding]:
    if surface.texture is None:
        return
    pointer, name = f"{face.where}/texture", f"The {face.face} of {work.name}"
    if surface.texture.strip().startswith(GROUND):
        message = f"{name} is drawn as ground; it is planned and priced as a polished face."
        yield finding("ground-face-polished", pointer, message, figure=surface.texture, remedy="ask for a price of the ground face")
    elif not face.textured:
        message = f"{name} has a texture of {surface.texture}, for which no time is planned: peak-to-valley roughness does not convert to Rq."
        yield finding(
            "texture-not-planned", pointer, message, figure=surface.texture, remedy="state it as P1 to P4, or as a limit of Rq"
        )


def _laser(work: ElementWork, face: FaceWork, surface: Surface) -> Iterator[Finding]:
    if surface.laser_damage is not None:
        yield finding(
            "laser-damage-not-measured",
            f"{face.where}/laser_damage",
            f"The {face.face} of {work.name} is cleaned and inspected for use with a laser; that it withstands {surface.laser_damage} "
            f"is not measured, nor is measuring it in the minutes.",
            figure=surface.laser_damage,
            remedy="witness pieces tested by a laboratory, ordered with the lenses",
        )
