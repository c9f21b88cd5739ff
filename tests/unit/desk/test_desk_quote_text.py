"""What a person reads of a quote."""

from __future__ import annotations

import io
from datetime import date
from decimal import Decimal

import pytest
from rich.console import Console

from services.desk.texts.quote import check_page, console_for, quote_page
from shared_schemas.check import CheckReport, Finding
from shared_schemas.lead_times import Deciding, Expedite
from shared_schemas.order_terms import OrderTerms
from shared_schemas.quote import Quote
from shared_schemas.quote_request import QuoteRequest


def printed(page: object) -> str:
    out = io.StringIO()
    console_for(out).print(page)
    return out.getvalue()


def row(text: str, start: str) -> list[str]:
    """The cells of the line that starts so, parted where two blanks are."""
    line = next(line for line in text.splitlines() if " ".join(line.split()).startswith(start))
    return [cell.strip() for cell in line.split("  ") if cell.strip()]


def test_a_ready_quote_says_what_how_much_and_when(ready_quote: Quote) -> None:
    text = printed(quote_page(ready_quote))
    assert "Quote BW-7, revision 1: ready" in text
    assert "rate revision 4" in text
    assert "valid until 2026-12-30" in text
    assert "focal length 80.02 mm, f/3.20, back focus 78.46 mm" in text
    assert row(text, "25 987") == ["25", "987.65", "24,691.25", "25,781.25"]
    assert row(text, "25 43 days") == ["25", "43 days", "-", "58 days", "2027-01-14", "-"]


def with_dates(quote: Quote, **changes: object) -> Quote:
    assert quote.breaks is not None
    return quote.model_copy(
        update={
            "breaks": tuple(one.model_copy(update={"lead_time": one.lead_time.model_copy(update=changes)}) for one in quote.breaks)
        }
    )


def test_what_decides_the_date_is_told_with_its_days_and_how_often_and_the_chance_of_a_remake_beside_the_days(
    ready_quote: Quote,
) -> None:
    glass = Deciding(kind="delivery", name="glass N-SF5", part="L5", share=0.25, days=2.48)
    polish = Deciding(kind="operation", name="polish back", part="L2", work_centre="spindles", share=1.0, days=9.0)
    text = printed(quote_page(with_dates(ready_quote, p80_days=50, remake_chance=0.137, decided_by=(polish, glass))))
    assert "What decides the date of 5 pieces" in text
    assert row(text, "L2 polish back") == ["L2", "polish back", "spindles", "9.0", "100%"]
    assert row(text, "L5 glass") == ["L5", "glass N-SF5", "-", "2.5", "25%"]
    assert row(text, "25 43 days") == ["25", "43 days", "50 days", "58 days", "2027-01-14", "14%"]


def test_no_amount_and_no_day_is_broken_on_a_terminal_of_eighty_columns(ready_quote: Quote) -> None:
    breaks = ready_quote.breaks or ()
    offer = Expedite(
        p50_days=120, p80_days=130, p90_days=140, ship_date=date(2027, 4, 1), days_saved=109, cost=Decimal("1234567.50"), lines=()
    )
    dear = breaks[0].model_copy(
        update={"quantity": 100_000, "unit_price": Decimal("99999.95"), "total_price": Decimal("9999995000.00"), "expedite": offer}
    )
    quote = with_dates(
        ready_quote.model_copy(update={"breaks": (dear,)}), p50_days=1120, p80_days=1130, p90_days=1140, remake_chance=0.1
    )
    out = io.StringIO()
    Console(file=out, width=80, highlight=False, markup=False, emoji=False).print(quote_page(quote))
    text = out.getvalue()
    assert max(len(line) for line in text.splitlines()) <= 80
    whole = (
        "100,000",
        "99,999.95",
        "9,999,995,000.00",
        "1,120 days",
        "1,130 days",
        "1,140 days",
        "2027-01-14",
        "1,234,567.50",
        "130 days",
        "2027-04-01",
    )
    assert [figure for figure in whole if figure not in text] == []


def test_price_lines_stand_under_their_quantity_and_an_absent_one_is_a_dash(ready_quote: Quote) -> None:
    text = printed(quote_page(ready_quote))
    assert row(text, "glass 1")[1:] == ["172.80", "691.25"]
    assert row(text, "minimum order") == ["minimum order", "6,000.00", "-"]
    assert row(text, "total 6") == ["total", "6,172.80", "24,691.25"]


def test_an_element_shows_its_blank_and_its_polishing(ready_quote: Quote) -> None:
    cells = row(printed(quote_page(ready_quote)), "L1 N-SK5")
    assert cells == ["L1", "N-SK5", "slab, 34.5 x 12.4", "38.2", "13.2", "3", "62 min, 7 on the block", "48 min, 31 on the block"]


def test_tools_are_added_up_and_care_comes_before_notes(ready_quote: Quote) -> None:
    text = printed(quote_page(ready_quote))
    assert row(text, "all together") == ["all together", "1,090.00"]
    assert "L5 back radius: The face is steep. What would do: a flatter face." in text
    assert "It takes the default" not in text
    assert "And 1 note" in text
    assert "N-SF2 swarf is kept wet." in text


def test_what_was_assumed_is_told_before_what_asks_for_a_look(ready_quote: Quote) -> None:
    assert ready_quote.check is not None
    taken = [
        Finding(code="tolerance-defaulted", severity="note", pointer=pointer, message="It takes the default.")
        for pointer in ("/elements/0/front/form", "/elements/0/back/form", "/elements/1/tolerances/centring")
    ]
    check = ready_quote.check.model_copy(update={"findings": (*ready_quote.check.findings, *taken)})
    order = OrderTerms(assumptions=("all lengths in inch (no unit is said)",))
    text = printed(quote_page(ready_quote.model_copy(update={"order": order, "check": check})))
    assert text.index("Assumed, please confirm") < text.index("all lengths in inch") < text.index("To look at")
    defaults = (
        "3 tolerances were not stated and taken as loose, by the defaults of ISO 10110-11: L1: front form, back form; L2: centring."
    )
    assert defaults in " ".join(text.split())
    assert "And 1 note;" in text, "what has been told is no note any more"


def test_text_of_a_customer_is_never_markup_and_a_file_gets_no_colours(ready_quote: Quote) -> None:
    text = printed(quote_page(ready_quote))
    assert "for [bold]Vinterholm[/bold]" in text
    assert "\x1b" not in text


def test_a_terminal_gets_colours(ready_quote: Quote, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)

    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    out = Terminal()
    console_for(out).print(quote_page(ready_quote))
    assert "\x1b[" in out.getvalue()


def test_a_refused_quote_gives_every_reason_with_figure_limit_and_remedy(refused_quote: Quote) -> None:
    text = printed(quote_page(refused_quote))
    assert "refused" in text
    assert "the edge is a knife (-0.4; limit 1). What would do: 1.4 mm more." in text


def test_an_unfinished_quote_says_so(refused_quote: Quote) -> None:
    waiting = refused_quote.model_copy(update={"status": "planning_blanks", "problem": None})
    text = printed(quote_page(waiting))
    assert "planning blanks" in text
    assert "still in progress" in text


def test_a_check_report_shows_notes_too(demo_request: QuoteRequest, report: CheckReport) -> None:
    text = printed(check_page(demo_request.prescription, report))
    assert "It can be made, with care." in text
    assert "Note: L1 front texture: It takes the default." in text
    assert row(text, "L1 N-SK5") == ["L1", "N-SK5", "8.10", "13.2", "8.9", "1.05"]


def test_the_page_says_what_its_figures_leave_out(ready_quote: Quote) -> None:
    text = " ".join(printed(quote_page(ready_quote)).split())
    assert "Tools are not in the prices: 1,090.00 USD are charged once" in text
    assert "overhead, contingency, margin and tools are not in it" in text
    spread = printed(quote_page(ready_quote.model_copy(update={"tooling_terms": "spread"})))
    assert "Tools are not in the prices" not in spread
    assert "with tools" not in spread


def test_the_chance_that_nothing_is_made_again_stands_with_the_pieces_to_start(ready_quote: Quote) -> None:
    assert ready_quote.breaks is not None
    breaks = tuple(one.model_copy(update={"enough_chance": 0.719}) for one in ready_quote.breaks)
    text = printed(quote_page(ready_quote.model_copy(update={"breaks": breaks, "confidence": 0.99999})))
    assert row(text, "chance that") == ["chance that nothing needs remaking", "72%", "72%"]
    assert "99.999% confidence" in " ".join(text.split())


def test_a_refused_quote_says_its_day_and_rates(refused_quote: Quote) -> None:
    assert "Requested on 2026-11-30, with rate revision 4." in printed(quote_page(refused_quote))
