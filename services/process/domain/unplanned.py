"""What the drawing asks for that the minutes hold only in part, or not at all."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from services.process.domain.element_work import ElementWork, FaceWork
from shared_schemas.check import Finding, Severity
from shared_schemas.prescription import Prescription, Surface

GROUND = "G"
"""An ISO 10110-8 texture that begins so is of a ground face."""


def unplanned(elements: Sequence[ElementWork], prescription: Prescription) -> Iterator[Finding]:
    """A finding for every indication that is not, or not wholly, in the minutes."""
    for work, element in zip(elements, prescription.elements, strict=True):
        for face, surface in ((work.front, element.front), (work.back, element.back)):
            yield from _texture(work, face, surface)
            yield from _laser(work, face, surface)
    if prescription.transmitted_wavefront is not None and prescription.barrel is None:
        yield _finding(
            "wavefront_not_measured", "/transmitted_wavefront", prescription.transmitted_wavefront,
            "The lens is delivered in parts, without a barrel: nobody measures the wavefront that it transmits, and it is not in the minutes.",
            "a barrel, so that the lens is mounted and measured",
        )  # fmt: skip
    if prescription.assembly_imperfections is not None and not any(space.cemented for space in prescription.spaces):
        yield _finding(
            "assembly_imperfections_not_looked_at", "/assembly_imperfections", prescription.assembly_imperfections,
            "The lens has no cemented faces; imperfections of the assembly are not looked for, and are not in the minutes.",
            "state 5/ for each face",
        )  # fmt: skip


def _texture(work: ElementWork, face: FaceWork, surface: Surface) -> Iterator[Finding]:
    if surface.texture is None:
        return
    where, called = f"{face.where}/texture", f"The {face.face} of {work.name}"
    if surface.texture.strip().startswith(GROUND):
        message = f"{called} is drawn as ground; it is planned and priced as a polished face."
        yield _finding(
            "ground_face_polished", where, surface.texture, message, "ask for a price of the ground face", severity="care"
        )
    elif not face.textured:
        message = f"{called} has a texture of {surface.texture} that no time is planned for: a peak-to-valley roughness cannot be turned into Rq."
        yield _finding("texture_not_planned", where, surface.texture, message, "state it as P1 to P4, or as a limit of Rq")


def _laser(work: ElementWork, face: FaceWork, surface: Surface) -> Iterator[Finding]:
    if surface.laser_damage is not None:
        message = (
            f"The {face.face} of {work.name} is cleaned and looked at for laser light; that it stands {surface.laser_damage} is not "
            f"measured, nor is it in the minutes."
        )
        where, repair = f"{face.where}/laser_damage", "a test of witness pieces by a laboratory, ordered beside the lenses"
        yield _finding("laser_damage_not_measured", where, surface.laser_damage, message, repair, severity="care")


def _finding(code: str, where: str, figure: str, message: str, repair: str, *, severity: Severity = "note") -> Finding:
    return Finding(
        code=code, severity=severity, pointer=where, message=message, figure=figure, source="common practice", remedy=repair
    )
