"""What a drawing demands of an element, in figures that say where they stand: on the drawing, or in the defaults of the standard."""

from __future__ import annotations

from collections.abc import Iterator

from services.optics.drawing.imperfections import equal_grade_mm
from services.optics.law import figure_of, given, unit_by_name
from shared_schemas.check import GlassQuality, SurfaceCheck
from shared_schemas.figure import Figure

DEFAULT = "ISO 10110-11 where the drawing does not state it, from memory, check the licensed text"

QUALITY = (
    ("stress_nm_per_cm", "stress_birefringence", "stress birefringence"), ("bubble_count", "bubbles", "bubbles"),
    ("bubble_grade_mm", "bubbles", "bubbles"), ("inhomogeneity_class", "inhomogeneity", "inhomogeneity"),
    ("striae_class", "inhomogeneity", "inhomogeneity"),
)  # fmt: skip
"""Demands on the glass, the field of the prescription that states each, and how it is called among the defaults."""


def quality_figures(quality: GlassQuality | None, drawn: str) -> Iterator[Figure]:
    """What the drawing demands of the glass of the element at a pointer."""
    for name, asked, called in QUALITY if quality is not None else ():
        figure = getattr(quality, name)
        if figure is not None and quality is not None:
            yield demand_figure(name, figure, unit_by_name(name), None if called in quality.defaulted else f"{drawn}/{asked}")


def face_demand_figures(checked: SurfaceCheck, drawn: str) -> Iterator[Figure]:
    """What the drawing demands of a face, or the default of the standard."""
    imperfections = "imperfections"
    if checked.planned_grade_mm is not None:
        yield _planned_grade(checked.planned_grade_mm, drawn, checked)
    for name, figure, asked, said_by, unit in (
        ("power_fringes", checked.power_fringes, "form", "power", "fringe"),
        ("irregularity_fringes", checked.irregularity_fringes, "form", "irregularity", "fringe"),
        ("imperfection_count", checked.imperfection_count, imperfections, imperfections, ""),
        ("imperfection_grade_mm", checked.imperfection_grade_mm, imperfections, imperfections, "mm"),
        ("roughness_nm", checked.roughness_nm, "texture", "texture", "nm"),
        ("micro_defects", checked.micro_defects, "texture", "texture", ""),
    ):
        if figure is not None:
            stated = said_by not in checked.defaulted
            yield demand_figure(name, figure, unit, f"{drawn}/{asked}" if stated else None)


def _planned_grade(planned_mm: float, drawn: str, checked: SurfaceCheck) -> Figure:
    """The grade that time is planned by: of all imperfections, or of the dig."""
    count, grade = checked.imperfection_count, checked.imperfection_grade_mm
    if planned_mm == grade != equal_grade_mm(count=count, grade_mm=grade):
        return given("planned_grade_mm", planned_mm, "mm", at=f"{drawn}/imperfections")
    stated = f"{drawn}/imperfections" if "imperfections" not in checked.defaulted else None
    return figure_of(
        equal_grade_mm,
        name="planned_grade_mm",
        count=demand_figure("count", count, "", stated),
        grade_mm=demand_figure("grade_mm", grade, "mm", stated),
    )


def demand_figure(name: str, figure: float, unit: str, at: str | None) -> Figure:
    """A demand as it stands on the drawing, or the default of the standard."""
    return given(name, figure, unit, at=at, source=None if at else DEFAULT)
