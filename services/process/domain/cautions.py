"""What to mind while making this lens, in general words. Not a safety assessment."""

from __future__ import annotations

from collections.abc import Sequence

from services.process.domain.element_work import ElementWork

ALWAYS = (
    "Grinding and sawing: work wet, with extraction and guards; dried sludge and dust harm the lungs. Follow local rules.",
    "Polishing slurry: keep it wet, wash hands, no food at the bench; see its safety data sheet.",
    "Blocking wax and pitch burn the skin and give off fumes when heated: gloves, extraction, no overheating.",
    "Solvents for cleaning burn: extraction, no ignition sources, local rules.",
)
LEAD = "Leaded glass ({names}): collect sludge and dust apart, never work it dry; check the current rules on lead before shipping."
STAINING = "Staining or weathering glass ({names}): dry at once, never leave it in water, slurry or a bath; lacquer gives off fumes, extraction."
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
    lanthanum = sorted({work.glass.name for work in elements if work.glass.name.rpartition("-")[2].startswith("LA")})
    if lanthanum:
        found.append(LANTHANUM.format(names=", ".join(lanthanum)))
    if cemented:
        found.append(CEMENT)
    if any(face.coating is not None for work in elements for face in work.faces):
        found.append(COATING)
    return (*found, LAST)
