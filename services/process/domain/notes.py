"""What the planner would say of its route: why a face is worked singly, which property of a glass is fitted."""

from __future__ import annotations

from collections.abc import Iterator

from services.process.domain.element_work import ElementWork
from services.process.domain.generating import face_order
from services.process.domain.grit_ladder import abrasion_of
from services.process.domain.removal import grindability_of
from services.process.domain.surfacing import block_of
from shared_schemas.check import Finding
from shared_schemas.rates import Rates


def notes_of(work: ElementWork, rates: Rates) -> Iterator[Finding]:
    """Notes on one element."""
    worked_on_blocks = False
    first, _ = face_order(work)
    for face in work.faces:
        block = block_of(work, face, rates, worked_first=face is first)
        worked_on_blocks = worked_on_blocks or block.lenses > 1
        if block.lenses == 1:
            yield Finding(
                code="worked_singly",
                severity="note",
                where=face.where,
                message=f"The {face.face} of {work.name} is ground and polished one lens at a time ({block.rule}).",
                figure=1,
                unit="lens per block",
                source="common practice",
            )
    abrasion, grindability = abrasion_of(work.glass), grindability_of(work.glass)
    if abrasion.fitted and worked_on_blocks:
        yield _fitted(work, "abrasion_fitted", "abrasion", abrasion.aa, "Knoop hardness, R2 0.84 over 134 glasses")
    if grindability.fitted:
        properties = "hardness, density and modulus, R2 0.37 over 104 glasses"
        yield _fitted(work, "grindability_fitted", "grindability class", grindability.hg, properties)


def _fitted(work: ElementWork, code: str, what: str, figure: float, properties: str) -> Finding:
    return Finding(
        code=code,
        severity="note",
        where=f"{work.where}/glass",
        message=f"No {what} is published for {work.glass.name}; {figure:.3g} is fitted from its {properties}.",
        figure=figure,
        source=f"rate table glasses, row {work.glass.name}",
        repair=f"fill in the {what} of {work.glass.name} from the shop's own trials",
    )
