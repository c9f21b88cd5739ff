"""Texture and imperfections of the assembly as figures that operations are planned from."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

from services.optics.drawing.texture import read_texture
from shared_schemas.check import CheckReport


@pytest.mark.parametrize(
    ("text", "rq_nm"),
    [
        ("Rq 2 nm", 2.0),
        ("P3; Rq 0.001 um", 1.0),
        ("Ra 2 nm", 2 * math.sqrt(math.pi / 2)),
        ("Rz 5 nm", None),
        ("Rt 9 nm", None),
        ("P3", None),
    ],
)
def test_a_roughness_is_told_as_rq_where_it_can_be(text: str, rq_nm: float | None) -> None:
    found = read_texture(text).rq_nm
    assert found is None if rq_nm is None else found == pytest.approx(rq_nm)


@pytest.mark.parametrize(("text", "defects"), [("P1", 400), ("P2", 80), ("P3", 16), ("P4; Rq 1 nm", 3), ("P", None), ("G", None)])
def test_a_polishing_grade_says_how_many_micro_defects_it_leaves(text: str, defects: int | None) -> None:
    """ISO 10110-8, from memory."""
    assert read_texture(text).micro_defects == defects


def test_the_check_report_carries_texture_and_the_grade_of_the_assembly(report: Callable[..., CheckReport]) -> None:
    def state(lens: dict[str, Any]) -> None:
        lens["elements"][0]["front"] = {**lens["elements"][0]["front"], "texture": "P3; Rq 2 nm"}
        lens["assembly_imperfections"] = "15/2x0.063"

    found = report(state)
    assert (found.elements[0].front.roughness_nm, found.elements[0].front.micro_defects) == (2.0, 16)
    assert (found.elements[0].back.roughness_nm, found.elements[0].back.micro_defects) == (None, None)
    assert found.assembly_imperfection_grade_mm == 0.063


@pytest.mark.parametrize("text", [None, "15/x", "5/3x0.16"])
def test_no_grade_of_the_assembly_where_none_can_be_read(text: str | None, report: Callable[..., CheckReport]) -> None:
    assert report(lambda lens: lens.update(assembly_imperfections=text)).assembly_imperfection_grade_mm is None
