"""What is looked at and measured on every piece, in minutes."""

from __future__ import annotations

from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.knees import knee_of
from services.process.domain.operation_lines import line
from shared_schemas.figure import Figure
from shared_schemas.operations import Operation
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


def inspect_element(work: ElementWork, rates: Rates) -> Operation:
    """Inspection of every piece: small precision lots are inspected whole (common practice)."""
    rows: list[tuple[InspectionRow, int]] = [(cosmetic_row(rates, face.grade_mm), 1) for face in work.faces]
    rows += [(row, 2 if row.per == "face" else 1) for row in _usual(rates, work.faces) if row.per in ("face", "piece")]
    per_piece = sum(row.minutes * count for row, count in rows)
    per_lot = [row for row in _usual(rates, work.faces) if row.per == "lot"]
    return line(
        "inspect",
        rates,
        each_min=per_piece,
        extra_setup_min=sum(row.minutes for row in per_lot),
        knee=knee_of("inspect", (*work.front.demands(), *work.back.demands()), rates),
        run_basis=(
            Figure(
                name="each", value=per_piece, unit="min", formula="sum of what is looked at and measured",
                inputs=tuple(
                    Figure(name=row.looks_at, value=row.minutes * count, unit="min", rate_row=Rates.ref("inspection", row)) for row, count in rows
                ),
            ),
        ),
        batch_basis=(Figure(name="pieces", value=1, formula="every piece is inspected"),),
    )  # fmt: skip


def _usual(rates: Rates, faces: tuple[FaceWork, ...]) -> list[InspectionRow]:
    """Everything but the cosmetic look; the witness piece only where something is coated."""
    coated = any(face.coating is not None for face in faces)
    return [row for row in rates.inspection if row.looks_at != "imperfections" and (row.looks_at != "coating" or coated)]
