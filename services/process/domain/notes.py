"""What the planner would say of its route: why a face is worked singly, what care a glass takes, which property is fitted."""

from __future__ import annotations

from collections.abc import Iterator

from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.extra_work import RESISTANCES
from services.process.domain.face_blocks import Block
from services.process.domain.grit_ladder import abrasion_of
from services.process.domain.removal import grindability_of
from services.process.domain.surfacing import SOFTLY, block_of
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.rates import Rates


def notes_of(work: ElementWork, rates: Rates) -> Iterator[Finding]:
    """Notes on one element."""
    worked_on_blocks = False
    first, _ = work.in_order
    for face in work.faces:
        block = block_of(work, face, rates, worked_first=face is first)
        worked_on_blocks = worked_on_blocks or block.lenses > 1
        if block.lenses == 1:
            yield finding(
                "worked-singly",
                face.where,
                f"The {face.face} of {work.name} is ground and polished one lens at a time ({block.rule}).",
                figure=1,
                unit="lens per block",
            )
        elif SOFTLY in block.rule:
            yield _softly(work, face, block)
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
    why = [
        "lead" if name == "lead" else f"{RESISTANCES[name]} {getattr(work.glass, name):g}" for name in wanted
    ]  # the classes as published
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
