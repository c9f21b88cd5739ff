"""What is cleaned when: one line for each occasion, told apart by its method."""

from __future__ import annotations

from functools import lru_cache
from typing import Literal

from services.optics.law import decided, figure_of, given
from services.process.domain.route.lines import Line, Minutes, Work, counted_min, line
from services.process.domain.route.work_centres import choose_centre
from shared_schemas.figure import Figure
from shared_schemas.operations import Face
from shared_schemas.rates import InForce, Rates

Occasion = Literal[
    "wax off", "between faces", "lacquer off", "before coating", "after coating", "before cementing", "before assembly"
]

DONE_BY: dict[Occasion, str] = {
    "wax off": "solvent",
    "between faces": "solvent",
    "lacquer off": "solvent",
    "before coating": "",
    "after coating": "",
    "before cementing": "",
    "before assembly": "wiped",
}
"""How each is done: in a bath of solvent, on the cleaning line, or wiped by hand; common practice."""


def wash(occasion: Occasion, rates: Rates, *, face: Face | None = None, parts: int = 1) -> Line:
    """Cleaning on an occasion of a route, `parts` at a time for each piece that comes of them."""
    return _washed(occasion, face, parts, InForce(rates))


@lru_cache(maxsize=256)
def _washed(occasion: Occasion, face: Face | None, parts: int, in_force: InForce) -> Line:
    """A line of cleaning; it rests on the rates alone, and so is remembered."""
    by, rates = DONE_BY[occasion], in_force.rates
    if parts == 1:
        return line("clean", rates, face=face, method=occasion, done_by=by)
    choice = choose_centre(rates, "clean", by)
    centre = choice.row
    further = parts - 1

    def why() -> Figure:
        each, count = given("minutes", centre.load_min_per_piece, "min"), given("count", further, source=OF_ONE)
        return figure_of(
            counted_min, name="further parts", unit="min", rate_row=Rates.ref("work_centres", centre), minutes=each, count=count
        )

    size = None if centre.rack_pieces is None else max(centre.rack_pieces // parts, 1)
    work = Work(
        of_piece=Minutes(counted_min(minutes=centre.load_min_per_piece, count=further), why),
        batch_size=size,
        why_size=lambda: decided(
            "batch_size", size or 1, f"the rack is shared by {parts} parts of each", rate_row=Rates.ref("work_centres", centre)
        ),
    )
    return line("clean", rates, work, face=face, method=occasion, done_by=by, at=choice)


OF_ONE = "the drawing: parts of one lens beyond the first"
