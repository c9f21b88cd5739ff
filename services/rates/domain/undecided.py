"""Rows between which nothing would decide, and words that nothing asks for: no answer may hang on the order of rows or on a slip of the pen."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from difflib import get_close_matches
from itertools import pairwise
from typing import Any, get_args

from services.rates.domain.references import nearest_or
from shared_schemas.operation_kinds import OPERATIONS, OperationName, operation_words
from shared_schemas.prescription import BarrelMaterial
from shared_schemas.problem import ProblemDetail
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates

ALIKE = 0.7
"""From this share of common signs on, a word that stands once is taken for a slip of one that stands more often (`difflib`)."""


def undecided(rates: Rates, table: str) -> Iterator[ProblemDetail]:
    """What the rows of a table leave open; each entry points at a cell."""
    if table in ANSWERS:
        yield from _answered_twice(getattr(rates, table), *ANSWERS[table])
    if table in CHECKS:
        yield from CHECKS[table](rates)


def _grinding(row: Any) -> Hashable:
    return (row.stage, row.method, row.grit_um if row.stage == "fine_grind" else row.grindability_hg)


def _inspection(row: Any) -> Hashable:
    if row.looks_at == "imperfections":
        return (row.looks_at, row.grade_up_to_mm)
    return (row.looks_at, row.means, row.aspheric, row.fringes_up_to) if row.looks_at == "form" else None


ANSWERS: dict[str, tuple[Callable[[Any], Hashable], str]] = {
    "work_centres": (lambda row: row.id, "id"),
    "grinding": (_grinding, "stage"),
    "polishing": (lambda row: row.glass and (row.glass, row.method), "glass"),
    "cementing": (lambda row: row.finest_centring_arcmin, "finest_centring_arcmin"),
    "turning": (lambda row: row.kind, "kind"),
    "hardware": (lambda row: (row.kind, row.material, row.diameter_up_to_mm), "diameter_up_to_mm"),
    "tooling": (lambda row: None if row.owned else row.kind, "kind"),
    "inspection": (_inspection, "looks_at"),
    "operations": (lambda row: (row.on, row.after, row.sequence), "sequence"),
}
"""What a row alone answers (`None`: rows that add up or of which cost decides), and the column that a second one is shown at."""


def _answered_twice(rows: Sequence[Any], question: Callable[[Any], Hashable], column: str) -> Iterator[ProblemDetail]:
    first: dict[Hashable, str] = {}
    for number, row in enumerate(rows):
        asked = question(row)
        if asked is None:
            continue
        if asked in first:
            yield ProblemDetail(
                pointer=f"/rows/{number}/{column}", reason=f"the row {first[asked]} answers for the same, and nothing decides between them",
                figure=getattr(row, column), limit="once", remedy="remove one of the two rows, or make them differ",
            )  # fmt: skip
        first.setdefault(asked, row.name)


def _overlaps(rows: Iterable[tuple[int, Any]], over: str, up_to: str) -> Iterator[ProblemDetail]:
    ranges = (entry for entry in rows if getattr(entry[1], over) < getattr(entry[1], up_to))
    in_order = sorted(ranges, key=lambda entry: (getattr(entry[1], over), getattr(entry[1], up_to)))
    for (_, before), (number, row) in pairwise(in_order):
        if getattr(row, over) < getattr(before, up_to):
            yield ProblemDetail(
                pointer=f"/rows/{number}/{over}", reason=f"the range of the row {before.name} reaches into this one, and nothing decides between them",
                figure=getattr(row, over), limit=getattr(before, up_to), remedy=f"{getattr(before, up_to):g} or more, or a smaller {up_to} there",
            )  # fmt: skip


def _by(rows: Iterable[Any], group: Callable[[Any], Hashable]) -> dict[Hashable, list[tuple[int, Any]]]:
    """Rows with their numbers in groups; those of the group `None` are left out."""
    found: dict[Hashable, list[tuple[int, Any]]] = {}
    for number, row in enumerate(rows):
        if (key := group(row)) is not None:
            found.setdefault(key, []).append((number, row))
    return found


def _polishing(rates: Rates) -> Iterator[ProblemDetail]:
    for rows in _by(rates.polishing, lambda row: row.method if row.glass is None else None).values():
        yield from _overlaps(rows, "knoop_over_hk", "knoop_up_to_hk")


def _allowances(rates: Rates) -> Iterator[ProblemDetail]:
    for rows in _by(rates.allowances, lambda row: None if row.kind == "on_diameter_small" else (row.kind, row.form)).values():
        yield from _overlaps(rows, "diameter_over_mm", "diameter_up_to_mm")


def _of_methods(rows: Iterable[tuple[int, str, OperationName, str]], rates: Rates) -> Iterator[ProblemDetail]:
    """Methods by which nothing ever asks for the operation: rows of number, the rest of the pointer, operation and method."""
    ways = tuple(row.name for row in rates.aspheres)
    for number, place, operation, method in rows:
        known = (*OPERATIONS[operation].methods, *(ways if operation == "inspect" else ()))
        if method and method not in known:
            yield ProblemDetail(
                pointer=f"/rows/{number}/{place}", reason=f"{operation_words(operation)} is never asked for by the method {method}",
                figure=method, limit=", ".join(known) or "no method",
                remedy=f"{nearest_or(method, known)}one of {', '.join(known)}, or none" if known else "leave the method out",
            )  # fmt: skip


def _work_centres(rates: Rates) -> Iterator[ProblemDetail]:
    rows = ((n, "method", operation, row.method) for n, row in enumerate(rates.work_centres) for operation in row.operations)
    yield from _of_methods(rows, rates)


def _operations(rates: Rates) -> Iterator[ProblemDetail]:
    """Steps that take the name of an operation of the suite, which a reader could not tell from it."""
    for number, row in enumerate(rates.operations):
        if row.name.replace(" ", "_") in OPERATIONS:
            yield ProblemDetail(
                pointer=f"/rows/{number}/name", reason="the suite has an operation of that name", figure=row.name, limit="another name",
                remedy="a name that says what is different",
            )  # fmt: skip


def _yields(rates: Rates) -> Iterator[ProblemDetail]:
    yield from _of_methods(((n, "method", row.operation, row.method) for n, row in enumerate(rates.yields)), rates)


def _extra_work(rates: Rates) -> Iterator[ProblemDetail]:
    rows = (
        (n, "method", row.operation, row.method) for n, row in enumerate(rates.extra_work) if OPERATIONS[row.operation].on_block
    )
    yield from _of_methods(rows, rates)


def _outside_work(rates: Rates) -> Iterator[ProblemDetail]:
    named = (
        (n, f"methods/{place}", row.operation, method)
        for n, row in enumerate(rates.outside_work)
        for place, method in enumerate(row.methods)
    )
    yield from _of_methods(named, rates)


def _aspheres(rates: Rates) -> Iterator[ProblemDetail]:
    """Ways of making aspheres by whose name no work centre measures them, so that they would never be taken."""
    measured = {row.method for row in rates.work_centres if "inspect" in row.operations}
    for number, row in enumerate(rates.aspheres):
        if row.name not in measured:
            yield ProblemDetail(
                pointer=f"/rows/{number}/name", reason=f"no work centre inspects by the method {row.name}", figure=row.name,
                limit="a method of a work centre for inspect",
                remedy=f"{nearest_or(row.name, measured)}add a work centre that inspects by it first",
            )  # fmt: skip


UNITS = {
    "irregularity": "fringe", "power": "fringe", "imperfection_grade": "mm", "roughness": "nm", "micro_defects": "in 10 mm",
    "centring": "arcmin", "diameter": "mm", "centre_thickness": "mm",
}  # fmt: skip
"""The unit in which each tolerance is compared."""


def _tolerance_classes(rates: Rates) -> Iterator[ProblemDetail]:
    for number, row in enumerate(rates.tolerance_classes):
        if row.unit != UNITS[row.attribute]:
            yield ProblemDetail(
                pointer=f"/rows/{number}/unit", reason=f"{row.attribute} is compared in {UNITS[row.attribute]}", figure=row.unit,
                limit=UNITS[row.attribute], remedy=f"{UNITS[row.attribute]}, with the figures in it",
            )  # fmt: skip


def _metals(rates: Rates) -> Iterator[ProblemDetail]:
    known = get_args(BarrelMaterial)
    for number, row in enumerate(rates.metals):
        if row.name not in known:
            yield ProblemDetail(
                pointer=f"/rows/{number}/name", reason="no drawing can ask for that metal", figure=row.name, limit=", ".join(known),
                remedy=f"{nearest_or(row.name, known)}one of {', '.join(known)}",
            )  # fmt: skip


def _commercial(rates: Rates) -> Iterator[ProblemDetail]:
    usual, known = QuoteRequest.model_fields["customer_class"].default, tuple(row.name for row in rates.commercial)
    if usual not in known:
        yield ProblemDetail(
            pointer="/rows", reason=f"a request that names no class of customer is of the class {usual}", figure=", ".join(known),
            limit=usual, remedy=f"a row of the name {usual}",
        )  # fmt: skip


_CODES = (
    "AED AFN ALL AMD ANG AOA ARS AUD AWG AZN BAM BBD BDT BGN BHD BIF BMD BND BOB BRL BSD BTN BWP BYN BZD CAD CDF CHF CLP CNY "
    "COP CRC CUP CVE CZK DJF DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GNF GTQ GYD HKD HNL HTG HUF IDR ILS INR "
    "IQD IRR ISK JMD JOD JPY KES KGS KHR KMF KPW KRW KWD KYD KZT LAK LBP LKR LRD LSL LYD MAD MDL MGA MKD MMK MNT MOP MRU MUR "
    "MVR MWK MXN MYR MZN NAD NGN NIO NOK NPR NZD OMR PAB PEN PGK PHP PKR PLN PYG QAR RON RSD RUB RWF SAR SBD SCR SDG SEK SGD "
    "SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT TND TOP TRY TTD TWD TZS UAH UGX USD UYU UZS VED VES VND VUV WST XAF XCD "
    "XOF XPF YER ZAR ZMW ZWG"
)
CURRENCIES = frozenset(_CODES.split())
"""Currencies in use, ISO 4217, from memory."""


def _currencies(rates: Rates) -> Iterator[ProblemDetail]:
    for number, row in enumerate(rates.currencies):
        if row.name not in CURRENCIES:
            yield ProblemDetail(
                pointer=f"/rows/{number}/name", reason="no currency in use has that code", figure=row.name, limit="ISO 4217",
                remedy=f"{nearest_or(row.name, CURRENCIES)}the code of a currency in use",
            )  # fmt: skip


def _slips(words: Sequence[tuple[str, str]], of: str) -> Iterator[ProblemDetail]:
    """Words that stand once and are nearly one that stands more often; each with its pointer."""
    often = Counter(word for _, word in words)
    for pointer, word in words:
        near = get_close_matches(word, [other for other, count in often.items() if other != word and count > often[word]], 1, ALIKE)
        if near and often[word] == 1:
            yield ProblemDetail(
                pointer=pointer, reason=f"it is nearly the {of} {near[0]}, which stands {often[near[0]]} times", figure=word, limit=near[0],
                remedy=f"{near[0]}, or a name that nobody takes for it",
            )  # fmt: skip


NEAR_IN_CODE = 1.6
"""Units of the last place by which catalogues round a glass code apart from its index and Abbe number."""


def _glasses(rates: Rates) -> Iterator[ProblemDetail]:
    yield from _slips([(f"/rows/{number}/maker", row.maker) for number, row in enumerate(rates.glasses)], "maker")
    for number, row in enumerate(rates.glasses):
        if not row.code or row.nd is None or row.vd is None:
            continue
        said = [(int(row.code[:3]), 1000 * (row.nd - 1) % 1000), (int(row.code[3:6]), 10 * row.vd)]
        if len(row.code) > 6 and row.density_g_cm3 is not None:
            said.append((int(row.code[7:]), 100 * row.density_g_cm3))
        if any(abs(code - figure) > NEAR_IN_CODE for code, figure in said):
            yield ProblemDetail(
                pointer=f"/rows/{number}/code", reason="the code is not that of the index, Abbe number and density", figure=row.code,
                limit=" ".join(f"{figure:.0f}" for _, figure in said), remedy="mend the code, or nd, vd and density_g_cm3",
            )  # fmt: skip


def _coatings(rates: Rates) -> Iterator[ProblemDetail]:
    of_index: dict[float, list[tuple[str, str]]] = {}
    for number, row in enumerate(rates.coatings):
        for place, layer in enumerate(row.layers):
            of_index.setdefault(layer.index, []).append((f"/rows/{number}/layers/{place}/material", layer.material))
    for words in of_index.values():
        yield from _slips(words, "film")


CHECKS: dict[str, Callable[[Rates], Iterator[ProblemDetail]]] = {
    "glasses": _glasses,
    "polishing": _polishing,
    "allowances": _allowances,
    "work_centres": _work_centres,
    "yields": _yields,
    "operations": _operations,
    "extra_work": _extra_work,
    "outside_work": _outside_work,
    "aspheres": _aspheres,
    "tolerance_classes": _tolerance_classes,
    "metals": _metals,
    "commercial": _commercial,
    "currencies": _currencies,
    "coatings": _coatings,
}
