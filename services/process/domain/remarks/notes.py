"""What the planner would say of its route: single work, care of a glass, fitted properties, what is not in the minutes; and cautions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from services.process.domain.aspheres.remarks import aspheres_to_press
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.faces.block import Block, block_that_fits
from services.process.domain.faces.fine_grinding import abrasion_of
from services.process.domain.faces.removal import grindability_of
from services.process.domain.route.extra_work import RESISTANCES
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.prescription import Prescription, Surface
from shared_schemas.rates import Rates


def notes_of(work: ElementWork, rates: Rates) -> Iterator[Finding]:
    """Notes on one element."""
    worked_on_blocks = False
    first, _ = work.in_order
    for face in work.faces:
        taken = replace(face, aspheric=face.made_aspheric)
        block = block_that_fits(work, taken, rates, worked_first=face is first)
        worked_on_blocks = worked_on_blocks or block.lenses > 1
        if block.lenses == 1:
            yield finding(
                "worked-singly",
                face.where,
                f"The {face.face} of {work.name} is ground and polished one lens at a time ({block.words}).",
                figure=1,
                unit="lens per block",
            )
        elif block.softly:
            yield _softly(work, face, block)
    yield from aspheres_to_press(work, rates)
    yield from _care(work)
    if not work.order.by_shape:
        yield finding(
            "face-order",
            work.in_order[0].where,
            f"The {work.order.first} of {work.name} is worked first: {work.order.reason}.",
            figure=work.order.first,
        )
    abrasion, grindability = abrasion_of(work.glass), grindability_of(work.glass)
    if abrasion.fitted and worked_on_blocks:
        yield _fitted(work, "abrasion-fitted", "abrasion", abrasion.aa, "Knoop hardness, R2 0.84 over 134 glasses")
    if grindability.fitted:
        properties = "hardness, density and modulus, R2 0.37 over 104 glasses"
        yield _fitted(work, "grindability-fitted", "grindability class", grindability.hg, properties)


def _softly(work: ElementWork, face: FaceWork, block: Block) -> Finding:
    ratio = work.diameter_to_thickness
    return finding(
        "blocked-softly",
        face.where,
        f"{work.name} is {ratio:.3g} times as wide as thick and bends: its {face.face} is blocked softly, {block.lenses} "
        f"to a block, and polished lightly.",
        figure=ratio,
        unit="mm/mm",
        remedy="a thicker element",
    )


def _care(work: ElementWork) -> Iterator[Finding]:
    """What the glass does not stand, by the classes that its maker publishes, and what is done about it."""
    rows = work.extra_work.for_the_glass
    if not rows:
        return
    wanted = dict.fromkeys(row.wanted_by for row in rows)
    words = {"lead": "lead", "thermal_shock": "cracks when heated suddenly"}
    why = [words.get(name) or f"{RESISTANCES[name]} {getattr(work.glass, name):g}" for name in wanted]  # the classes as published
    yield finding(
        "glass-care",
        f"{work.where}/glass",
        f"{work.glass.name} of {work.name} asks for care ({', '.join(why)}): {'; '.join(row.name for row in rows)}.",
        figure=", ".join(why),
    )


def _fitted(work: ElementWork, code: str, what: str, figure: float, properties: str) -> Finding:
    return finding(
        code,
        f"{work.where}/glass",
        f"No {what} is published for {work.glass.name}; {figure:.3g} is fitted from its {properties}.",
        figure=figure,
        row=work.glass.name,
        remedy=f"fill in the {what} of {work.glass.name} from the shop's own trials",
    )


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


ALWAYS = (
    "Grinding and sawing: work wet, with extraction and guards; dried sludge and dust harm the lungs. Follow local rules.",
    "Polishing slurry: keep it wet, wash hands, no food at the bench; see its safety data sheet.",
    "Blocking wax and pitch burn the skin and give off fumes when heated: gloves, extraction, no overheating.",
    "Solvents for cleaning burn: extraction, no ignition sources, local rules.",
)
LEAD = "Leaded glass ({names}): collect sludge and dust apart, never work it dry; check the current rules on lead before shipping."
STAINING = "Staining or weathering glass ({names}): dry at once, never leave it in water, slurry or a bath; lacquer gives off fumes, extraction."
HAZARD = "{name}: {hazard}. Work it wet, with gloves and extraction, and collect its waste apart; see its safety data sheet."
CLEAVING = "Crystal that cleaves ({names}): splinters when it is knocked or clamped; eye protection."
LANTHANUM = "Lanthanum glass ({names}): melts of today hold no thorium, old stock may; never grind stock of unknown melt."
CEMENT = "UV-curing cement irritates and sensitises skin: gloves, eye protection at the lamp; see its safety data sheet."
COATING = "Coating chambers: high vacuum, high voltage, hot parts, fluoride and oxide dust when cleaning; trained and authorised people only."
LAST = "These lines are reminders, not a safety assessment: local law, safety data sheets and licensed practice decide."


def cautions_for(elements: Sequence[ElementWork], *, cemented: bool) -> tuple[str, ...]:
    """Cautions that apply to these elements."""
    found = list(ALWAYS)
    leaded = sorted({work.glass.name for work in elements if work.glass.lead})
    if leaded:
        found.append(LEAD.format(names=", ".join(leaded)))
    staining = sorted({work.glass.name for work in elements if work.extra_work.for_stain_or_climate})
    if staining:
        found.append(STAINING.format(names=", ".join(staining)))
    found += [
        HAZARD.format(name=name, hazard=hazard)
        for name, hazard in sorted({(w.glass.name, w.glass.hazard) for w in elements})
        if hazard
    ]
    cleaving = sorted({work.glass.name for work in elements if work.glass.cleaves})
    if cleaving:
        found.append(CLEAVING.format(names=", ".join(cleaving)))
    lanthanum = sorted({work.glass.name for work in elements if work.glass.name.rpartition("-")[2].startswith("LA")})
    if lanthanum:
        found.append(LANTHANUM.format(names=", ".join(lanthanum)))
    if cemented:
        found.append(CEMENT)
    if any(face.coating is not None for work in elements for face in work.faces):
        found.append(COATING)
    return (*found, LAST)
