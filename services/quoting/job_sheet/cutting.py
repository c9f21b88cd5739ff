"""How blanks come out of their stock: discs in a plate as they are laid out, and plates in the depth of a slab, to scale."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from services.quoting.job_sheet.gallery import Captioned, Gallery, JobSection
from services.quoting.job_sheet.given import Given, number_of
from services.quoting.sheet.language import Language
from services.quoting.sheet.parts import Paragraph, Picture, Points, Table
from services.quoting.sheet.svg import number, written
from services.shop.layout.circles_in_circle import circles_in_circle
from services.shop.layout.discs_in_plate import discs_in_plate
from services.shop.layout.room import pitch_mm, room_mm
from shared_schemas.blanks import Blank
from shared_schemas.rate_rows_of_glass import StockFormRow

VIEW_WIDTH = 240.0
APART = 10.0
"""Between plate and slab in the picture."""
STYLE = (
    ".cutting .plate{fill:#fff;stroke:#1c1c1c;stroke-width:1.2}.cutting .margin{fill:none;stroke:#55636b;stroke-width:.7;"
    "stroke-dasharray:4 3}.cutting .disc{fill:#dfe5e8;stroke:#1c1c1c;stroke-width:.8}"
)
HEADS = ("Element", "Glass", "Form", "Stock", ">⌀ × thickness, mm", ">Blanks", ">g each", ">kg")
MATERIAL_HEADS = ("Bought", "For", "Size, mm", ">Pieces", ">kg", "From", "Order by", ">Cost")


@dataclass(frozen=True)
class Cut:
    """A plate or a slice with its discs, and how many of them lie in the depth of a piece; sizes in mm, places from a corner."""

    length_mm: float
    width_mm: float
    is_round: bool
    margin_mm: float
    gap_mm: float
    diameter_mm: float
    centres: tuple[tuple[float, float], ...]
    depth_mm: float
    skin_mm: float
    kerf_mm: float
    thickness_mm: float
    plates: int

    @property
    def lies(self) -> bool:
        """Whether the piece is longer than it is wide, as a rod is, and is drawn lying."""
        return self.depth_mm > self.width_mm


def cut_of(blank: Blank, stock: StockFormRow) -> Cut | None:
    """How a blank is cut out of its row of the stock, from the figures that it rests on.

    `None` for a pressing, and for one that shares its plates with others, which lie in it as the glass is bought.
    """
    gap, margin = number_of(blank.basis, "gap_mm") or 0.0, number_of(blank.basis, "clear_edge_mm") or 0.0
    in_depth = next((figure.inputs for figure in blank.basis if figure.name == "plates_per_slab"), ())
    depth, skin, kerf = (number_of(in_depth, name) or 0.0 for name in ("depth_mm", "skin_mm", "kerf_mm"))
    is_round = stock.form in ("disc", "rod")
    length = (stock.diameter_mm if is_round else stock.length_mm) or 0.0
    width = length if is_round else stock.width_mm or 0.0
    if blank.form == "pressing" or not length or not width:
        return None
    centres = _centres(blank, length, width, gap, margin, is_round=is_round)
    if len(centres) != blank.discs_per_plate:
        return None
    return Cut(
        length,
        width,
        is_round,
        margin,
        gap,
        blank.diameter_mm,
        centres,
        depth,
        skin,
        kerf,
        blank.thickness_mm,
        blank.plates_per_slab,
    )


def _centres(
    blank: Blank, length: float, width: float, gap: float, margin: float, *, is_round: bool
) -> tuple[tuple[float, float], ...]:
    if blank.discs_per_plate == 1:
        return ((length / 2, width / 2),)
    pitch = pitch_mm(diameter_mm=blank.diameter_mm, gap_mm=gap)
    along, across = (room_mm(side_mm=side, diameter_mm=blank.diameter_mm, margin_mm=margin) for side in (length, width))
    if is_round:
        return tuple(
            (length / 2 + x * pitch, width / 2 + y * pitch) for x, y in circles_in_circle(ratio=along / pitch + 1).centres.tolist()
        )
    _, centres = discs_in_plate(room_length_mm=along, room_width_mm=across, pitch_mm=pitch)
    off = margin + blank.diameter_mm / 2
    return tuple((off + one.x_mm, off + one.y_mm) for one in centres)


def cutting_svg(cut: Cut, title: str, words: str) -> str:
    """Plate from above and piece from the side as SVG, on one scale."""
    scale = VIEW_WIDTH / max(cut.length_mm, cut.width_mm, cut.depth_mm)
    wide, tall = max(cut.length_mm, cut.depth_mm) * scale + 4, cut.width_mm * scale
    height = tall + 4 + APART + (cut.width_mm if cut.lies else cut.depth_mm) * scale
    return "\n".join((
        f'<svg xmlns="http://www.w3.org/2000/svg" class="cutting" viewBox="0 0 {number(wide)} {number(height)}" width="{number(wide)}" height="{number(height)}" role="img">',
        f"<title>{written(title)}</title><desc>{written(words)}</desc>",
        f"<style>{STYLE}</style>",
        '<g transform="translate(2 2)">',
        *_plate(cut, scale),
        *_from_the_side(cut, scale, tall + APART),
        "</g>",
        "</svg>\n",
    ))  # fmt: skip


def _plate(cut: Cut, scale: float) -> Iterator[str]:
    if cut.is_round:
        middle = cut.length_mm / 2 * scale
        for kind, radius in (("plate", middle), ("margin", middle - cut.margin_mm * scale)):
            yield f'<circle class="{kind}" cx="{number(middle)}" cy="{number(middle)}" r="{number(radius)}"/>'
    else:
        for kind, margin in (("plate", 0.0), ("margin", cut.margin_mm)):
            yield _rectangle(
                kind, margin * scale, margin * scale, (cut.length_mm - 2 * margin) * scale, (cut.width_mm - 2 * margin) * scale
            )
    for x, y in cut.centres:
        yield f'<circle class="disc" cx="{number(x * scale)}" cy="{number((cut.width_mm - y) * scale)}" r="{number(cut.diameter_mm / 2 * scale)}"/>'


def _from_the_side(cut: Cut, scale: float, top: float) -> Iterator[str]:
    """The piece across its depth with the plates that are sawn off it; a rod lies, a slab stands on its face."""
    long, high = (cut.depth_mm, cut.width_mm) if cut.lies else (cut.length_mm, cut.depth_mm)
    yield _rectangle("plate", 0.0, top, long * scale, high * scale)
    for place in range(cut.plates):
        start = (cut.skin_mm + place * (cut.thickness_mm + cut.kerf_mm)) * scale
        if cut.lies:
            yield _rectangle("disc", start, top, cut.thickness_mm * scale, high * scale)
        else:
            yield _rectangle("disc", 0.0, top + start, long * scale, cut.thickness_mm * scale)


def _rectangle(kind: str, x: float, y: float, wide: float, high: float) -> str:
    return (
        f'<rect class="{kind}" x="{number(x)}" y="{number(y)}" width="{number(max(wide, 0.0))}" height="{number(max(high, 0.0))}"/>'
    )


def cutting(given: Given, said: Language) -> JobSection | None:
    """Blanks, how they are cut, and the glass that is bought for them."""
    if not given.planned.blanks:
        return None
    captioned, words = [], []
    for one in given.planned.blanks:
        blank = given.evaluation.made.blanks[one.part]
        cut = cut_of(blank, given.evaluation.plans.rates.stock_form(blank.stock))
        if cut is not None:
            captioned.append(_captioned(given.lot_of(one.part), blank, cut, said))
        elif blank.form == "pressing":
            words.append(f"{given.lot_of(one.part)} is pressed to shape: nothing is sawn or cored.")
        else:
            words.append(
                f"{given.lot_of(one.part)} shares its plates with other elements; they are laid out when the glass is cut."
            )
    words += [
        f"{one.item} is sawn for {' and '.join(map(given.lot_of, one.parts))} together: a plate may hold discs of several; each is drawn alone here."
        for one in given.planned.materials
        if len(one.parts) > 1 and one.form != "pressing"
    ]
    means = "Above the plate from its face, with the margin that stays free dashed; below the piece of stock from the side, with the plates sawn off it. Each to its own scale."
    return JobSection(
        "Blanks and glass",
        (
            _blanks(given, said),
            *((Gallery(tuple(captioned), in_a_row=3), Paragraph(means, small=True)) if captioned else ()),
            *((Points(tuple(words)),) if words else ()),
            _materials(given, said),
        ),
    )  # fmt: skip


def _captioned(part: str, blank: Blank, cut: Cut, said: Language) -> Captioned:
    each = f"{said.count(blank.discs_per_plate)} discs a plate, {said.count(blank.plates_per_slab)} plates a piece: {said.count(blank.blanks_per_piece)} blanks"
    face = f"⌀ {said.figure(cut.length_mm)}" if cut.is_round else f"{said.figure(cut.length_mm)} × {said.figure(cut.width_mm)}"
    lines = (
        f"{blank.stock}",
        each,
        f"plate {face} × {said.figure(cut.thickness_mm, form='.2f')} mm",
        f"disc ⌀ {said.figure(cut.diameter_mm, form='.2f')}, {said.figure(cut.gap_mm)} mm apart, margin {said.figure(cut.margin_mm)} mm",
        f"{blank.layout.replace('_', ' ')}; {said.share(blank.utilisation, 1)} of the face in discs",
    )  # fmt: skip
    title = f"{part}: {blank.glass}"
    words = f"Cutting of {title} out of {blank.stock}, to scale: {each}."
    return Captioned(Picture(cutting_svg(cut, title, words), words), (title, *lines))


def _blanks(given: Given, said: Language) -> Table:
    rows = []
    for one in given.planned.blanks:
        blank = given.evaluation.made.blanks[one.part]
        size = f"{said.figure(one.diameter_mm, form='.2f')} × {said.figure(one.thickness_mm, form='.2f')}"
        rows.append((
            given.lot_of(one.part), one.glass, one.form, one.stock, size, said.count(one.pieces), said.figure(blank.mass_g, form=".2f"),
            said.figure(one.mass_kg, form=".3f"),
        ))  # fmt: skip
    return Table(HEADS, tuple(rows))


def _materials(given: Given, said: Language) -> Table:
    rows: list[tuple[str, ...]] = [
        (
            one.item, ", ".join(map(given.lot_of, one.parts)), " × ".join(said.figure(size) for size in one.size_mm) or "pressed",
            said.count(one.pieces), said.figure(one.mass_kg, form=".3f"), "the store" if one.from_store else one.supplier or one.maker,
            said.short_day(one.order_by) if one.order_by else "in hand", said.money(one.cost),
        )
        for one in given.planned.materials
    ]  # fmt: skip
    rows += [
        (one.item, "the lens", "", said.count(one.pieces), "", "bought part", said.short_day(one.order_by) if one.order_by else "",
         said.money(one.cost))
        for one in given.planned.bought_parts
    ]  # fmt: skip
    return Table((*MATERIAL_HEADS[:-1], f">Cost, {given.body.currency}"), tuple(rows))
