from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from services.glass.domain.blank.options import BlankOption, option_for
from services.glass.domain.buying.groups import PLATE_FORMS
from services.glass.domain.buying.joint import buy_together
from services.glass.domain.buying.lots import cheapest_lots, cost_of
from services.glass.errors import BlanksForNoElement, CheckOfAnotherLens
from services.optics.body import body
from shared_schemas.blanks import JointPurchases
from shared_schemas.by_hand import BuyTogether, LensToBuyFor
from shared_schemas.check import CheckReport
from shared_schemas.prescription import Element, IndexGlass
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job, Refusal

Makes = Callable[..., Element]
Checks = Callable[..., CheckReport]
Jobs = Callable[..., Job]


@pytest.fixture(scope="session")
def lens_of(check_of: Checks, job_of: Jobs) -> Callable[..., LensToBuyFor]:
    def made(name: str, elements: list[Element], **blanks: int) -> LensToBuyFor:
        return LensToBuyFor(name=name, prescription=job_of(elements).request.prescription, check=check_of(elements), blanks=blanks)

    return made


def bought(lenses: list[LensToBuyFor], rates: Rates) -> JointPurchases:
    found = buy_together(lenses=lenses, rates=rates)
    assert isinstance(found, JointPurchases)
    return found


def test_two_quotes_of_one_glass_share_a_slab(element: Makes, lens_of: Callable[..., LensToBuyFor], rates: Rates) -> None:
    one = lens_of("Q-1", [element("L1", diameter_mm=40.0)], L1=4)
    two = lens_of("Q-2", [element("L1", diameter_mm=18.0, centre_thickness_mm=4.0)], L1=6)
    found = bought([one, two], rates)
    (glass,) = found.glasses
    assert glass.cost < glass.cost_apart
    assert found.saving == glass.cost_apart - glass.cost > 0
    assert sum(line.pieces for line in glass.purchases) == 1
    assert glass.purchases[0].members == ("Q-1 L1", "Q-2 L1")
    assert set(glass.shares) == {"Q-1", "Q-2"}


def test_glasses_that_nobody_else_wants_cost_as_before(element: Makes, lens_of: Callable[..., LensToBuyFor], rates: Rates) -> None:
    found = bought([lens_of("Q-1", [element("L1")], L1=9), lens_of("Q-2", [element("L1", glass="N-SF2")], L1=9)], rates)
    assert [glass.glass for glass in found.glasses] == ["N-BK7", "N-SF2"]
    assert found.saving == 0


def test_the_same_lens_quoted_twice_buys_as_one_larger_order(
    element: Makes, lens_of: Callable[..., LensToBuyFor], rates: Rates
) -> None:
    drawn = element("L1")
    found = bought([lens_of("Q-1", [drawn], L1=300), lens_of("Q-2", [drawn], L1=500)], rates)
    rows = [row for row in rates.stock_forms if row.glass == "N-BK7"]
    ways = [option_for(element=drawn, finished=body(element=drawn), stock=row, density_g_cm3=2.51, rates=rates) for row in rows]
    sources = [way.source for way in ways if isinstance(way, BlankOption)]
    as_one = cost_of(lots=cheapest_lots(sources=sources, up_to_blanks=800, minor_units=2), blanks=800)
    assert found.cost == as_one < found.cost_apart


@settings(max_examples=20, deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from([9.0, 18.0, 25.0, 40.0]), st.sampled_from([4.0, 6.0, 9.0]), st.integers(1, 60)),
        min_size=2,
        max_size=5,
    ),
    st.sampled_from([0, 1, 2]),
)
def test_together_is_never_dearer_and_the_shares_add_up(
    element: Makes, lens_of: Callable[..., LensToBuyFor], rates: Rates, drawn: list[tuple[float, float, int]], owned: int
) -> None:
    stock = tuple(row.model_copy(update={"owned_pieces": owned}) if row.form in PLATE_FORMS else row for row in rates.stock_forms)
    with_store = rates.model_copy(update={"stock_forms": stock})
    lenses = [
        lens_of(f"Q-{place}", [element("L1", diameter_mm=diameter, centre_thickness_mm=thickness)], L1=blanks)
        for place, (diameter, thickness, blanks) in enumerate(drawn)
    ]
    (glass,) = bought(lenses, with_store).glasses
    assert glass.cost <= glass.cost_apart
    assert sum(glass.shares.values(), Decimal(0)) == glass.cost
    assert {name for line in glass.purchases for name in line.members} == {f"{lens.name} L1" for lens in lenses}
    for row in stock:
        taken = sum(line.pieces for line in glass.purchases if line.owned and line.stock == row.name)
        assert taken <= row.owned_pieces


def test_what_cannot_be_bought_is_refused_with_the_lens_it_is_of(
    element: Makes, lens_of: Callable[..., LensToBuyFor], rates: Rates
) -> None:
    unknown = lens_of("Q-2", [element("L1", glass=IndexGlass(nd=1.6, vd=50.0))], L1=3)
    found = buy_together(lenses=[lens_of("Q-1", [element("L1")], L1=3), unknown], rates=rates)
    assert isinstance(found, Refusal)
    assert [reason.pointer for reason in found.reasons] == ["/lenses/1/prescription/elements/0/glass"]


def test_blanks_of_no_element_and_reports_of_another_lens_are_named(
    element: Makes, lens_of: Callable[..., LensToBuyFor], check_of: Checks, rates: Rates
) -> None:
    with pytest.raises(BlanksForNoElement, match="Blanks of L9 are wanted for Q-1, which has L1"):
        buy_together(lenses=[lens_of("Q-1", [element("L1")], L9=3)], rates=rates)
    other = lens_of("Q-1", [element("L1")], L1=3).model_copy(update={"check": check_of([element("L2")])})
    with pytest.raises(CheckOfAnotherLens):
        buy_together(lenses=[other], rates=rates)


def test_two_lenses_of_one_name_are_no_request(element: Makes, lens_of: Callable[..., LensToBuyFor]) -> None:
    lens = lens_of("Q-1", [element("L1")], L1=3)
    with pytest.raises(ValidationError, match="two lenses are called Q-1"):
        BuyTogether(lenses=(lens, lens))


def test_a_glass_bought_in_several_forms_comes_with_the_last_of_them(
    element: Makes, lens_of: Callable[..., LensToBuyFor], rates: Rates
) -> None:
    of_glass = [row for row in rates.stock_forms if row.glass == "N-BK7"]
    pressing = next(row for row in of_glass if row.form == "pressing").model_copy(update={"lead_days": 44.0})
    rods = [row.model_copy(update={"lead_days": 9.0}) for row in of_glass if row.form == "rod"]
    rows = (*(row for row in rates.stock_forms if row.glass != "N-BK7"), pressing, *rods)
    slow = Rates.model_construct(**{name: getattr(rates, name) for name in Rates.model_fields} | {"stock_forms": rows})
    wide = lens_of("Q-1", [element("L1", diameter_mm=80.0, centre_thickness_mm=12.0)], L1=2)
    narrow = lens_of("Q-2", [element("L1", diameter_mm=4.0, centre_thickness_mm=1.5)], L1=3)
    (glass,) = bought([wide, narrow], slow).glasses
    days = {slow.stock_form(line.stock).lead_days for line in glass.purchases}
    assert len(days) > 1
    assert glass.lead_days == max(days)
