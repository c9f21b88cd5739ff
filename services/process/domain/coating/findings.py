"""What there is to say of coatings: chosen for a demand, promise not kept on this glass, or nothing that meets the demand."""

from __future__ import annotations

from collections.abc import Iterator

from services.optics.dispersion import Dispersion
from services.process.domain.coating.choice import choose
from services.process.domain.coating.promise import bare_face, promise_of
from services.process.domain.element_work import ElementWork, FaceWork
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.prescription import CoatingDemand
from shared_schemas.rates import Rates


def unmeetable_coatings(work: ElementWork, rates: Rates) -> Iterator[Finding]:
    """A stop for every face of which more is asked than any coating of the rates does on its glass."""
    glass = Dispersion(work.glass)
    for face in work.faces:
        if face.coating is None or face.coating_demand is None:
            continue
        if not glass.covers(*face.coating_demand.band_nm):
            yield _beyond_the_glass(work, face, face.coating_demand, glass)
            continue
        chosen = choose(face.coating_demand, glass=work.glass, diameter_mm=work.diameter_mm, rates=rates)
        if not chosen.meets and chosen.left is not None:
            best = chosen.left
            yield finding(
                "reflectance-unmeetable",
                f"{face.where}/coating",
                f"The {face.face} of {work.name} asks for {face.coating_demand}; the best that the rates reach on "
                f"{work.glass.name} is {_percent(best.worst)}, with {chosen.row.name}, worst at {best.worst_at_nm:g} nm.",
                figure=best.worst,
                limit=face.coating_demand.reflectance_max_share,
                row=chosen.row.name,
                remedy=f"{_percent(best.worst, up=True)} or more, a narrower band, or a stack for {work.glass.name} in coatings",
            )


def coating_notes(work: ElementWork, rates: Rates) -> Iterator[Finding]:
    """A note on every coating that was chosen, and a care where a named one does not do on this glass what its row promises."""
    glass = Dispersion(work.glass)
    for face in work.faces:
        if face.coating is None:
            continue
        if face.coating_demand is not None:
            yield from _chosen(work, face, face.coating, face.coating_demand, glass, rates)
        else:
            yield from _named(work, face, face.coating, glass, rates)


def _chosen(
    work: ElementWork, face: FaceWork, coating: str, demand: CoatingDemand, glass: Dispersion, rates: Rates
) -> Iterator[Finding]:
    row = rates.coating(coating)
    left, bare = promise_of(row, face.works(row), glass), bare_face(face.works(row), glass)
    if left is None or bare is None:
        return
    where = f"{face.where}/coating"
    yield finding(
        "coating-chosen",
        where,
        f"The {face.face} of {work.name} gets {coating} for {demand}: on {work.glass.name} it leaves {_percent(left.worst)} at "
        f"the worst and {_percent(left.mean)} in the mean.",
        figure=left.worst,
        limit=demand.reflectance_max_share,
        row=coating,
    )
    if bare.worst <= demand.reflectance_max_share:
        yield finding(
            "coating-not-needed",
            where,
            f"Uncoated {work.glass.name} reflects {_percent(bare.worst)} at the worst, which is what the {face.face} of {work.name} asks for.",
            figure=bare.worst,
            limit=demand.reflectance_max_share,
            remedy="null, and no coating is paid for",
        )


def _named(work: ElementWork, face: FaceWork, coating: str, glass: Dispersion, rates: Rates) -> Iterator[Finding]:
    row = rates.coating(coating)
    asked = face.works(row)
    left = promise_of(row, asked, glass)
    where = f"{face.where}/coating"
    if left is None:
        shortest, longest = glass.range_nm
        yield finding(
            "coating-not-evaluated",
            where,
            f"{coating} works {asked}; the index of {work.glass.name} is known from {shortest:g} to {longest:g} nm only.",
            figure=f"{asked.from_nm:g} to {asked.to_nm:g}",
            limit=f"{shortest:g} to {longest:g}",
            unit="nm",
            row=coating,
            remedy="a coating for the range of the glass, or a glass for this coating",
        )
    elif row.promised_reflectance is not None and left.worst > row.promised_reflectance:
        yield finding(
            "coating-promise-missed",
            where,
            f"On {work.glass.name} {coating} leaves {_percent(left.worst)} at {left.worst_at_nm:g} nm and {_percent(left.mean)} in the "
            f"mean {asked}; its row promises at most {_percent(row.promised_reflectance)}.",
            figure=left.worst,
            limit=row.promised_reflectance,
            row=coating,
            remedy="say what reflectance is wanted, and the simplest coating that has it on this glass is taken",
        )


def _beyond_the_glass(work: ElementWork, face: FaceWork, demand: CoatingDemand, glass: Dispersion) -> Finding:
    shortest, longest = glass.range_nm
    return finding(
        "coating-band-beyond-glass",
        f"{face.where}/coating/band_nm",
        f"The {face.face} of {work.name} asks for {demand}; the index of {work.glass.name} is known from {shortest:g} to {longest:g} nm.",
        figure=f"{demand.band_nm[0]:g} to {demand.band_nm[1]:g}",
        limit=f"{shortest:g} to {longest:g}",
        unit="nm",
        row=work.glass.name,
        remedy=f"a band within {shortest:g} to {longest:g} nm",
    )


def _percent(share: float, *, up: bool = False) -> str:
    """A share in words; `up` never says less than it is."""
    return f"{100 * share + (0.005 if up else 0.0):.2f} %"
