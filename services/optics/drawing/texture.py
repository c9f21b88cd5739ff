"""Surface texture, as a polishing grade `P1` … `P4`, `G` for ground, a roughness limit such as `Rq 2 nm`, or both."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from services.optics.drawing.scanner import Scanner, written

ROUGHNESS_SIGNS = ("Rq", "Ra", "Rz", "Rt")
MICROMETRES = ("um", "µm", "μm")

MICRO_DEFECTS = {1: 400, 2: 80, 3: 16, 4: 3}
"""Micro-defects in 10 mm of scan that a polishing grade stays below (ISO 10110-8, from memory)."""

Finish = Literal["polish", "ground"]
Unit = Literal["nm", "um"]


@dataclass(frozen=True)
class Texture:
    """`polish` P with its grade 1 to 4 (None: no grade), `ground` G, or None; and a roughness limit with its sign and unit."""

    finish: Finish | None
    grade: int | None = None
    roughness_sign: str | None = None
    roughness: float | None = None
    unit: Unit = "nm"

    @property
    def roughness_nm(self) -> float | None:
        """The roughness limit [nm]; None where none is stated."""
        if self.roughness is None:
            return None
        return self.roughness * 1000 if self.unit == "um" else self.roughness

    @property
    def rq_nm(self) -> float | None:
        """The limit as an Rq [nm]; Ra of heights that are normally distributed is sqrt(2/pi) of it (derived). None for Rz and Rt."""
        if self.roughness_nm is None or self.roughness_sign not in ("Rq", "Ra"):
            return None
        return self.roughness_nm if self.roughness_sign == "Rq" else self.roughness_nm * math.sqrt(math.pi / 2)

    @property
    def micro_defects(self) -> int | None:
        """How many micro-defects in 10 mm the polishing grade leaves, None without a grade. Source: ISO 10110-8, from memory."""
        return MICRO_DEFECTS[self.grade] if self.grade is not None else None


def read_texture(text: str) -> Texture:
    """`P3`, `P`, `G`, `P4; Rq 1.5 nm`, `G; Rq 2 um`, `Rq < 2 nm`. Raises `IndicationUnreadable`.

    A roughness without a unit is not read: drawings of both kinds exist, a thousand apart. Source: ISO 10110-8, from memory.
    """
    scan = Scanner(text)
    finish: Finish | None = "polish" if scan.took("P") else "ground" if scan.took("G") else None
    grade = next((figure for figure in (1, 2, 3, 4) if scan.took(str(figure))), None) if finish == "polish" else None
    if finish is not None and not scan.took(";"):
        scan.end(
            "a grade 1 to 4, ; and a roughness, or the end"
            if finish == "polish" and grade is None
            else "; and a roughness, or the end"
        )
        return Texture(finish, grade)
    sign = next((one for one in ROUGHNESS_SIGNS if scan.took(one)), None)
    if sign is None:
        signs = " or ".join(ROUGHNESS_SIGNS)
        scan.refuse(signs if finish else f"P with a grade 1 to 4, G, or {signs}")
    scan.took("<", "≤")
    size = scan.number(f"the limit of {sign}")
    unit: Unit = "nm"
    if scan.took(*MICROMETRES):
        unit = "um"
    else:
        scan.expect("nm", called="nm or um")
    scan.end()
    return Texture(finish, grade, sign, size, unit)


def write_texture(texture: Texture) -> str:
    """The indication; reading it gives an equal demand."""
    parts = []
    if texture.finish is not None:
        parts.append("G" if texture.finish == "ground" else f"P{texture.grade or ''}")
    if texture.roughness_sign is not None and texture.roughness is not None:
        parts.append(f"{texture.roughness_sign} {written(texture.roughness)} {texture.unit}")
    return "; ".join(parts)
