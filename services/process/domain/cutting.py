"""From stock to blank: sawing plates, coring discs out of them, or taking pressings from the store."""

from __future__ import annotations

import math
from collections.abc import Iterator

from services.process.domain.element_work import ElementWork
from services.process.domain.operation_lines import Line, line
from services.process.domain.rate_rows import allowance_row
from services.process.domain.removal import removal_rate
from shared_schemas.figure import Figure
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
