"""A quote on a terminal, as a person reads it: what, how much, when, how it is made, what to look at.

Text of callers is never read as markup. Without a terminal the same page comes plain: no colours, a fixed width.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from services.desk.texts.alternatives import savings, sooner
from services.desk.texts.page_parts import cells, console_for, in_days, listed, money, section, table_with
from services.desk.texts.wording import as_called, problem_lines
from shared_schemas.check import CheckReport, Finding, FirstOrder
from shared_schemas.operation_kinds import operation_words
from shared_schemas.operations import Operation, Tooling
from shared_schemas.place import place_of
from shared_schemas.prescription import Prescription
from shared_schemas.quote import Break, Quote, QuoteBody, QuotedElement, middle_quantity

MAKEABLE = {"yes": "can be made", "with_care": "can be made, with care", "no": "cannot be made as drawn"}

TOOLING = {
    "one_off": "Charged once, for tools the shop does not own yet",
    "spread": "Spread over the order and in its price: tools the shop does not own yet",
}

DEFAULTED = "tolerance-defaulted"
FEW = 2
"""More findings than these on tolerances that are not stated are told in one line."""


def quote_page(quote: Quote) -> RenderableType:
    """Everything worth reading of a quote, in the order in which it is asked."""
    parts: list[RenderableType] = [_headline(quote)]
    if quote.body is not None:
        parts += _ready(quote.body)
    else:
        parts += _without_a_price(quote)
    return Group(*parts)


def check_page(prescription: Prescription, report: CheckReport) -> RenderableType:
    """A check report: whether, the first order, each element, every finding."""
    elements = table_with("element", "glass", ">edge mm", ">mass g", ">diameter : thickness", ">centring Z")
    for element in report.elements:
        mass = "-" if element.mass_g is None else f"{element.mass_g:.1f}"
        elements.add_row(
            *cells(
                element.name,
                element.glass or f"n = {element.refractive_index:.4f}",
                f"{element.edge_thickness_mm:.2f}",
                mass,
                f"{element.diameter_to_thickness:.1f}",
                f"{element.centring_z:.2f}",
            )
        )
    return Group(
        Text(prescription.title, style="bold"),
        Text(f"It {MAKEABLE[report.makeable]}."),
        _first_order(report.first_order),
        *section("Elements", elements),
        *_findings(report.findings, prescription, notes=True),
    )


def _headline(quote: Quote) -> Text:
    title = quote.body.prescription.title if quote.body else ""
    text = Text()
    text.append(f"Quote {quote.number}", style="bold")
    text.append(f", revision {quote.revision}: ")
    colour = {"ready": "bold green", "refused": "bold yellow", "failed": "bold red"}.get(quote.status, "bold")
    text.append(quote.status.replace("_", " "), style=colour)
    if quote.decision is not None:
        ordered = f" for {quote.decision.quantity:,}" if quote.decision.quantity is not None else ""
        text.append(f", {quote.decision.decision}{ordered} by {quote.decision.by} on {quote.decision.at:%Y-%m-%d}")
    elif quote.state == "expired":
        text.append(as_called(f", but expired; the next revision comes with: blankwright requote {quote.number}"))
    if quote.latest_revision > quote.revision:
        text.append(f" (the latest revision is {quote.latest_revision})")
    if title:
        text.append(f"\n{title}")
    if quote.customer:
        text.append(f"\nfor {quote.customer}")
    if quote.reference:
        text.append(f"\ntheir reference: {quote.reference}")
    return text


def _ready(body: QuoteBody) -> list[RenderableType]:
    terms = (
        f"Quoted on {body.quoted_on} with rate revision {body.rate_revision} (digest {body.rate_digest[:12]}); "
        f"valid until {body.valid_until}.\nAmounts in {body.currency}. "
        f"Enough pieces of each part are started that single losses leave the order complete with {body.confidence * 100:.10g}% confidence; a batch of "
        f"more than a twentieth of the order that is lost whole is remade. It {MAKEABLE[body.check.makeable]}."
    )
    return [
        Text(terms),
        _first_order(body.check.first_order),
        *section("Price and date", _price_table(body)),
        *_beside_the_prices(body),
        *_spare_parts(body.breaks),
        *_after_prototypes(body.breaks),
        *section("Days from the order", _days_table(body.breaks)),
        *_deliveries(body.breaks),
        *_deciding(body.breaks),
        *sooner(body),
        *section("What the price is made of, for the whole quantity", _line_table(body.breaks)),
        *section("How the cost per piece may vary", _risk_table(body.breaks)),
        *_costs_in_time(body.breaks),
        Text("Cost alone: overhead, contingency, margin and tools are not in it, so the price of a piece is higher."),
        *section("Pieces to start", _start_table(body.breaks)),
        *section("Elements", _element_table(body.elements)),
        *(section(TOOLING[body.tooling_terms], _tooling_table(body.tooling)) if body.tooling else []),
        *savings(body),
        *_assumed(body),
        *_findings((*body.check.findings, *body.findings), body.prescription, notes=False),
        *listed("Cautions", body.cautions),
    ]


def _without_a_price(quote: Quote) -> list[RenderableType]:
    if quote.problem is None:
        return [Text("It is still in progress.")]
    problem = quote.problem
    when = f"Requested on {quote.created_at:%Y-%m-%d}, with rate revision {quote.rate_revision}."
    parts: list[RenderableType] = [Text(f"{when}\n{problem.title.rstrip('.')}. {problem.detail}")]
    parts += listed("Reasons", problem_lines(problem.errors))
    return parts


def _first_order(figures: FirstOrder) -> Text:
    def known(name: str, value: float | None, form: str, unit: str = "") -> list[str]:
        return [] if value is None else [f"{name} {value:{form}}{unit}"]

    figures_known = [
        *known("focal length", figures.focal_length_mm, ".2f", " mm"),
        *known("f/", figures.f_number, ".2f"),
        *known("back focus", figures.back_focus_mm, ".2f", " mm"),
        *known("length", figures.length_mm, ".2f", " mm"),
        *known("entrance pupil", figures.entrance_pupil_diameter_mm, ".2f", " mm"),
    ]
    if figures.focal_length_mm is None:
        figures_known.insert(0, "afocal")
    return Text(f"At {figures.wavelength_nm:g} nm: " + ", ".join(figures_known).replace("f/ ", "f/") + ".")


def _charged_once(body: QuoteBody) -> Decimal:
    """What tools cost beside the prices."""
    return sum((tool.charge for tool in body.tooling), Decimal(0)) if body.tooling_terms == "one_off" else Decimal(0)


def _beside_the_prices(body: QuoteBody) -> list[RenderableType]:
    charged = _charged_once(body)
    sentence = f"Tools are not in the prices: {money(charged)} {body.currency} are charged once, whichever quantity is ordered."
    return [Text(sentence)] if charged else []


def _price_table(body: QuoteBody) -> Table:
    charged = _charged_once(body)
    with_tools = (">with tools",) if charged else ()
    table = table_with(">quantity", ">unit price", ">total", *with_tools)
    for one in body.breaks:
        table.add_row(
            *cells(
                f"{one.quantity:,}",
                money(one.unit_price),
                money(one.total_price),
                *((money(one.total_price + charged),) if charged else ()),
            )
        )
    return table


def _spare_parts(breaks: Sequence[Break]) -> list[RenderableType]:
    """What is delivered beside the lenses, in their totals."""
    table = table_with(">quantity", "spare part", ">pieces", ">unit price", ">amount")
    for one in breaks:
        for spare in one.spare_parts:
            row = (f"{one.quantity:,}", spare.part, f"{spare.pieces:,}", money(spare.unit_price), money(spare.amount))
            table.add_row(*cells(*row))
    return section("Spare parts beside the lenses, in the totals", table) if table.row_count else []


def _after_prototypes(breaks: Sequence[Break]) -> list[RenderableType]:
    """What the quantities cost and take once the prototypes are made."""
    table = table_with(">quantity", ">total, tools with it", ">half in", ">9 in 10 in")
    for one in breaks:
        if (after := one.after_prototypes) is not None:
            table.add_row(
                *cells(f"{one.quantity:,}", money(after.total_payable), f"{after.p50_days} days", f"{after.p90_days} days")
            )
    return section("After the prototypes, days from their release", table) if table.row_count else []


def _days_table(breaks: Sequence[Break]) -> Table:
    """Within how many days half, eight and nine of ten such orders ship, and in how many of them something is made again."""
    table = table_with(">quantity", ">half in", ">8 in 10 in", ">9 in 10 in", ">ships, if ordered that day", ">chance of a remake")
    for one in breaks:
        lead = one.lead_time
        remake = "-" if lead.remake_chance is None else f"{lead.remake_chance:.0%}"
        table.add_row(
            *cells(f"{one.quantity:,}", *in_days(lead.p50_days, lead.p80_days, lead.p90_days), str(lead.ship_date), remake)
        )
    return table


def _deliveries(breaks: Sequence[Break]) -> list[RenderableType]:
    """The parts of an order that are wanted by themselves."""
    table = table_with(">quantity", ">delivered", ">wanted by", ">9 in 10 on", ">as a lot of its own", ">that adds")
    for one in breaks:
        for part in one.deliveries:
            days = (str(part.by or "-"), str(part.of_one_lot.p90), str(part.as_own_lot.p90), money(part.price_effect))
            table.add_row(*cells(f"{one.quantity:,}", f"{part.quantity:,}", *days))
    return section("Deliveries", table) if table.row_count else []


def _deciding(breaks: Sequence[Break]) -> list[RenderableType]:
    """What takes most of the days of the middle quantity, and how often the date hangs on it."""
    asked = middle_quantity([one.quantity for one in breaks])
    lead = next(one.lead_time for one in breaks if one.quantity == asked)
    if not lead.decided_by:
        return []
    table = table_with("part", "what", "at", ">days", ">decides in")
    for one in lead.decided_by:
        table.add_row(*cells(one.part, one.name, one.work_centre or "-", f"{one.days:.1f}", f"{one.share:.0%}"))
    meaning = "Days of the path that is done last, waiting included, on average, and the share of orders whose date hangs on it."
    return [*section(f"What decides the date of {asked:,} pieces", table), Text(meaning)]


def _line_table(breaks: Sequence[Break]) -> Table:
    """Lines down, quantities across, the total under its parts."""
    names = dict.fromkeys(line.name for one in breaks for line in one.lines)
    table = table_with("", *(f">{one.quantity:,}" for one in breaks))
    amounts = [{line.name: line.amount for line in one.lines} for one in breaks]
    for name in names:
        table.add_row(*cells(name, *(money(column[name]) if name in column else "-" for column in amounts)))
    table.add_section()
    table.add_row(*cells("total", *(money(one.total_price) for one in breaks), style="bold"))
    return table


def _risk_table(breaks: Sequence[Break]) -> RenderableType:
    """Cost before overhead: as planned, and below what it stays in half, eight and nineteen of twenty cases."""
    table = table_with(
        ">quantity", ">planned", ">1 in 2 below", ">8 in 10 below", ">19 in 20 below", ">chance of a loss", "varies most with"
    )
    for one in breaks:
        cost = one.unit_cost
        points = [money(point) if point is not None else "-" for point in (cost.planned, cost.p50, cost.p80, cost.p95)]
        loss = "-" if one.loss_chance is None else f"{one.loss_chance:.1%}"
        drivers = ", ".join(f"{operation_words(driver.operation)} {driver.share:.0%}" for driver in one.risk_drivers)
        table.add_row(*cells(str(one.quantity), *points, loss, drivers))
    return table


def _costs_in_time(breaks: Sequence[Break]) -> list[RenderableType]:
    """What a piece costs in those of the orders that are there by the day they are needed."""
    return [
        Text(f"Of the orders for {one.quantity:,} that are in time, 8 in 10 cost below {money(one.unit_cost.p80_in_time)} a piece.")
        for one in breaks
        if one.unit_cost.p80_in_time is not None
    ]


def _start_table(breaks: Sequence[Break]) -> Table:
    parts = dict.fromkeys(part for one in breaks for part in one.start_quantities)
    table = table_with("to deliver", *(f">{one.quantity:,}" for one in breaks))
    for part in parts:
        table.add_row(*cells(part, *(f"{one.start_quantities.get(part, 0):,}" for one in breaks)))
    if any(one.enough_chance is not None for one in breaks):
        table.add_section()
        chances = ("-" if one.enough_chance is None else f"{one.enough_chance:.0%}" for one in breaks)
        table.add_row(*cells("chance that nothing needs remaking", *chances))
    return table


def _element_table(elements: Sequence[QuotedElement]) -> Table:
    table = table_with(
        "element", "glass", "blank, mm", ">blank g", ">finished g", ">operations", "polishing, front", "polishing, back"
    )
    for element in elements:
        blank = element.blank
        table.add_row(
            *cells(
                element.name,
                element.glass,
                f"{blank.form}, {blank.diameter_mm:.1f} x {blank.thickness_mm:.1f}",
                f"{blank.mass_g:.1f}",
                f"{blank.finished_mass_g:.1f}",
                str(len(element.operations)),
                _polishing(element.operations, "front"),
                _polishing(element.operations, "back"),
            )
        )
    return table


def _polishing(operations: Sequence[Operation], face: str) -> str:
    runs = [one for one in operations if one.operation == "polish" and one.face == face]
    return "; ".join(f"{one.batch_min:.0f} min, {one.batch_size} on the block" for one in runs) or "-"


def _tooling_table(tooling: Sequence[Tooling]) -> Table:
    table = table_with("tool", "for", "why", ">charge", ">ready in")
    for tool in tooling:
        table.add_row(*cells(tool.name, tool.part, tool.reason, money(tool.charge), f"{tool.lead_days:g} days"))
    table.add_section()
    table.add_row(*cells("all together", "", "", money(sum((tool.charge for tool in tooling), Decimal(0))), "", style="bold"))
    return table


def _assumed(body: QuoteBody) -> list[RenderableType]:
    """What was not said and taken all the same: in reading what the customer sent, and by the check."""
    lines = [one.rstrip(".") + "." for one in (body.order.assumptions if body.order else ())]
    defaulted = [one for one in body.check.findings if one.code == DEFAULTED]
    if defaulted:
        some = "1 tolerance was" if len(defaulted) == 1 else f"{len(defaulted)} tolerances were"
        lines.append(
            f"{some} not stated and taken as loose, by the defaults of ISO 10110-11: {_by_element(defaulted, body.prescription)}."
        )
    return listed("Assumed, please confirm", lines)


def _findings(findings: Iterable[Finding], prescription: Prescription, *, notes: bool) -> list[RenderableType]:
    every = [one for one in findings if notes or one.code != DEFAULTED]
    shown = [one for one in every if notes or one.severity != "note"]
    defaulted = [one for one in shown if one.code == DEFAULTED]
    several = len(defaulted) > FEW
    lines = []
    for one in shown:
        if several and one.code == DEFAULTED:
            continue
        mark = {"stop": "Stop: ", "care": "", "note": "Note: "}[one.severity]
        remedy = f" What would do: {one.remedy.rstrip('.')}." if one.remedy else ""
        lines.append(f"{mark}{place_of(one.pointer, prescription)}: {one.message.rstrip('.')}.{remedy}")
    if several:
        lines.append(f"Note: {len(defaulted)} tolerances are not stated and take the defaults of ISO 10110-11, which are loose "
                     f"(from memory, check the licensed text): {_by_element(defaulted, prescription)}.")  # fmt: skip
    left = len(every) - len(shown)
    if left:
        lines.append(f"And {left} {'note' if left == 1 else 'notes'}; see them with --json or blankwright check.")
    return listed("To look at", lines)


def _by_element(findings: Iterable[Finding], prescription: Prescription) -> str:
    """Where findings stand, the places of one element together."""
    places: dict[str, list[str]] = {}
    for one in findings:
        place = place_of(one.pointer, prescription)
        places.setdefault(place.part, []).append(place.of_it)
    return "; ".join(f"{part}: {', '.join(of_it)}" for part, of_it in places.items())


__all__ = ["check_page", "console_for", "quote_page"]
