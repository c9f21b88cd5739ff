"""What stands beside the price: what was assumed, what looser tolerances and other radii would save, what asks for attention.

Which findings a customer reads, in which words and in which section, the catalogue of findings says.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from services.quoting.sheet import words
from services.quoting.sheet.parts import Table, days, money
from shared_schemas.check import Finding, FindingKind, SheetSection
from shared_schemas.finding_kinds import CATALOGUE
from shared_schemas.place import face_of, place_of
from shared_schemas.prescription import Prescription
from shared_schemas.quote import CombinedSaving, QuoteBody, QuotedRelaxation

SHOWN = 5
"""Of the relaxations so many are shown: those that save most."""
RADIUS = "radius"
DEFAULTED = "tolerance-defaulted"


@dataclass(frozen=True)
class RemarksOnSheet:
    """What stands beside the price, section by section."""

    assumed: tuple[str, ...]
    relaxations: Table
    relaxed_together: str
    offers: Table
    to_look_at: tuple[str, ...]
    handling: tuple[str, ...]


def remarks(body: QuoteBody) -> RemarksOnSheet:
    """What a customer is told beside the price of a quote."""
    return RemarksOnSheet(
        assumed=tuple(_assumed(body)),
        relaxations=_relaxations(body),
        relaxed_together=_together(body.best_relaxations, body.prescription) if body.best_relaxations else "",
        offers=_offers(body),
        to_look_at=tuple(_to_look_at(body)),
        handling=tuple(_handling(body)),
    )


def _assumed(body: QuoteBody) -> Iterator[str]:
    for assumed in body.order.assumptions if body.order else ():
        yield words.FROM_WHAT_YOU_SENT.format(what=assumed.rstrip("."))
    yield words.UNSTATED.format(wavelength=body.prescription.wavelength_nm)
    yield from _defaults(body)
    unstated: dict[tuple[str, ...], list[str]] = {}
    for element in body.check.elements:
        if element.glass_quality is not None and element.glass_quality.defaulted:
            unstated.setdefault(element.glass_quality.defaulted, []).append(element.name)
    for what, names in unstated.items():
        yield words.GLASS_BY_DEFAULT.format(what=", ".join(what), names=", ".join(names))
    yield from (_filled(kind, finding) for kind, finding in _for_the_customer(body, "assumed") if finding.code != DEFAULTED)


def _defaults(body: QuoteBody) -> Iterator[str]:
    """Tolerances that were not stated, said once for all the parts that take the same defaults."""
    of_part: dict[str, list[str]] = {}
    for _, finding in _for_the_customer(body, "assumed"):
        if finding.code == DEFAULTED:
            place = place_of(finding.pointer, body.prescription)
            of_part.setdefault(place.part, []).append(f"{place.of_it} {_default(finding)}")
    parts_with: dict[tuple[str, ...], list[str]] = {}
    for part, defaults in of_part.items():
        parts_with.setdefault(tuple(defaults), []).append(part)
    by_default = CATALOGUE[DEFAULTED].customer_words or ""
    for figures, parts in parts_with.items():
        yield by_default.format(places=", ".join(parts), figures=", ".join(figures))


def _default(finding: Finding) -> str:
    figure = f"{finding.figure:g}" if isinstance(finding.figure, float) else str(finding.figure)
    if finding.unit.endswith("plus and minus"):
        return f"±{figure} {finding.unit.removesuffix('plus and minus').strip()}"
    return f"{figure} {finding.unit}".strip()


def _relaxations(body: QuoteBody) -> Table:
    best = [relaxation for relaxation in body.relaxations if relaxation.tolerance != RADIUS][:SHOWN]
    return Table(
        words.RELAXATION_HEADS,
        tuple(
            (
                relaxation.tolerance.replace("_", " "),
                _where(relaxation.where, body.prescription),
                f"{relaxation.from_figure:g}",
                f"{relaxation.to_figure:g} {words.FRINGES if relaxation.unit == 'fringe' else relaxation.unit}",
                money(relaxation.saving_per_unit),
                f"{relaxation.quantity:,}",
                _means(relaxation),
            )
            for relaxation in best
        ),
    )


def _means(relaxation: QuotedRelaxation) -> str:
    once = words.SAVED_ONCE if relaxation.charged_once else ""
    return "; ".join(part for part in (relaxation.means, once, _days(relaxation.days_saved)) if part)


def _where(pointer: str, drawn: Prescription) -> str:
    """The element and the face that a relaxation is of; what of them is said by the tolerance itself."""
    return words.THE_ORDER if pointer.endswith("quantities") else str(face_of(pointer, drawn))


def _days(saved: int) -> str:
    return (words.SOONER_DAYS if saved > 0 else words.LATER_DAYS).format(days=days(abs(saved))) if saved else ""


def _together(best: CombinedSaving, drawn: Prescription) -> str:
    named = ", ".join(
        words.TOLERANCE_OF.format(tolerance=tolerance.replace("_", " "), place=_where(where, drawn)) for tolerance, where in zip(best.tolerances, best.where, strict=True)
    )  # fmt: skip
    sooner = words.TOGETHER_DAYS.format(days=_days(best.days_saved)) if best.days_saved else ""
    return words.TOGETHER.format(named=named, saving=money(best.saving_per_unit), quantity=best.quantity, days=sooner)


def _offers(body: QuoteBody) -> Table:
    sooner = any(offer.days_saved for offer in body.offers)
    return Table(
        (*words.OFFER_HEADS, *((words.OFFER_AND,) if sooner else ())),
        tuple(
            (
                ", ".join(str(face_of(where, body.prescription)) for where in (offer.where, *offer.also)),
                f"{offer.from_radius_mm:+.10g}",
                f"{offer.to_radius_mm:+.10g}",
                f"{offer.focal_length_change_mm:+.3f} mm ({offer.focal_length_change_share:+.2%})",
                money(offer.saving),
                *((_days(offer.days_saved),) if sooner else ()),
            )
            for offer in body.offers
        ),
    )


def _to_look_at(body: QuoteBody) -> Iterator[str]:
    """What asks for the customer's attention, each at its place."""
    for kind, finding in _for_the_customer(body, "to look at"):
        yield f"{_capital(str(place_of(finding.pointer, body.prescription)))}: {_filled(kind, finding)}"


def _handling(body: QuoteBody) -> Iterator[str]:
    """What to mind when the lens is handled, said once for all the elements of a glass."""
    glass_of = {element.name: element.glass for element in body.check.elements}
    alike: dict[tuple[str, str, str | None], list[tuple[FindingKind, Finding, str]]] = {}
    for kind, finding in _for_the_customer(body, "handling"):
        part = place_of(finding.pointer, body.prescription).part
        alike.setdefault((glass_of.get(part) or words.THE_GLASS, kind.code, finding.remedy), []).append((kind, finding, part))
    for (glass, _, _), group in alike.items():
        kind, finding, _ = group[0]
        yield _filled(kind, finding, glass=glass, places=", ".join(dict.fromkeys(part for *_, part in group)))


def _for_the_customer(body: QuoteBody, where: SheetSection) -> Iterable[tuple[FindingKind, Finding]]:
    """The findings of a section of the sheet, with their kinds; one whose code the catalogue does not have stays in the shop."""
    for finding in (*body.check.findings, *body.findings):
        kind = CATALOGUE.get(finding.code)
        if kind is not None and kind.audience != "shop" and kind.sheet_section == where:
            yield kind, finding


def _filled(kind: FindingKind, finding: Finding, **more: str) -> str:
    """The customer's words of a finding with its figures."""
    remedy = words.WHAT_WOULD_DO.format(remedy=_sentence(finding.remedy)) if finding.remedy else ""
    return (
        (kind.customer_words or "")
        .format(
            message=_sentence(finding.message), remedy=remedy, figure=finding.figure, limit=finding.limit, unit=finding.unit, **more
        )
        .strip()
    )


def _sentence(said: str) -> str:
    return f"{said.rstrip('.')}."


def _capital(place: str) -> str:
    return place[:1].upper() + place[1:] if place.startswith(("the ", "between ")) else place
