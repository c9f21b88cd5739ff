"""What stands beside the price: what was assumed, what looser tolerances and other radii would save, what asks for attention.

Findings of the check are about the customer's own drawing and go on the page unless they are of the shop's handling. Of those
of later stages only the ones named here do: the others speak of the shop's stock, machines and prices.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from services.quoting.sheet.parts import counted, in_words, money, paragraph, points, section, table
from shared_schemas.check import Finding
from shared_schemas.prescription import Prescription
from shared_schemas.quote import CombinedSaving, QuoteBody, QuotedRelaxation

SHOWN = 5
"""Of the relaxations so many are shown: those that save most."""
RADIUS = "radius"
DEFAULTED = "tolerance-defaulted"

ASSUMED = frozenset(
    {"glass-by-code", "index-estimated", "form-from-rms", "coating_chosen", "texture_not_planned", "wavefront_not_measured", "assembly_imperfections_not_looked_at"}
)  # fmt: skip
"""Notes that say how the drawing was read, or what is not part of the offer."""

OF_LATER_STAGES = frozenset(
    {"coating_not_needed", "coating_not_evaluated", "ground_face_polished", "laser_damage_not_measured"}
)  # fmt: skip
"""Findings of care after the check that a customer may read as they are."""

IN_OTHER_WORDS: Mapping[str, Callable[[Finding], str]] = {
    "coating_promise_missed": lambda one: (
        f"On this glass the coating leaves up to {_percent(one.figure)} of reflection, over the {_percent(one.limit)} it is meant to keep"
    ),
    "glass-long-lead": lambda one: f"The glass takes {one.figure:g} days to come",
}
"""Findings that are said to the customer otherwise than to the shop."""

SHOPS_REPAIR = frozenset({"glass-long-lead"})
"""Of these the shop, not the customer, is told what would do."""

LEAD = "glass-lead"
HANDLING: Mapping[str, str] = {
    LEAD: "contains lead: check whether the rules on hazardous substances allow it where the lens is used, and how it is disposed of.",
    "glass-soft": "is soft and scratches when it is handled and cleaned.",
    "glass-stains": "stains or weathers: keep uncoated faces dry, and wipe off finger marks and water at once.",
    "glass-expands": "expands much when it is warmed: heat and cool it slowly.",
}
"""What the customer is to mind of a glass, in place of how the shop is to handle it."""


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
    taken: dict[str, list[str]] = {}
    for one in body.check.findings:
        if one.code == DEFAULTED:
            place, _, rest = in_words(one.pointer, drawn).partition(" ")
            taken.setdefault(place, []).append(f"{rest} {_default(one)}")
    alike: dict[tuple[str, ...], list[str]] = {}
    for place, rests in taken.items():
        alike.setdefault(tuple(rests), []).append(place)
    for defaults, places in alike.items():
        yield (
            f"Not stated for {', '.join(places)}, so by default of ISO 10110-11 (loose; from memory, the licensed text decides): "
            f"{', '.join(defaults)}."
        )
    unstated: dict[tuple[str, ...], list[str]] = {}
    for element in body.check.elements:
        if element.glass_quality is not None and element.glass_quality.defaulted:
            unstated.setdefault(element.glass_quality.defaulted, []).append(element.name)
    for what, names in unstated.items():
        yield f"Quality of the glass as ISO 10110-11 has it by default, where it has one ({', '.join(what)}): {', '.join(names)}."
    for one in (*body.check.findings, *body.findings):
        if one.code in ASSUMED:
            yield _sentence(one.message)


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
    if pointer.endswith("quantities"):
        return "the order"
    steps = pointer.split("/")
    return in_words("/".join(steps[:4] if steps[3:4] in (["front"], ["back"]) else steps[:3]), drawn)


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
                ", ".join(in_words(where.removesuffix("/radius_mm"), body.prescription) for where in (one.where, *one.also)),
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
    """Findings of care in plain words, the same ones said once."""
    chosen = [one for one in body.check.findings if one.severity == "care" and one.code not in HANDLING]
    chosen += [one for one in body.findings if one.severity == "care" and one.code in OF_LATER_STAGES | IN_OTHER_WORDS.keys()]
    for one in chosen:
        said = IN_OTHER_WORDS[one.code](one) if one.code in IN_OTHER_WORDS else one.message
        repair = f" What would do: {_sentence(one.remedy)}" if one.remedy and one.code not in SHOPS_REPAIR else ""
        yield f"{_capital(in_words(one.pointer, body.prescription))}: {_sentence(said)}{repair}"


def _handling(body: QuoteBody) -> Iterator[str]:
    places: dict[tuple[str, str, str], list[str]] = {}
    for one in body.check.findings:
        if one.code in HANDLING:
            place = in_words(one.pointer, body.prescription).partition(" ")[0]
            instead = f" {_capital(_sentence(one.remedy))}" if one.remedy and one.code == LEAD else ""
            places.setdefault((_glass_at(place, body), one.code, instead), []).append(place)
    for (glass, code, instead), names in places.items():
        yield f"{glass} ({', '.join(dict.fromkeys(names))}) {HANDLING[code]}{instead}"


def _glass_at(name: str, body: QuoteBody) -> str:
    found = next((one.glass for one in body.check.elements if one.name == name), None)
    return found or "The glass"


def _percent(share: object) -> str:
    return f"{share:.2%}" if isinstance(share, float) else str(share)


def _sentence(words: str) -> str:
    return f"{words.rstrip('.')}."


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:] if words.startswith(("the ", "between ", "ask ")) else words
