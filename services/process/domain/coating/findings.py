"""What there is to say of coatings: chosen for a demand, to be tried, promise not kept, too hot, or nothing that meets the demand."""

from __future__ import annotations

from collections.abc import Iterator

from services.optics.dispersion import Dispersion
from services.process.domain.coating.choice import Choice, choose, hottest_c_for, too_hot
from services.process.domain.coating.cost import cost_of_piece
from services.process.domain.coating.promise import Left, band_of, bare_face, promise_of
from services.process.domain.element_work import ElementWork, FaceWork
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.prescription import CoatingDemand
from shared_schemas.rates import CoatingRow, Rates


def unmeetable_coatings(work: ElementWork, rates: Rates) -> Iterator[Finding]:
    """A stop for every face of which more is asked than any coating of the rates, or a design out of their films, does on its glass."""
    glass = Dispersion(work.glass)
    for face in work.faces:
        demand = face.coating_demand
        if face.coating is None or demand is None:
            continue
        if not demand.mirror and not glass.covers(*demand.band_nm):
            yield _beyond_the_glass(work, face, demand, glass)
            continue
        chosen = choose(demand, glass=work.glass, diameter_mm=work.diameter_mm, rates=rates)
        if not chosen.meets:
            yield _unmeetable(work, face, demand, chosen, rates)


def _unmeetable(work: ElementWork, face: FaceWork, demand: CoatingDemand, chosen: Choice, rates: Rates) -> Finding:
    where, asks = f"{face.where}/coating", f"The {face.face} of {work.name} asks for {demand}"
    row = "" if chosen.design is not None else chosen.row.name
    if chosen.left is None:
        nearest = min(rates.coatings, key=lambda row: _nm_apart(row, demand))
        return finding(
            "reflectance-unmeetable", where, f"{asks}; the rates have no films that are known there. Nearest to it works {nearest.name}, {band_of(nearest)}.",
            figure="none", limit=demand.limit_share, row=nearest.name, remedy=f"a band that {nearest.name} has, or a coating for this one in coatings",
        )  # fmt: skip
    best, at_nm = chosen.left.nearest_to(demand)
    what = chosen.row.name if chosen.design is None else f"a design of {chosen.design.words}"
    reached = _percent(best, up=not demand.mirror)
    return finding(
        "reflectance-unmeetable", where,
        f"{asks}; the best that the rates reach on {work.glass.name} is {_percent(best)}, with {what}, worst at {at_nm:g} nm.",
        figure=best, limit=demand.limit_share, row=row,
        remedy=f"{reached} or {'less' if demand.mirror else 'more'}, a narrower band, or a stack for {work.glass.name} in coatings",
    )  # fmt: skip


def _nm_apart(row: CoatingRow, demand: CoatingDemand) -> float:
    """How far the band of a coating and the one asked for lie apart [nm], or how little of it they share, below 0."""
    band = band_of(row)
    return max(band.from_nm, demand.band_nm[0]) - min(band.to_nm, demand.band_nm[1])


def coating_notes(work: ElementWork, rates: Rates) -> Iterator[Finding]:
    """A note on every coating that was chosen, and a care where a named one does not do on this glass what its row promises."""
    glass = Dispersion(work.glass)
    for face in work.faces:
        row = face.coating_row(rates)
        if row is None:
            continue
        if face.coating_demand is not None:
            yield from _chosen(work, face, row, face.coating_demand, glass, rates)
        else:
            yield from _named(work, face, row, glass)
        if too_hot(row, work.glass):
            yield _too_hot(work, face, row)


def _chosen(
    work: ElementWork, face: FaceWork, row: CoatingRow, demand: CoatingDemand, glass: Dispersion, rates: Rates
) -> Iterator[Finding]:
    left = promise_of(row, face.works(row), glass)
    if left is None:
        return
    where, reaches = f"{face.where}/coating", f"on {work.glass.name} it {_reflects(left, demand)}"
    whose = f"The {face.face} of {work.name}"
    if face.design is None or face.runner_up is not None:
        next_best = _next_best(work, face, row, rates)
        yield finding(
            "coating-chosen",
            where,
            f"{whose} gets {row.name} for {demand}: {reaches}.{next_best}",
            figure=left.nearest_to(demand)[0],
            limit=demand.limit_share,
            row=row.name if face.design is None else "",
        )
    else:
        stack = ", ".join(f"{layer.material} {layer.thickness_nm:.1f} nm" for layer in row.layers)
        yield finding(
            "coating-to-be-tried",
            where,
            f"{whose} asks for {demand}, which no coating of the rates has: a design is to be tried, from the air {stack}; computed, {reaches}.",
            figure=left.nearest_to(demand)[0],
            limit=demand.limit_share,
            remedy="a demand that a coating of the rates meets saves the trial run",
        )
    bare = bare_face(face.works(row), glass)
    if bare is not None and bare.meets(demand):
        yield finding(
            "coating-not-needed",
            where,
            f"Uncoated {work.glass.name} reflects {_percent(bare.nearest_to(demand)[0])} at the worst, which is what the {face.face} of "
            f"{work.name} asks for.",
            figure=bare.nearest_to(demand)[0],
            limit=demand.limit_share,
            remedy="null, and no coating is paid for",
        )


def _reflects(left: Left, demand: CoatingDemand) -> str:
    if demand.mirror:
        return f"reflects {_percent(left.least)} at the least and {_percent(left.mean)} in the mean"
    return f"leaves {_percent(left.worst)} at the worst and {_percent(left.mean)} in the mean"


def _next_best(work: ElementWork, face: FaceWork, row: CoatingRow, rates: Rates) -> str:
    if face.runner_up is None:
        return ""
    own, other = (cost_of_piece(one, diameter_mm=work.diameter_mm, rates=rates) for one in (row, rates.coating(face.runner_up)))
    costs = f"{other:.2f} {rates.base_currency} a piece of a full run instead of {own:.2f}"
    if other < own:
        return f" It shares the run of other faces; {face.runner_up} would need one of its own, at {costs}."
    return f" Next would be {face.runner_up}, at {costs}."


def _named(work: ElementWork, face: FaceWork, row: CoatingRow, glass: Dispersion) -> Iterator[Finding]:
    asked = face.works(row)
    left = promise_of(row, asked, glass)
    where = f"{face.where}/coating"
    if left is None:
        shortest, longest = glass.range_nm
        yield finding(
            "coating-not-evaluated",
            where,
            f"{row.name} works {asked}; the index of {work.glass.name} is known from {shortest:g} to {longest:g} nm only.",
            figure=f"{asked.from_nm:g} to {asked.to_nm:g}",
            limit=f"{shortest:g} to {longest:g}",
            unit="nm",
            row=row.name,
            remedy="a coating for the range of the glass, or a glass for this coating",
        )
    elif row.promised_reflectance is not None and left.worst > row.promised_reflectance:
        yield finding(
            "coating-promise-missed",
            where,
            f"On {work.glass.name} {row.name} leaves {_percent(left.worst)} at {left.worst_at_nm:g} nm and {_percent(left.mean)} in the "
            f"mean {asked}; its row promises at most {_percent(row.promised_reflectance)}.",
            figure=left.worst,
            limit=row.promised_reflectance,
            row=row.name,
            remedy="say what reflectance is wanted, and the cheapest coating that has it on this glass is taken",
        )
    elif row.promised_mirror_reflectance is not None and left.least < row.promised_mirror_reflectance:
        yield finding(
            "mirror-promise-missed",
            where,
            f"On {work.glass.name} {row.name} reflects {_percent(left.least)} at {left.least_at_nm:g} nm and {_percent(left.mean)} in the "
            f"mean {asked}; its row promises at least {_percent(row.promised_mirror_reflectance)}.",
            figure=left.least,
            limit=row.promised_mirror_reflectance,
            row=row.name,
            remedy="say what reflectance is wanted, and the cheapest mirror that has it is taken",
        )


def _too_hot(work: ElementWork, face: FaceWork, row: CoatingRow) -> Finding:
    limit = hottest_c_for(work.glass)
    return finding(
        "coating-too-hot",
        f"{face.where}/coating",
        f"The run of {row.name} warms the lenses to {row.hottest_c:g} deg C; {work.glass.name} of {work.name} stands {limit:g}.",
        figure=row.hottest_c,
        limit=limit,
        unit="deg C",
        row=row.name,
        remedy="say what reflectance is wanted, and a cool coating that has it is taken",
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
