"""What stands beside the price: what was assumed, what looser tolerances and other radii would save, what asks for attention.

Which findings a customer reads, in which words and in which section, the catalogue of findings says.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from services.quoting.sheet.parts import counted, money, paragraph, points, section, table
from shared_schemas.check import Finding, FindingKind, SheetSection
from shared_schemas.finding_kinds import CATALOGUE
from shared_schemas.place import face_of, place_of
from shared_schemas.prescription import Prescription
from shared_schemas.quote import CombinedSaving, QuoteBody, QuotedRelaxation

SHOWN = 5
"""Of the relaxations so many are shown: those that save most."""
RADIUS = "radius"
DEFAULTED = "tolerance-defaulted"


def remarks(body: QuoteBody) -> Iterator[str]:
    """The sections of the page that stand beside the price."""
    drawn = body.prescription
    yield section("Assumed", points(_assumed(body)))
    yield section(
        f"What could be relaxed, and what it saves, in {body.currency}",
        _relaxations(body),
        paragraph(_together(body.best_relaxations, drawn) if body.best_relaxations else ""),
    )
    yield section(f"Radii near a test plate in hand, in {body.currency}", _offers(body))
    yield section("To look at", points(_to_look_at(body)))
    yield section("To mind when the lens is handled", points(_handling(body)))


def _assumed(body: QuoteBody) -> Iterator[str]:
    drawn = body.prescription
    yield (
        f"Design wavelength {drawn.wavelength_nm:.10g} nm. Faces without a coating named stay uncoated. "
        "Demands that neither the drawing states nor this sheet names are not part of this offer."
    )
    yield from _defaults(body)
    unstated: dict[tuple[str, ...], list[str]] = {}
    for element in body.check.elements:
        if element.glass_quality is not None and element.glass_quality.defaulted:
            unstated.setdefault(element.glass_quality.defaulted, []).append(element.name)
    for what, names in unstated.items():
        yield f"Quality of the glass as ISO 10110-11 has it by default, where it has one ({', '.join(what)}): {', '.join(names)}."
    yield from (_filled(kind, one) for kind, one in _for_the_customer(body, "assumed") if one.code != DEFAULTED)


def _defaults(body: QuoteBody) -> Iterator[str]:
    """Tolerances that were not stated, said once for all the parts that take the same defaults."""
    of_part: dict[str, list[str]] = {}
    for _, one in _for_the_customer(body, "assumed"):
        if one.code == DEFAULTED:
            place = place_of(one.pointer, body.prescription)
            of_part.setdefault(place.part, []).append(f"{place.of_it} {_default(one)}")
    parts_with: dict[tuple[str, ...], list[str]] = {}
    for part, defaults in of_part.items():
        parts_with.setdefault(tuple(defaults), []).append(part)
    words = CATALOGUE[DEFAULTED].customer_words or ""
    for figures, parts in parts_with.items():
        yield words.format(places=", ".join(parts), figures=", ".join(figures))


def _default(one: Finding) -> str:
    figure = f"{one.figure:g}" if isinstance(one.figure, float) else str(one.figure)
    if one.unit.endswith("plus and minus"):
        return f"±{figure} {one.unit.removesuffix('plus and minus').strip()}"
    return f"{figure} {one.unit}".strip()


def _relaxations(body: QuoteBody) -> str:
    best = [one for one in body.relaxations if one.tolerance != RADIUS][:SHOWN]
    return table(
        ("Tolerance", "Where", ">Now", ">Instead", ">Saves a piece", ">Of", "Which means"),
        (
            (
                one.tolerance.replace("_", " "),
                _where(one.where, body.prescription),
                f"{one.from_figure:g}",
                f"{one.to_figure:g} {'fringes' if one.unit == 'fringe' else one.unit}",
                money(one.saving_per_unit),
                f"{one.quantity:,}",
                _means(one),
            )
            for one in best
        ),
    )


def _means(one: QuotedRelaxation) -> str:
    once = "saved once, of the tooling" if one.charged_once else ""
    return "; ".join(said for said in (one.means, once, _days(one.days_saved)) if said)


def _where(pointer: str, drawn: Prescription) -> str:
    """The element and the face that a relaxation is of; what of them is said by the tolerance itself."""
    return "the order" if pointer.endswith("quantities") else str(face_of(pointer, drawn))


def _days(saved: int) -> str:
    return f"{counted(abs(saved), 'day')} {'sooner' if saved > 0 else 'later'}" if saved else ""


def _together(best: CombinedSaving, drawn: Prescription) -> str:
    named = ", ".join(
        f"{tolerance.replace('_', ' ')} of {_where(where, drawn)}" for tolerance, where in zip(best.tolerances, best.where, strict=True)
    )  # fmt: skip
    days = f" and the lens comes {_days(best.days_saved)}" if best.days_saved else ""
    return f"Granted together ({named}) these save {money(best.saving_per_unit)} a piece of {best.quantity:,}{days}."


def _offers(body: QuoteBody) -> str:
    sooner = any(one.days_saved for one in body.offers)
    return table(
        ("Where", ">Radius, mm", ">Instead, mm", ">Focal length changes by", ">Saves once", *(("And",) if sooner else ())),
        (
            (
                ", ".join(str(face_of(where, body.prescription)) for where in (one.where, *one.also)),
                f"{one.from_radius_mm:+.10g}",
                f"{one.to_radius_mm:+.10g}",
                f"{one.focal_length_change_mm:+.3f} mm ({one.focal_length_change_share:+.2%})",
                money(one.saving),
                *((_days(one.days_saved),) if sooner else ()),
            )
            for one in body.offers
        ),
    )


def _to_look_at(body: QuoteBody) -> Iterator[str]:
    """What asks for the customer's attention, each at its place."""
    for kind, one in _for_the_customer(body, "to look at"):
        yield f"{_capital(str(place_of(one.pointer, body.prescription)))}: {_filled(kind, one)}"


def _handling(body: QuoteBody) -> Iterator[str]:
    """What to mind when the lens is handled, said once for all the elements of a glass."""
    glass_of = {element.name: element.glass for element in body.check.elements}
    alike: dict[tuple[str, str, str | None], list[tuple[FindingKind, Finding, str]]] = {}
    for kind, one in _for_the_customer(body, "handling"):
        part = place_of(one.pointer, body.prescription).part
        alike.setdefault((glass_of.get(part) or "The glass", kind.code, one.remedy), []).append((kind, one, part))
    for (glass, _, _), group in alike.items():
        kind, one, _ = group[0]
        yield _filled(kind, one, glass=glass, places=", ".join(dict.fromkeys(part for *_, part in group)))


def _for_the_customer(body: QuoteBody, where: SheetSection) -> Iterable[tuple[FindingKind, Finding]]:
    """The findings of a section of the sheet, with their kinds; one whose code the catalogue does not have stays in the shop."""
    for one in (*body.check.findings, *body.findings):
        kind = CATALOGUE.get(one.code)
        if kind is not None and kind.audience != "shop" and kind.sheet_section == where:
            yield kind, one


def _filled(kind: FindingKind, one: Finding, **more: str) -> str:
    """The customer's words of a finding with its figures."""
    remedy = f"What would do: {_sentence(one.remedy)}" if one.remedy else ""
    words = kind.customer_words or ""
    return words.format(
        message=_sentence(one.message), remedy=remedy, figure=one.figure, limit=one.limit, unit=one.unit, **more
    ).strip()


def _sentence(words: str) -> str:
    return f"{words.rstrip('.')}."


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:] if words.startswith(("the ", "between ")) else words
