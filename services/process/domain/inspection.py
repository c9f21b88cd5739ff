"""What is looked at and measured on every piece, in minutes."""

from __future__ import annotations

from collections.abc import Sequence

from services.process.domain.element_work import ElementWork
from services.process.domain.operation_lines import Line, line
from services.process.domain.tolerance_knees import NO_DEMANDS, Demand, knee_of
from shared_schemas.figure import Figure
from shared_schemas.rates import InspectionRow, RateMissing, Rates


def cosmetic_row(rates: Rates, grade_mm: float) -> InspectionRow:
    """How a face of that imperfection grade is looked at: the finest row that still covers it; raises `RateMissing`."""
    fitting = [
        row
        for row in rates.inspection
        if row.looks_at == "imperfections" and row.grade_up_to_mm is not None and grade_mm <= row.grade_up_to_mm
    ]
    if not fitting:
        raise RateMissing("inspection", f"imperfections of grade {grade_mm:g}")
    return min(fitting, key=lambda row: row.grade_up_to_mm or 0.0)


def inspect_element(work: ElementWork, rates: Rates) -> Line:
    """Inspection of every piece: small precision lots are inspected whole (common practice)."""
    coated = any(face.coating is not None for face in work.faces)
    usual = [row for row in rates.inspection if row.looks_at != "imperfections" and (row.looks_at != "coating" or coated)]
    counted = [(cosmetic_row(rates, face.grade_mm), 1) for face in work.faces]
    counted += [(row, len(work.faces) if row.per == "face" else 1) for row in usual if row.per != "lot"]
    return _inspect(counted, [row for row in usual if row.per == "lot"], work.all_demands, rates)


def inspect_group(elements: Sequence[ElementWork], rates: Rates) -> Line:
    """Inspection of a cemented group: its two outer faces, the cemented ones seen through them, and its centring."""
    faces = [face for work in elements for face in work.faces]
    outer = (faces[0], faces[-1])
    counted = [(cosmetic_row(rates, face.grade_mm), 1) for face in outer]
    counted += [(row, 1) for row in rates.inspection if row.looks_at == "centring"]
    return _inspect(counted, [row for row in rates.inspection if row.looks_at == "record"], NO_DEMANDS, rates)


def _inspect(
    counted: Sequence[tuple[InspectionRow, int]], per_lot: Sequence[InspectionRow], demands: tuple[Demand, ...], rates: Rates
) -> Line:
    per_piece = sum(row.minutes * count for row, count in counted)

    def why() -> tuple[Figure, ...]:
        inputs = tuple(
            Figure(name=row.looks_at, value=row.minutes * count, unit="min", rate_row=Rates.ref("inspection", row),
                   formula=None if count == 1 else f"minutes x {count}")
            for row, count in counted
        )  # fmt: skip
        return (Figure(name="each", value=per_piece, unit="min", formula="sum of what is looked at and measured", inputs=inputs),)

    return line(
        "inspect", rates, each_min=per_piece, extra_setup_min=sum(row.minutes for row in per_lot),
        knee=knee_of("inspect", demands, rates), run_basis=why,
    )  # fmt: skip
