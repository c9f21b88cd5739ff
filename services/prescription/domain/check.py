"""The check of a whole prescription: first order, every element, every space, and whether it can be made."""

from __future__ import annotations

from services.prescription.domain.element_check import element_check
from services.prescription.domain.findings import finding
from services.prescription.domain.first_order import first_order
from services.prescription.domain.materials import material_of, radioactive_words
from services.prescription.domain.neighbours import neighbour_findings
from services.prescription.domain.tolerances import element_demands
from shared_schemas.check import CheckReport, ElementCheck, Finding, Makeable
from shared_schemas.prescription import Prescription
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job, Refusal


def check(*, job: Job, rates: Rates) -> CheckReport | Refusal:
    """The stage: the report of a lens that can be made, with care or without; a refusal of any other."""
    report = check_prescription(job.request.prescription, rates)
    stops = tuple(one for one in report.findings if one.severity == "stop")
    return Refusal(stage="prescription", reasons=stops) if stops else report


def check_prescription(prescription: Prescription, rates: Rates) -> CheckReport:
    """The report of a prescription, also of one that cannot be made."""
    materials = tuple(
        material_of(element, wavelength_nm=prescription.wavelength_nm, rates=rates) for element in prescription.elements
    )
    elements: list[ElementCheck] = []
    findings: list[Finding] = [
        finding("radioactive", where, f"The prescription says {word!r}: radioactive glass or coating is not worked here; seek licensed advice.",
                figure=word, repair="a glass without it; the rules of the place apply")
        for where, word in radioactive_words(prescription)
    ]  # fmt: skip
    for number, (element, material) in enumerate(zip(prescription.elements, materials, strict=True)):
        where = f"/elements/{number}"
        demands = element_demands(element, where=where)
        one, found = element_check(element, material=material, demands=demands, where=where, rates=rates)
        elements.append(one)
        findings += [*found, *_coating_findings(prescription, number, rates), *demands.findings]
    findings += neighbour_findings(prescription, materials)
    order = first_order(prescription, [material.index for material in materials])
    if order.focal_length_mm is None:
        findings.append(finding("afocal", "/elements", "The lens has no focal length: light leaves it as it came, parallel."))
    return CheckReport(makeable=_makeable(findings), first_order=order, elements=tuple(elements), findings=tuple(findings))


def _coating_findings(prescription: Prescription, number: int, rates: Rates) -> list[Finding]:
    known = [row.name for row in rates.coatings]
    element = prescription.elements[number]
    return [
        finding("unknown_coating", f"/elements/{number}/{face}/coating", f"The rates know no coating {surface.coating}.", figure=surface.coating,
                limit=", ".join(known), repair=f"one of {', '.join(known)}")
        for face, surface in (("front", element.front), ("back", element.back))
        if surface.coating is not None and surface.coating not in known
    ]  # fmt: skip


def _makeable(findings: list[Finding]) -> Makeable:
    severities = {one.severity for one in findings}
    return "no" if "stop" in severities else "with_care" if "care" in severities else "yes"
