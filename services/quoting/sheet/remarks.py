"""What stands beside the price: what was assumed, what looser tolerances and other radii would save, what asks for attention.

Which findings a customer reads, in which words and in which section, the catalogue of findings says; their words in other languages stand with
those of the sheet. What has none there is shown in English, marked so.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from services.quoting.sheet.language import Language
from services.quoting.sheet.parts import Paragraph, Points, Section, Table, section
from services.quoting.sheet.words import english
from shared_schemas.check import Finding, FindingKind, SheetSection
from shared_schemas.finding_kinds import AS_SAID, CATALOGUE
from shared_schemas.place import Place, face_of, place_of
from shared_schemas.prescription import Prescription
from shared_schemas.quote import CombinedSaving, QuoteBody, QuotedRelaxation

SHOWN = 5
"""Of the relaxations so many are shown: those that save most."""
RADIUS = "radius"
DEFAULTED = "tolerance-defaulted"
_ALIKE = re.compile(r"(.+) together, which are alike")


def assumed(body: QuoteBody, said: Language) -> Section | None:
    """What the customer is to confirm."""
    return section(said.words.ASSUMED, Points(tuple(_assumed(body, said))))


def relaxations(body: QuoteBody, said: Language) -> Section | None:
    """Which tolerances could be looser, and what that saves."""
    together = _together(body.best_relaxations, body.prescription, said) if body.best_relaxations else ""
    return section(said.words.RELAXATIONS.format(currency=body.currency), _relaxations(body, said), Paragraph(together))


def offers(body: QuoteBody, said: Language) -> Section | None:
    """Radii of plates in hand."""
    return section(said.words.OFFERS.format(currency=body.currency), _offers(body, said))


def to_look_at(body: QuoteBody, said: Language) -> Section | None:
    """What asks for the customer's attention, said once for all the places it is true of."""
    return section(said.words.TO_LOOK_AT, Points(tuple(_to_look_at(body, said))))


def handling(body: QuoteBody, said: Language) -> Section | None:
    """What to mind when the lens is handled."""
    return section(said.words.HANDLING, Points(tuple(_handling(body, said))))


def _assumed(body: QuoteBody, said: Language) -> Iterator[str]:
    words = said.words
    for one in body.order.assumptions if body.order else ():
        yield words.FROM_WHAT_YOU_SENT.format(what=one.rstrip("."))
    yield words.UNSTATED.format(wavelength=said.figure(body.prescription.wavelength_nm))
    yield from _defaults(body, said)
    unstated: dict[tuple[str, ...], list[str]] = {}
    for element in body.check.elements:
        if element.glass_quality is not None and element.glass_quality.defaulted:
            unstated.setdefault(element.glass_quality.defaulted, []).append(element.name)
    for what, names in unstated.items():
        qualities = ", ".join(words.QUALITIES.get(one, one) for one in what)
        yield words.GLASS_BY_DEFAULT.format(what=qualities, names=", ".join(names))
    yield from (_filled(kind, finding, said) for kind, finding in _for_the_customer(body, "assumed") if finding.code != DEFAULTED)


def _defaults(body: QuoteBody, said: Language) -> Iterator[str]:
    """Tolerances that were not stated, said once for all the parts that take the same defaults."""
    of_part: dict[str, list[str]] = {}
    for _, finding in _for_the_customer(body, "assumed"):
        if finding.code == DEFAULTED:
            place = place_of(finding.pointer, body.prescription)
            of_part.setdefault(place.part, []).append(f"{said.of_it(place.of_it)} {_default(finding, said)}")
    parts_with: dict[tuple[str, ...], list[str]] = {}
    for part, defaults in of_part.items():
        parts_with.setdefault(tuple(defaults), []).append(part)
    by_default, _ = _form_of(CATALOGUE[DEFAULTED], said)
    for figures, parts in parts_with.items():
        yield by_default.format(places=", ".join(parts), figures=", ".join(figures))


def _default(finding: Finding, said: Language) -> str:
    known = said.words.PLACES
    figure = f"{finding.figure:g}" if isinstance(finding.figure, float) else str(finding.figure)
    figure = said.with_comma(figure).replace(" and ", f" {known.get('and', 'and')} ")
    if finding.unit.endswith("plus and minus"):
        return f"±{figure} {finding.unit.removesuffix('plus and minus').strip()}"
    return f"{figure} {known.get(finding.unit, finding.unit)}".strip()


def _relaxations(body: QuoteBody, said: Language) -> Table:
    best = [relaxation for relaxation in body.relaxations if relaxation.tolerance != RADIUS][:SHOWN]
    return Table(
        said.words.RELAXATION_HEADS,
        tuple(
            (
                said.tolerance(relaxation.tolerance),
                _where(relaxation.where, body.prescription, said),
                said.figure(relaxation.from_figure, form="g"),
                f"{said.figure(relaxation.to_figure, form='g')}{_unit(relaxation.unit, said)}",
                said.money(relaxation.saving_per_unit),
                said.count(relaxation.quantity),
                _means(relaxation, said),
            )
            for relaxation in best
        ),
    )


def _unit(unit: str, said: Language) -> str:
    known = {"fringe": f" {said.words.FRINGES}", "lenses": "", "arcmin": "'"}
    return known.get(unit, f" {unit}")


def _means(relaxation: QuotedRelaxation, said: Language) -> str:
    once = said.words.SAVED_ONCE if relaxation.charged_once else ""
    alike = _ALIKE.fullmatch(relaxation.means)
    means = said.words.ALIKE.format(names=alike[1]) if alike else said.in_english(relaxation.means)
    return "; ".join(part for part in (means, once, _days(relaxation.days_saved, said)) if part)


def _where(pointer: str, drawn: Prescription, said: Language) -> str:
    """The element and the face that a relaxation is of; what of them is said by the tolerance itself."""
    return str(said.words.THE_ORDER) if pointer.endswith("quantities") else said.place(face_of(pointer, drawn))


def _days(saved: int, said: Language) -> str:
    form: str = said.words.SOONER_DAYS if saved > 0 else said.words.LATER_DAYS
    return form.format(days=said.days(abs(saved))) if saved else ""


def _together(best: CombinedSaving, drawn: Prescription, said: Language) -> str:
    words = said.words
    named = ", ".join(
        words.TOLERANCE_OF.format(tolerance=said.tolerance(tolerance), place=_where(where, drawn, said))
        for tolerance, where in zip(best.tolerances, best.where, strict=True)
    )
    sooner = words.TOGETHER_DAYS.format(days=_days(best.days_saved, said)) if best.days_saved else ""
    saving, quantity = said.money(best.saving_per_unit), said.count(best.quantity)
    return str(words.TOGETHER.format(named=named, saving=saving, quantity=quantity, days=sooner))


def _offers(body: QuoteBody, said: Language) -> Table:
    words, sooner = said.words, any(offer.days_saved for offer in body.offers)
    return Table(
        (*words.OFFER_HEADS, words.OFFER_AND) if sooner else words.OFFER_HEADS,
        tuple(
            (
                ", ".join(said.place(face_of(where, body.prescription)) for where in (offer.where, *offer.also)),
                said.figure(offer.from_radius_mm, sign=True),
                said.figure(offer.to_radius_mm, sign=True),
                f"{said.figure(offer.focal_length_change_mm, form='.3f', sign=True)} mm ({said.share(offer.focal_length_change_share, 2, sign=True)})",
                said.money(offer.saving),
                *((_days(offer.days_saved, said),) if sooner else ()),
            )
            for offer in body.offers
        ),
    )


def _to_look_at(body: QuoteBody, said: Language) -> Iterator[str]:
    names = {element.name for element in body.prescription.elements}
    alike: dict[tuple[str, str, str | None], list[tuple[FindingKind, Finding, Place]]] = {}
    for kind, finding in _for_the_customer(body, "to look at"):
        place = place_of(finding.pointer, body.prescription)
        nameless = re.sub(rf"(?<!\w){re.escape(place.part)}(?!\w)", "", finding.message)
        alike.setdefault((kind.code, f"{place.of_it} {nameless}", finding.remedy), []).append((kind, finding, place))
    for group in alike.values():
        kind, finding, place = group[0]
        parts = ", ".join(dict.fromkeys(said.part(one.part) for *_, one in group))
        where = f"{parts} {said.of_it(place.of_it)}".strip()
        yield f"{where if place.part in names else where[:1].upper() + where[1:]}: {_filled(kind, finding, said)}"


def _handling(body: QuoteBody, said: Language) -> Iterator[str]:
    """What is true of a glass is said once for all the elements of it."""
    glass_of = {element.name: element.glass for element in body.check.elements}
    alike: dict[tuple[str, str, str | None], list[tuple[FindingKind, Finding, str]]] = {}
    for kind, finding in _for_the_customer(body, "handling"):
        part = place_of(finding.pointer, body.prescription).part
        alike.setdefault((glass_of.get(part) or said.words.THE_GLASS, kind.code, finding.remedy), []).append((kind, finding, part))
    for (glass, _, _), group in alike.items():
        kind, finding, _ = group[0]
        yield _filled(kind, finding, said, glass=glass, places=", ".join(dict.fromkeys(part for *_, part in group)))


def _for_the_customer(body: QuoteBody, where: SheetSection) -> Iterable[tuple[FindingKind, Finding]]:
    """The findings of a section of the sheet, with their kinds; one whose code the catalogue does not have stays in the shop."""
    for finding in (*body.check.findings, *body.findings):
        kind = CATALOGUE.get(finding.code)
        if kind is not None and kind.audience != "shop" and kind.sheet_section == where:
            yield kind, finding


def _form_of(kind: FindingKind, said: Language) -> tuple[str, bool]:
    """The customer's sentence of a kind of finding, and whether it is in the language of the sheet, at least what it is about."""
    own, gist = said.words.FINDINGS.get(kind.code), said.words.GISTS.get(kind.code)
    if own is None and gist is not None:
        own = f"{gist} {kind.customer_words}"
    return (own, True) if own is not None else (kind.customer_words or "", said.code == "en")


def _filled(kind: FindingKind, finding: Finding, said: Language, **more: str) -> str:
    """The customer's words of a finding with its figures. What the finding itself says of a case is in English."""
    form, is_translated = _form_of(kind, said)
    message, would_do = _sentence(finding.message), (said.words if is_translated else english).WHAT_WOULD_DO
    remedy = would_do.format(remedy=_sentence(finding.remedy)) if finding.remedy else ""
    if is_translated:
        # One mark for both where the remedy follows the message.
        follows = bool(remedy) and AS_SAID in form
        message, remedy = message if follows else said.in_english(message), said.in_english(remedy)
    places = 2 if isinstance(finding.figure, float) and "%" in (kind.customer_words or "") else None
    filled = form.format(
        message=message, remedy=remedy, unit=finding.unit, **more,
        figure=_plain(finding.figure, said, places) if is_translated and said.code != "en" else finding.figure,
        limit=_plain(finding.limit, said, places) if is_translated and said.code != "en" else finding.limit,
    ).strip()  # fmt: skip
    return filled if is_translated else said.in_english(filled)


def _plain(figure: float | str | None, said: Language, share_places: int | None) -> str:
    if not isinstance(figure, (int, float)):
        return figure or ""
    return said.figure(figure, form="g") if share_places is None else said.share(figure, share_places)


def _sentence(text: str) -> str:
    return f"{text.rstrip('.')}."
