"""Radii that lie near a test plate the shop owns: what the plate's own radius would save, and do to the focal length."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from decimal import Decimal

from services.process.domain.element_work import FaceWork
from services.process.domain.tools.tooling import Toolroom, Want, missing
from shared_schemas.figure import Figure
from shared_schemas.operations import Tooling, ToolingOffer
from shared_schemas.rates import Rates, ToolingRow


def offers_for(
    wants: Sequence[Want], cemented: Sequence[tuple[FaceWork, FaceWork]], *, focal_length_mm: float | None, toolroom: Toolroom
) -> tuple[ToolingOffer, ...]:  # fmt: skip
    """For each radius without a test plate the owned ones within their reach of offer, the nearest first.

    Args:
        wants: every tool that the lens needs.
        cemented: pairs of faces that are joined; where their radii differ neither gets an offer.
        focal_length_mm: of the whole lens; an afocal one gets no offers, as nothing says what they would do to it.

    Notes: every face of that radius changes with it, or the new plate is needed all the same.
    """
    if not focal_length_mm:
        return ()
    unlike = {face.where for pair in cemented if pair[0].radius_mm != pair[1].radius_mm for face in pair}
    lacking = missing(wants, toolroom)
    return tuple(
        offer
        for want in lacking
        if want.kind == "test_plate"
        for plate in _near(want.size_mm, toolroom)
        for offer in _offer(want, plate, wants, lacking, unlike, focal_length_mm, toolroom)
    )


def new_focal_length_mm(*, focal_length_mm: float, faces: Sequence[tuple[float, float]], ratio: float) -> float:
    """Focal length when radii become `ratio` times as long [mm]; infinite where no power is left.

    Args:
        faces: radius [mm] and df/dR [mm/mm] of each face that changes.

    Notes:
        1/f' = 1/f + sum of df/dR (R/f)^2 (1/R' - 1/R): the power of a lens is linear in the curvature of each face, so that this
        is exact for one face and for two that are cemented; for faces apart the product of their changes is left out.
    Source: derived.
    """
    power = 1 / focal_length_mm
    power += sum(slope * (radius / focal_length_mm) ** 2 * (1 / ratio - 1) / radius for radius, slope in faces)
    return 1 / power if power else math.inf


def _near(radius_mm: float, toolroom: Toolroom) -> list[ToolingRow]:
    found = [(abs(row.radius_mm - radius_mm), row) for row in toolroom.owned.get("test_plate", ()) if row.radius_mm is not None]
    near = [(apart, row) for apart, row in found if apart <= row.offer_reach_share * radius_mm]
    return [row for _, row in sorted(near, key=lambda one: (one[0], one[1].name))]


def _offer(
    want: Want, plate: ToolingRow, wants: Sequence[Want], lacking: Sequence[Want], unlike: set[str], focal_mm: float, toolroom: Toolroom
) -> Iterator[ToolingOffer]:  # fmt: skip
    """The offer of one plate, if the lens stays near enough and money is saved."""
    faces = [one.face for one in wants if one.face is not None and one.key == want.key]
    slopes = [face.focal_length_per_radius for face in faces]
    if plate.radius_mm is None or any(face.where in unlike for face in faces) or any(slope is None for slope in slopes):
        return
    ratio = plate.radius_mm / want.size_mm
    effects = [(face.signed_radius_mm, slope) for face, slope in zip(faces, slopes, strict=True) if slope is not None]
    change_mm = new_focal_length_mm(focal_length_mm=focal_mm, faces=effects, ratio=ratio) - focal_mm
    moved = {face.where for face in faces}
    then = missing(
        [replace(one, size_mm=plate.radius_mm) if one.face is not None and one.face.where in moved else one for one in wants], toolroom
    )  # fmt: skip
    before, after = {one.key: one for one in lacking}, {one.key: one for one in then}
    gone = [toolroom.charge(one) for key, one in before.items() if key not in after]
    needed = [toolroom.charge(one) for key, one in after.items() if key not in before]
    saving = sum((tool.charge for tool in gone), Decimal(0)) - sum((tool.charge for tool in needed), Decimal(0))
    if abs(change_mm) > plate.offer_focal_share * abs(focal_mm) or saving <= 0:
        return
    first, to_mm = faces[0], math.copysign(plate.radius_mm, faces[0].signed_radius_mm)
    yield ToolingOffer(
        where=f"{first.where}/radius_mm",
        also=tuple(f"{face.where}/radius_mm" for face in faces[1:]),
        part=want.part,
        from_radius_mm=first.signed_radius_mm,
        to_radius_mm=to_mm,
        tool=plate.name,
        focal_length_change_mm=change_mm,
        focal_length_change_share=change_mm / focal_mm,
        saving=saving,
        lead_days_saved=max(tool.lead_days for tool in gone) - max((tool.lead_days for tool in needed), default=0.0),
        not_needed=tuple(tool.name for tool in gone),
        needed=tuple(needed),
        basis=(_why_focal(effects, to_mm, focal_mm, change_mm, plate), _why_saving(gone, needed, saving)),
    )


def _why_focal(
    effects: Sequence[tuple[float, float]], to_mm: float, focal_mm: float, change_mm: float, plate: ToolingRow
) -> Figure:  # fmt: skip
    inputs = [
        Figure(name="f", value=focal_mm, unit="mm", source="the check report"),
        Figure(name="plate", value=abs(to_mm), unit="mm", rate_row=Rates.ref("tooling", plate)),
    ]
    for radius, slope in effects:
        inputs.append(Figure(name="R", value=radius, unit="mm", source="the prescription"))
        inputs.append(Figure(name="R'", value=math.copysign(to_mm, radius), unit="mm", formula="plate, with the sign of R"))
        inputs.append(Figure(name="df/dR", value=slope, unit="mm/mm", source="the check report"))
    formula = "f' - f; 1/f' = 1/f + sum over the faces of df/dR (R/f)^2 (1/R' - 1/R)"
    return Figure(name="focal_length_change_mm", value=change_mm, unit="mm", formula=formula, inputs=tuple(inputs))


def _why_saving(gone: Sequence[Tooling], needed: Sequence[Tooling], saving: Decimal) -> Figure:
    inputs = tuple(Figure(name=tool.name, value=tool.charge, rate_row=tool.basis[0].rate_row) for tool in (*gone, *needed))
    formula = "sum of " + " + ".join(tool.name for tool in gone)
    if needed:
        formula += " - " + " - ".join(tool.name for tool in needed)
    return Figure(name="saving", value=saving, formula=formula, inputs=inputs)
