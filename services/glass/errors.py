"""What can go wrong with glass.

Explained
└── GlassError
    ├── SizeImpossible         a size or a distance that no piece of glass has
    ├── StockFormIncomplete    a stock row without the sizes that its form has
    ├── CheckOfAnotherLens     the check report is not of the prescription that came with it
    ├── BlanksForNoElement     blanks are wanted of an element that the lens does not have
    └── BlanksRefused          a plan asked for by hand ends in a refusal
"""

from __future__ import annotations

from collections.abc import Sequence

from shared_schemas.check import Finding
from shared_schemas.problem import Explained, ProblemDetail


class GlassError(Explained):
    """Anything this service refuses."""


class SizeImpossible(GlassError):
    """A size or a distance that no piece of glass has."""

    def __init__(self, what: str, figure_mm: float, limit: str) -> None:
        self.what = what
        self.figure_mm = figure_mm
        self.limit = limit
        super().__init__(
            f"The {what} is {figure_mm:g} mm and must be {limit}.",
            ProblemDetail(pointer="", reason=f"the {what} cannot be", figure=figure_mm, limit=limit, remedy=f"a {what} {limit}"),
        )


class StockFormIncomplete(GlassError):
    """A stock row without the sizes that its form has."""

    def __init__(self, row: str, form: str, missing: tuple[str, ...]) -> None:
        self.row = row
        self.form = form
        self.missing = missing
        names = " and ".join(missing)
        super().__init__(
            f"The row {row} of stock_forms is a {form} and lacks {names}. Fill it in and quote again.",
            ProblemDetail(
                pointer="/stock_forms", reason=f"{row} lacks {names}", limit=f"a {form} has {names}", remedy=f"fill in {names}"
            ),
        )


class CheckOfAnotherLens(GlassError):
    """The check report is not of the prescription that came with it."""

    def __init__(self, checked: tuple[str, ...], drawn: tuple[str, ...]) -> None:
        self.checked = checked
        self.drawn = drawn
        super().__init__(
            f"The check report speaks of {', '.join(checked) or 'no element'}, the prescription has {', '.join(drawn)}.",
            ProblemDetail(
                pointer="/check/elements", reason="the elements differ from those of the prescription", figure=", ".join(checked),
                limit=", ".join(drawn), remedy="send the report that the check of this prescription gave",
            ),
        )  # fmt: skip


class BlanksForNoElement(GlassError):
    """Blanks are wanted of an element that the lens does not have."""

    def __init__(self, lens: str, element: str, place: int, drawn: tuple[str, ...]) -> None:
        self.lens = lens
        self.element = element
        super().__init__(
            f"Blanks of {element} are wanted for {lens}, which has {', '.join(drawn)}.",
            ProblemDetail(
                pointer=f"/lenses/{place}/blanks", reason="the lens has no such element", figure=element, limit=", ".join(drawn),
                remedy="a name that stands in its prescription",
            ),
        )  # fmt: skip


class BlanksRefused(GlassError):
    """A plan asked for by hand ends in a refusal; every reason is a detail."""

    def __init__(self, reasons: Sequence[Finding]) -> None:
        self.reasons = tuple(reasons)
        super().__init__(
            f"The blanks cannot be planned. {reasons[0].message}",
            *(
                ProblemDetail(
                    pointer=reason.pointer, reason=reason.message, figure=reason.figure, limit=reason.limit, remedy=reason.remedy
                )
                for reason in reasons
            ),
        )
