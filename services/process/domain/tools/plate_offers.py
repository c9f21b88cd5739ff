"""Radii that lie near a test plate the shop owns: what the plate's own radius would save, and do to the focal length."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from decimal import Decimal

from services.optics.law import decided, figure_of, given, law
from services.process.domain.element_work import FaceWork
from services.process.domain.route.lines import amounts_in_all
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
        for want in _by_name(lacking).values()
        if want.kind == "test_plate" and all(way.choice == "testing" for way in want.ways)
        for plate in _near(want.size_mm, toolroom)
        for offer in _offer(want, plate, wants, lacking, unlike, focal_length_mm, toolroom)
    )


@law
def power_change_per_mm(*, focal_length_mm: float, focal_length_per_radius: float, radius_mm: float, new_radius_mm: float) -> float:
    """Change of the power [1/mm] of a lens when one of its radii changes: power is linear in the curvature of each face.

    Equation: focal_length_per_radius * (radius_mm / focal_length_mm) ** 2 * (1 / new_radius_mm - 1 / radius_mm)
    Source: derived
    """
    return focal_length_per_radius * (radius_mm / focal_length_mm) ** 2 * (1 / new_radius_mm - 1 / radius_mm)


@law
def new_focal_length_mm(*, focal_length_mm: float, power_changes: Sequence[float]) -> float:
    """Focal length [mm] when the power changes by those of its faces; infinite where no power is left.

    Equation: 1 / (1 / focal_length_mm + sum(power_changes))
    Notes: exact for one face and for two that are cemented; for faces apart the product of their changes is left out.
    Source: derived
    """
    power = 1 / focal_length_mm + sum(power_changes)
    return 1 / power if power else math.inf


def focal_length_of_ratio_mm(*, focal_length_mm: float, faces: Sequence[tuple[float, float]], ratio: float) -> float:
    """Focal length when radii become `ratio` times as long [mm]; `faces` are radius [mm] and df/dR [mm/mm] of each that changes."""
    changes = [
        power_change_per_mm(
            focal_length_mm=focal_length_mm, focal_length_per_radius=slope, radius_mm=radius, new_radius_mm=ratio * radius
        )
        for radius, slope in faces
    ]
    return new_focal_length_mm(focal_length_mm=focal_length_mm, power_changes=changes)


@law
def focal_length_change_mm(*, new_focal_length_mm: float, focal_length_mm: float) -> float:
    """Change of the focal length [mm].

    Equation: new_focal_length_mm - focal_length_mm
    """
    return new_focal_length_mm - focal_length_mm


@law
def tooling_saving(*, not_needed: Decimal, needed: Decimal) -> Decimal:
    """Charges that are saved: those of the tools that fall away, less those of the tools that the new radius asks for.

    Equation: not_needed - needed
    """
    return not_needed - needed


@law
def days_saved(*, longest_before_days: float, longest_after_days: float) -> float:
    """Days by which tools are there sooner: the slowest that falls away, less the slowest that comes instead.

    Equation: longest_before_days - longest_after_days
    """
    return longest_before_days - longest_after_days


def _by_name(wants: Sequence[Want]) -> dict[str, Want]:
    """Tools by their names, each for the first part that needs it: one tool serves all."""
    found: dict[str, Want] = {}
    for want in wants:
        found.setdefault(want.name, want)
    return found


def _near(radius_mm: float, toolroom: Toolroom) -> list[ToolingRow]:
    found = [(abs(row.radius_mm - radius_mm), row) for row in toolroom.owned.get("test_plate", ()) if row.radius_mm is not None]
    near = [(apart, row) for apart, row in found if apart <= row.offer_reach_share * radius_mm]
    return [row for _, row in sorted(near, key=lambda one: (one[0], one[1].name))]


def _offer(
    want: Want, plate: ToolingRow, wants: Sequence[Want], lacking: Sequence[Want], unlike: set[str], focal_mm: float, toolroom: Toolroom
) -> Iterator[ToolingOffer]:  # fmt: skip
    """The offer of one plate, if the lens stays near enough and money is saved."""
    faces = [one.face for one in wants if one.face is not None and one.name == want.name]
    slopes = [face.focal_length_per_radius for face in faces]
    if plate.radius_mm is None or any(face.where in unlike for face in faces) or any(slope is None for slope in slopes):
        return
    ratio = plate.radius_mm / want.size_mm
    effects = [(face.signed_radius_mm, slope) for face, slope in zip(faces, slopes, strict=True) if slope is not None]
    new_mm = focal_length_of_ratio_mm(focal_length_mm=focal_mm, faces=effects, ratio=ratio)
    change_mm = focal_length_change_mm(new_focal_length_mm=new_mm, focal_length_mm=focal_mm)
    moved = {face.where for face in faces}
    then = missing(
        [replace(one, size_mm=plate.radius_mm) if one.face is not None and one.face.where in moved else one for one in wants], toolroom
    )  # fmt: skip
    before, after = _by_name(lacking), _by_name(then)
    gone = [toolroom.charge(one) for key, one in before.items() if key not in after]
    needed = [toolroom.charge(one) for key, one in after.items() if key not in before]
    saving = tooling_saving(
        not_needed=amounts_in_all(amounts=[tool.charge for tool in gone]),
        needed=amounts_in_all(amounts=[tool.charge for tool in needed]),
    )
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
        lead_days_saved=days_saved(
            longest_before_days=max(tool.lead_days for tool in gone),
            longest_after_days=max((tool.lead_days for tool in needed), default=0.0),
        ),
        not_needed=tuple(tool.name for tool in gone),
        needed=tuple(needed),
        basis=(*_why_focal(faces, focal_mm, plate), *_why_saving(gone, needed, toolroom.currency)),
    )


def _why_focal(faces: Sequence[FaceWork], focal_mm: float, plate: ToolingRow) -> tuple[Figure, ...]:
    """The radius of the plate, and what it makes of the focal length."""
    focal = given("focal_length_mm", focal_mm, "mm", at="/check/first_order/focal_length_mm")
    changes = [
        figure_of(
            power_change_per_mm, name=f"power_change, {face.where}", unit="1/mm", focal_length_mm=focal,
            focal_length_per_radius=given("focal_length_per_radius", face.focal_length_per_radius or 0.0, "mm/mm", at=f"/check{face.where}/focal_length_per_radius"),
            radius_mm=given("radius_mm", face.signed_radius_mm, "mm", at=f"/prescription{face.where}/radius_mm"),
            new_radius_mm=_of_plate(face, plate),
        )
        for face in faces
    ]  # fmt: skip
    new = figure_of(new_focal_length_mm, focal_length_mm=focal, power_changes=changes)
    change = figure_of(focal_length_change_mm, new_focal_length_mm=new, focal_length_mm=focal)
    return (_of_plate(faces[0], plate).model_copy(update={"name": "to_radius_mm"}), change)


def _of_plate(face: FaceWork, plate: ToolingRow) -> Figure:
    reason = "the radius of the plate, with the sign of the face"
    ref = Rates.ref("tooling", plate)
    return decided("new_radius_mm", math.copysign(plate.radius_mm or 0.0, face.signed_radius_mm), reason, unit="mm", rate_row=ref)


def _why_saving(gone: Sequence[Tooling], needed: Sequence[Tooling], currency: str) -> tuple[Figure, Figure]:
    """What is saved in money and in days."""
    before, after = (_charges(name, tools, currency) for name, tools in (("not_needed", gone), ("needed", needed)))
    longest = (_longest(name, tools) for name, tools in (("longest_before_days", gone), ("longest_after_days", needed)))
    saving = figure_of(tooling_saving, name="saving", unit=currency, not_needed=before, needed=after)
    longest_before, longest_after = longest
    days = figure_of(
        days_saved, name="lead_days_saved", unit="days", longest_before_days=longest_before, longest_after_days=longest_after
    )
    return saving, days


def _charges(name: str, tools: Sequence[Tooling], currency: str) -> Figure:
    if not tools:
        return decided(name, Decimal(0), "no tool is needed instead", unit=currency)
    return figure_of(amounts_in_all, name=name, unit=currency, amounts=[_column(tool, "charge") for tool in tools])


def _longest(name: str, tools: Sequence[Tooling]) -> Figure:
    days = [_column(tool, "lead_days") for tool in tools]
    longest = max((tool.lead_days for tool in tools), default=0.0)
    return decided(
        name,
        longest,
        "the longest lead time of the tools" if tools else "no tool is needed instead",
        unit="days",
        alternatives=days,
    )


def _column(tool: Tooling, name: str) -> Figure:
    """A column of the row of a tool, called by the tool."""
    (figure,) = (one for one in tool.basis if one.name == name)
    return figure.model_copy(update={"name": tool.name})
