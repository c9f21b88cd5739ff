"""How much work a request is: it grows with what it is made of, and what is said to fit does."""

from __future__ import annotations

from itertools import pairwise

import pytest

from services.quoting.errors import TooMuchWork
from services.quoting.service.work import estimated_s, refuse_too_much_work, work_of
from shared_schemas.quote_request import QuoteRequest
from tests.bench.lenses import chain_of_lenses


def request(elements: int, quantities: int) -> QuoteRequest:
    return QuoteRequest(prescription=chain_of_lenses(elements), quantities=tuple(range(1, quantities + 1)))


def test_more_elements_and_more_quantities_are_more_work() -> None:
    seconds = [[estimated_s(elements, quantities) for quantities in (1, 5, 20)] for elements in (1, 3, 14, 60)]
    assert all(fewer < more for row in seconds for fewer, more in pairwise(row))
    assert all(fewer < more for column in zip(*seconds, strict=True) for fewer, more in pairwise(column))


@pytest.mark.parametrize(("elements", "quantities"), [(60, 20), (60, 3), (30, 20)])
def test_what_would_do_is_the_most_that_does(elements: int, quantities: int) -> None:
    asked = request(elements, quantities)
    with pytest.raises(TooMuchWork) as refused:
        refuse_too_much_work(asked, most_s=20.0)
    for error in refused.value.errors:
        assert isinstance(error.limit, int)
        of_less = {"/quantities": (elements, error.limit), "/prescription/elements": (error.limit, quantities)}[error.pointer]
        of_one_more = {"/quantities": (elements, error.limit + 1), "/prescription/elements": (error.limit + 1, quantities)}[
            error.pointer
        ]
        assert estimated_s(*of_less) <= 20.0 < estimated_s(*of_one_more)


def test_a_usual_lens_is_little_work_and_is_not_refused() -> None:
    assert work_of(request(3, 3)) < 1.0
    refuse_too_much_work(request(14, 6), most_s=45.0)
