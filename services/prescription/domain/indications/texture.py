"""Surface texture, as a polishing grade `P1` … `P4`, a roughness limit `Rq 2 nm`, or `G` for ground."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from services.prescription.domain.indications.scanner import Scanner, written

ROUGHNESS_SIGNS = ("Rq", "Ra", "Rz", "Rt")


@dataclass(frozen=True)
class Texture:
    """`polish` P with its grade 1 to 4 (None: polished, no grade), or `ground`; and a roughness limit [nm] with its sign."""

    finish: Literal["polish", "ground"]
    grade: int | None = None
    roughness_sign: str | None = None
    roughness_nm: float | None = None


def read_texture(text: str) -> Texture:
    """`P3`, `P`, `G`, `P4; Rq 1.5 nm`, `G; Rq 2 um`. Raises `IndicationUnreadable`. Source: ISO 10110-8, from memory."""
    scan = Scanner(text)
    finish: Literal["polish", "ground"] = "ground"
    grade = None
    if scan.took("P"):
        finish = "polish"
        grade = next((figure for figure in (1, 2, 3, 4) if scan.took(str(figure))), None)
    else:
        scan.expect("G", called="P with a grade 1 to 4, or G")
    sign = size = None
    if scan.took(";"):
        sign = next((one for one in ROUGHNESS_SIGNS if scan.took(one)), None)
        if sign is None:
            scan.refuse(" or ".join(ROUGHNESS_SIGNS))
        scan.took("<", "≤")
        size = scan.number(f"the limit of {sign}")
        size *= 1000.0 if scan.took("um", "µm", "μm") else 1.0
        scan.took("nm")
    scan.end("; and a roughness, or the end")
    return Texture(finish, grade, sign, size)


def write_texture(texture: Texture) -> str:
    """The indication; reading it gives an equal demand."""
    head = "G" if texture.finish == "ground" else f"P{texture.grade or ''}"
    if texture.roughness_sign is None or texture.roughness_nm is None:
        return head
    return f"{head}; {texture.roughness_sign} {written(texture.roughness_nm)} nm"
