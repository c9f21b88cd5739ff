"""The check report: can this lens be made, and what does each surface demand?"""

from __future__ import annotations

from typing import Literal

from shared_schemas.base import Contract, Name, Pointer, Text

Severity = Literal["note", "care", "stop"]
Makeable = Literal["yes", "with_care", "no"]


class Finding(Contract):
    """Something an estimator would say. `figure` is what was found, `limit` what it is held against, `unit` of both."""

    code: Name
    severity: Severity
    where: Pointer
    message: Text
    figure: float | str | None = None
    limit: float | str | None = None
    unit: str = ""
    source: Text = ""
    repair: Text | None = None


class FirstOrder(Contract):
    """Paraxial figures at the prescription's wavelength; `None` where the lens has none (afocal, no stop)."""

    wavelength_nm: float
    focal_length_mm: float | None
    back_focus_mm: float | None
    front_focus_mm: float | None
    f_number: float | None
    length_mm: float
    entrance_pupil_diameter_mm: float | None
    entrance_pupil_position_mm: float | None = None
    exit_pupil_diameter_mm: float | None = None
    exit_pupil_position_mm: float | None = None
    petzval_radius_mm: float | None = None


class SurfaceCheck(Contract):
    """One face: its shape, and the demands of its tolerances resolved into figures.

    `power_fringes` and `irregularity_fringes` are fringe spacings at 546.07 nm; `imperfection_grade_mm` is the grade A
    of ISO 10110-7. `defaulted` names the demands that were not on the drawing and took the default of ISO 10110-11.
    """

    sag_mm: float
    semi_diameter_mm: float
    semi_diameter_to_radius: float
    aspheric: bool
    power_fringes: float
    irregularity_fringes: float
    imperfection_count: int
    imperfection_grade_mm: float
    coating: str | None
    defaulted: tuple[str, ...] = ()


class ElementCheck(Contract):
    """One element. `glass` is the catalogue name it was resolved to, `None` for a glass that the rates do not know."""

    name: str
    glass: str | None
    refractive_index: float
    work_diameter_mm: float
    edge_thickness_mm: float
    edge_thickness_at_work_diameter_mm: float
    volume_mm3: float
    density_g_cm3: float | None
    mass_g: float | None
    diameter_to_thickness: float
    centring_z: float
    sag_front_mm: float
    sag_back_mm: float
    front: SurfaceCheck
    back: SurfaceCheck
    diameter_tolerance_mm: float
    centre_thickness_tolerance_mm: float
    centring_tolerance_arcmin: float
    defaulted: tuple[str, ...] = ()


class CheckReport(Contract):
    """What the prescription stage says: whether the lens can be made, its first order, each element, every finding."""

    makeable: Makeable
    first_order: FirstOrder
    elements: tuple[ElementCheck, ...]
    findings: tuple[Finding, ...]
