"""A cutting plan as a picture: one plate to scale as SVG, with discs, cuts, margin, remnant, a scale bar and the figures as text.

The text is the same bytes for the same plate. No script, no outside font, no colour that a grey printer loses.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape  # nosec B406  it parses nothing

from services.glass.domain.layouts.equal import Disc, Layout
from services.glass.errors import SizeImpossible
from services.shop.layout.rows import HEXAGONAL_LIMIT

PICTURE_WIDTH = 720.0
"""Width of the plate in the picture, in units of the picture; a plate longer across than along is drawn as tall at most."""
BORDER = 24.0
LINE = 18.0
BAR_STEPS_MM = (1, 2, 5, 10, 20, 50, 100, 200, 500)
FILLS = ("#cfd8dc", "#eceff1", "#b0bec5", "#f5f0e1", "#d7ccc8", "#c5cfc6")
"""Greys of the discs, one for each element in the order of their names; further ones begin again."""
STYLE = (
    "text{font-family:sans-serif;font-size:13px;fill:#263238}.small{font-size:11px}.plate{fill:#fff;stroke:#263238;stroke-width:1.5}"
    ".margin{fill:none;stroke:#90a4ae;stroke-width:.8;stroke-dasharray:5 3}.kerf{fill:none;stroke:#90a4ae}"
    ".disc{stroke:#263238;stroke-width:.9}.remnant{fill:#fafafa;stroke:#607d8b;stroke-dasharray:2 3}.mid{text-anchor:middle}"
    ".bar{stroke:#263238;stroke-width:2}"
)


def utilisation(*, layout: Layout) -> float:
    """Share of the plate's face that lies in discs; raises `SizeImpossible` for a plate without a face."""
    if not layout.plate_area_mm2 > 0:
        raise SizeImpossible("smaller side of the plate", min(layout.length_mm, layout.width_mm), "above 0 mm")
    return layout.disc_area_mm2 / layout.plate_area_mm2


def share_of_hexagonal_limit(*, utilisation: float) -> float:
    """A utilisation as a share of pi/sqrt(12), which no layout of equal discs exceeds; 1 would leave nothing to gain."""
    return utilisation / HEXAGONAL_LIMIT


@dataclass(frozen=True)
class PlateText:
    """What the picture says in words: name of the plate, masses [g], thickness [mm], and the width of the core drill's cut [mm]."""

    title: str
    thickness_mm: float
    kerf_mm: float
    plate_mass_g: float


def plate_svg(*, layout: Layout, text: PlateText) -> str:
    """The plate as SVG, to scale."""
    scale = PICTURE_WIDTH / max(layout.length_mm, layout.width_mm)
    owners = tuple(dict.fromkeys(sorted(disc.owner for disc in layout.discs)))
    left, top = BORDER, BORDER + 2 * LINE
    words = _words(layout, text, owners)
    wide = max(layout.length_mm * scale, 480.0) + 2 * BORDER
    tall = top + layout.width_mm * scale + LINE * (len(words) + 2)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_n(wide)} {_n(tall)}" width="{_n(wide)}" height="{_n(tall)}" role="img">',
        f"<title>{_safe(text.title)}</title>",
        f"<style>{STYLE}</style>",
        f'<text x="{_n(left)}" y="{_n(BORDER + LINE * 0.7)}">{_safe(text.title)}</text>',
        f'<g transform="translate({_n(left)} {_n(top)})">',
        *_plate(layout, scale),
        *_remnants(layout, scale),
        *(line for disc in layout.discs for line in _disc(disc, layout, text.kerf_mm, scale, owners)),
        "</g>",
        *_foot(layout, words, left, top + layout.width_mm * scale, scale),
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def free_strip_mm(*, layout: Layout) -> tuple[float, float, float, float]:
    """The larger remnant that one straight cut leaves whole, right of all discs or above them: x, y, length, width [mm].

    Notes: the cut keeps the gap from the discs; with no disc in the plate all of it is a remnant.
    """
    right = max((disc.x_mm + disc.diameter_mm / 2 + disc.gap_mm for disc in layout.discs), default=0.0)
    above = max((disc.y_mm + disc.diameter_mm / 2 + disc.gap_mm for disc in layout.discs), default=0.0)
    beside = (right, 0.0, max(0.0, layout.length_mm - right), layout.width_mm)
    over = (0.0, above, layout.length_mm, max(0.0, layout.width_mm - above))
    return max(beside, over, key=lambda strip: strip[2] * strip[3])


def _plate(layout: Layout, scale: float) -> Iterator[str]:
    margin = layout.edge_margin_mm
    if layout.is_round:
        middle = layout.length_mm / 2
        for kind, radius in (("plate", middle), ("margin", middle - margin)):
            if radius > 0 and (kind == "plate" or margin > 0):
                yield f'<circle class="{kind}" cx="{_n(middle * scale)}" cy="{_n(middle * scale)}" r="{_n(radius * scale)}"/>'
        return
    yield _rectangle("plate", 0.0, 0.0, layout.length_mm * scale, layout.width_mm * scale)
    if margin > 0:
        inner = (layout.length_mm - 2 * margin, layout.width_mm - 2 * margin)
        yield _rectangle("margin", margin * scale, margin * scale, max(0.0, inner[0]) * scale, max(0.0, inner[1]) * scale)


def _remnants(layout: Layout, scale: float) -> Iterator[str]:
    """The remnant, when it is wider than the margin: less is slurry. What is left of a round slice is none."""
    if layout.is_round:
        return
    x, y, length, width = free_strip_mm(layout=layout)
    if min(length, width) <= 2 * max(layout.edge_margin_mm, 1.0):
        return
    upside = layout.width_mm - y - width
    yield _rectangle("remnant", x * scale, upside * scale, length * scale, width * scale)
    if min(length, width) * scale > 24 and length * scale > 90:
        label = f"remnant {length:.1f} × {width:.1f}"
        yield f'<text class="small mid" x="{_n((x + length / 2) * scale)}" y="{_n((upside + width / 2) * scale + 4)}">{label}</text>'


def _disc(disc: Disc, layout: Layout, kerf_mm: float, scale: float, owners: Sequence[str]) -> Iterator[str]:
    x, y = _n(disc.x_mm * scale), _n((layout.width_mm - disc.y_mm) * scale)
    radius = disc.diameter_mm / 2
    if kerf_mm > 0:
        yield f'<circle class="kerf" cx="{x}" cy="{y}" r="{_n((radius + kerf_mm / 2) * scale)}" stroke-width="{_n(kerf_mm * scale)}" stroke-opacity=".35"/>'
    fill = FILLS[owners.index(disc.owner) % len(FILLS)]
    yield f'<circle class="disc" fill="{fill}" cx="{x}" cy="{y}" r="{_n(radius * scale)}"/>'
    if disc.owner and radius * scale > 4.5 * len(disc.owner) + 2:
        yield f'<text class="small mid" x="{x}" y="{_n((layout.width_mm - disc.y_mm) * scale + 4)}">{_safe(disc.owner)}</text>'


def _words(layout: Layout, text: PlateText, owners: Sequence[str]) -> list[str]:
    share = utilisation(layout=layout)
    discs = ", ".join(f"{layout.count_of(owner)} × {_safe(owner) or 'disc'} ⌀ {_diameters(layout, owner)} mm" for owner in owners)
    face = f"slice ⌀ {layout.length_mm:.1f}" if layout.is_round else f"plate {layout.length_mm:.1f} × {layout.width_mm:.1f}"
    return [
        f"{face} × {text.thickness_mm:.2f} mm, {text.plate_mass_g:.1f} g;"
        f" edge margin {layout.edge_margin_mm:.1f} mm, cut {text.kerf_mm:.1f} mm",
        discs or "no disc fits",
        f"in discs {share * text.plate_mass_g:.1f} g; utilisation {100 * share:.1f} %,"
        f" {100 * share_of_hexagonal_limit(utilisation=share):.1f} % of the hexagonal limit",
    ]


def _diameters(layout: Layout, owner: str) -> str:
    return "/".join(f"{diameter:.2f}" for diameter in sorted({disc.diameter_mm for disc in layout.discs if disc.owner == owner}))


def _foot(layout: Layout, words: Sequence[str], left: float, top: float, scale: float) -> Iterator[str]:
    longest = max((step for step in BAR_STEPS_MM if step <= layout.length_mm / 3), default=BAR_STEPS_MM[0])
    y = top + LINE
    yield f'<line class="bar" x1="{_n(left)}" y1="{_n(y)}" x2="{_n(left + longest * scale)}" y2="{_n(y)}"/>'
    yield f'<text class="small" x="{_n(left + longest * scale + 8)}" y="{_n(y + 4)}">{longest} mm</text>'
    for number, line in enumerate(words):
        yield f'<text x="{_n(left)}" y="{_n(y + LINE * (number + 1.5))}">{line}</text>'


def _rectangle(kind: str, x: float, y: float, length: float, width: float) -> str:
    return f'<rect class="{kind}" x="{_n(x)}" y="{_n(y)}" width="{_n(length)}" height="{_n(width)}"/>'


def _safe(text: str) -> str:
    """Text for the picture: without the control characters that XML does not allow, and escaped."""
    return escape("".join(sign for sign in text if sign.isprintable()))


def _n(figure: float) -> str:
    """A figure of the picture: two decimals, no more than are needed."""
    if not math.isfinite(figure):
        return "0"
    return f"{figure:.2f}".rstrip("0").rstrip(".")
