"""What each surface and element is allowed to be off by: the drawing's indications resolved, defaults where it is silent."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from services.prescription.domain.defaults import DefaultTolerances, defaults_for
from services.prescription.domain.findings import finding
from services.prescription.domain.indications import read_centring, read_form, read_imperfections
from services.prescription.errors import IndicationUnreadable
from shared_schemas.check import Finding
from shared_schemas.prescription import Element, Surface

Read = TypeVar("Read")


@dataclass(frozen=True)
class SurfaceDemands:
    """Resolved demands of one face; `defaulted` names those that the drawing does not state."""

    power_fringes: float
    irregularity_fringes: float
    imperfection_count: int
    imperfection_grade_mm: float
    defaulted: tuple[str, ...]


@dataclass(frozen=True)
class ElementDemands:
    """Resolved demands of one element and its faces, with the findings of resolving them."""

    diameter_mm: float
    centre_thickness_mm: float
    centring_arcmin: float
    defaulted: tuple[str, ...]
    front: SurfaceDemands
    back: SurfaceDemands
    findings: tuple[Finding, ...]


def element_demands(element: Element, *, where: str) -> ElementDemands:
    """Resolve the tolerances of one element; `where` is its JSON pointer."""
    standard = defaults_for(max(element.diameter_mm, element.centre_thickness_mm))
    findings: list[Finding] = []
    tolerances = element.tolerances
    centring = _read(read_centring, tolerances.centring, f"{where}/tolerances/centring", findings)
    defaulted = [
        name
        for name, stated in (
            ("diameter", tolerances.diameter_mm),
            ("centre thickness", tolerances.centre_thickness_mm),
            ("centring", tolerances.centring),
        )
        if stated is None
    ]
    if defaulted:
        findings.append(_defaults_taken(f"{where}/tolerances", defaulted))
    band = tolerances.diameter_mm
    return ElementDemands(
        diameter_mm=(band[0] - band[1]) / 2 if band else standard.diameter_mm,
        centre_thickness_mm=tolerances.centre_thickness_mm or standard.thickness_mm,
        centring_arcmin=centring.tilt_arcmin if centring else standard.centring_arcmin,
        defaulted=tuple(defaulted),
        front=_surface_demands(element.front, standard, f"{where}/front", findings),
        back=_surface_demands(element.back, standard, f"{where}/back", findings),
        findings=tuple(findings),
    )


def _surface_demands(surface: Surface, standard: DefaultTolerances, where: str, findings: list[Finding]) -> SurfaceDemands:
    form = _read(read_form, surface.form, f"{where}/form", findings)
    marks = _read(read_imperfections, surface.imperfections, f"{where}/imperfections", findings)
    stated = {
        "power": form.power_fringes if form else None,
        "irregularity": form.irregularity_fringes if form else None,
        "imperfections": marks.grade_mm if marks else None,
    }
    defaulted = [name for name, figure in stated.items() if figure is None]
    if defaulted:
        findings.append(_defaults_taken(where, defaulted))
    return SurfaceDemands(
        power_fringes=stated["power"] or standard.power_fringes,
        irregularity_fringes=stated["irregularity"] or standard.irregularity_fringes,
        imperfection_count=marks.count if marks else standard.imperfection_count,
        imperfection_grade_mm=marks.grade_mm if marks else standard.imperfection_grade_mm,
        defaulted=tuple(defaulted),
    )


def _defaults_taken(where: str, names: list[str]) -> Finding:
    listed = ", ".join(names)
    return finding(
        "default_tolerance",
        where,
        f"No tolerance is stated for {listed}; the default of ISO 10110-11 is taken (from memory, check the licensed text). It is loose.",
        figure=listed,
        repair="state the tolerances that the lens needs",
    )


def _read(read: Callable[[str], Read], text: str | None, where: str, findings: list[Finding]) -> Read | None:
    if text is None:
        return None
    try:
        return read(text)
    except IndicationUnreadable as fault:
        findings.append(
            finding(
                "unreadable_indication",
                where,
                str(fault),
                figure=text,
                limit=fault.expected,
                repair=f"write it with {fault.expected}",
            )
        )
        return None
