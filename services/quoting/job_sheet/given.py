"""What a job sheet is made of: a ready quote, one of its quantities worked out again, and how its figures are written."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from services.quoting.costs.cost import OperationCost
from services.quoting.pricing.evaluation import Evaluation
from services.quoting.sheet import Head
from services.quoting.sheet.language import Language
from shared_schemas.estimate import EstimatedOperation, EstimateQuantity
from shared_schemas.figure import Figure
from shared_schemas.operations import OwnedTool
from shared_schemas.quote import Break, QuoteBody


@dataclass(frozen=True)
class Given:
    """A quantity of a ready quote. `planned` is what an ERP gets of it, `evaluation` what its price was made of, `alike` gives for an
    element the first of its kind, with which it is one lot; `rates_of` is the day of the rate revision, `waits_for_approval` whether
    nobody has yet been its second key."""

    head: Head
    body: QuoteBody
    price_break: Break
    planned: EstimateQuantity
    evaluation: Evaluation
    tools_owned: Sequence[OwnedTool]
    alike: Mapping[str, str]
    rates_of: date
    waits_for_approval: bool = False

    def lines(self, part: str) -> Iterator[tuple[EstimatedOperation, OperationCost]]:
        """The operations of a part in the order they are done: as an ERP gets them, and as they are costed."""
        own = (line for line in self.planned.operations if line.part == part)
        yield from zip(own, self.evaluation.operations[part], strict=True)

    def lot_of(self, part: str) -> str:
        """A part with those that are made with it: `L1, L3`."""
        return ", ".join((part, *(name for name, first in self.alike.items() if first == part)))


def found(figures: Sequence[Figure], *names: str) -> Figure | None:
    """The first of these figures or of what went into them that has one of the names, the nearest to the top."""
    level = list(figures)
    while level:
        for figure in level:
            if figure.name in names:
                return figure
        level = [inner for figure in level for inner in figure.inputs]
    return None


def number_of(figures: Sequence[Figure], *names: str) -> float | None:
    """The value of a figure of one of these names as a number; `None` where there is none."""
    figure = found(figures, *names)
    return None if figure is None or isinstance(figure.value, str) else float(figure.value)


def minutes(said: Language, figure: float) -> str:
    """Minutes as a foreman reads them; nothing for none."""
    return said.figure(figure, form=".1f" if figure >= 10 else ".2f") if figure else "–"
