"""The cutting plan as one would chalk it on the slab: for each plate, which discs of which elements lie where."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from services.glass.domain.blank.options import PLATE_FORMS, BlankOption
from services.glass.domain.cutting.picture import PlateText, plate_svg, utilisation
from services.glass.domain.cutting.seats import Kind, template_of
from services.glass.domain.layouts.equal import Disc, Layout, best_round_layout
from shared_schemas.blanks import DiscsOfElement, PlatePlan


@dataclass(frozen=True)
class Cut:
    """How one element is cut: its option at the thickness of its plate, blanks wanted, elements that come out of the same plates."""

    option: BlankOption
    blanks: int
    others: tuple[str, ...]


def plates_of_glass(cuts: Sequence[Cut]) -> tuple[PlatePlan, ...]:
    """Every kind of plate that the elements of one glass are cored out of, with its picture."""
    classes: dict[tuple[str, tuple[str, ...]], list[Cut]] = {}
    for cut in cuts:
        if cut.option.stock.form in PLATE_FORMS:
            names = tuple(sorted((cut.option.element.name, *cut.others)))
            classes.setdefault((cut.option.stock.name, names), []).append(cut)
    rectangular = (
        plate
        for alike in classes.values()
        for plate in _plates_alike(alike[0].option, laid_out(kinds=[Kind.of(cut.option) for cut in alike], number=alike[0].blanks))
    )
    slices = (plate for cut in cuts if cut.option.stock.form == "disc" for plate in _plates_alike(cut.option, _slices(cut)))
    return (*rectangular, *slices)


def _slices(cut: Cut) -> Iterable[Layout]:
    """Round slices of a sawn disc for the blanks of one element; the last may have seats left over."""
    option = cut.option
    full = best_round_layout(
        slice_mm=option.stock.diameter_mm or option.shape.diameter_mm,
        diameter_mm=option.shape.diameter_mm,
        gap_mm=option.allowances.gap_mm,
        edge_margin_mm=option.allowances.clear_edge_mm,
        owner=option.element.name,
    )
    for done in range(0, cut.blanks, len(full.discs)):
        yield replace(full, discs=full.discs[: cut.blanks - done])


def _plates_alike(option: BlankOption, layouts_of_all: Iterable[Layout]) -> Iterable[PlatePlan]:
    """Plates cored alike, each kind once, with its picture."""
    stock = option.stock
    mass_g = option.piece_mass_g * option.shape.thickness_mm / (stock.thickness_mm or option.shape.thickness_mm)
    alike: dict[tuple[tuple[str, int], ...], list[Layout]] = {}
    for layout in layouts_of_all:
        counts = tuple(sorted(Counter(disc.owner for disc in layout.discs).items()))
        alike.setdefault(counts, []).append(layout)
    for counts, layouts in alike.items():
        text = PlateText(
            title=f"{stock.name}: {'slice' if layouts[0].is_round else 'plate'} for {', '.join(name for name, _ in counts)}",
            thickness_mm=option.shape.thickness_mm,
            kerf_mm=option.allowances.core_kerf.allowance_mm,
            plate_mass_g=mass_g,
        )
        yield PlatePlan(
            glass=stock.glass,
            stock=stock.name,
            thickness_mm=option.shape.thickness_mm,
            plates=len(layouts),
            discs=tuple(DiscsOfElement(element=name, discs=number) for name, number in counts),
            utilisation=utilisation(layout=layouts[0]),
            mass_g=mass_g,
            svg=plate_svg(layout=layouts[0], text=text),
        )


def laid_out(*, kinds: Sequence[Kind], number: int) -> tuple[Layout, ...]:
    """Plates with `number` discs of every kind in them, as many plates as `plates_for` counts.

    Notes: largest discs first. A kind takes the seats that larger ones left, then plates of its own; in the gaps of a full
    plate the kind that fits them.
    """
    plates: list[tuple[Layout, list[Disc]]] = []
    free: list[tuple[int, Disc]] = []
    gaps: list[tuple[int, Disc]] = []
    by_size = sorted(kinds, key=lambda kind: (-kind.diameter_mm, kind.owner))
    for place, kind in enumerate(by_size):
        free += [seat for seat in gaps if seat[1].owner == kind.owner]
        left = number - len(free)
        for plate, seat in free[:number]:
            gap = max(seat.gap_mm, kind.gap_mm)
            plates[plate][1].append(replace(seat, diameter_mm=kind.diameter_mm, gap_mm=gap, owner=kind.owner))
        free = free[number:]
        while left > 0:
            template = template_of(kind=kind, smaller=by_size[place + 1 :])
            own = [disc for disc in template.discs if disc.owner == kind.owner]
            others = [disc for disc in template.discs if disc.owner != kind.owner]
            plates.append((template, own[:left]))
            here = len(plates) - 1
            free += [(here, disc) for disc in own[left:]]
            gaps += [(here, disc) for disc in others] if left >= len(own) else []
            left -= len(own)
    return tuple(replace(template, discs=tuple(discs)) for template, discs in plates)
