"""A block as a picture: seen along its axis, to scale as SVG, with lenses, rim, a scale bar and the figures as text.

Seen from far away along the axis a lens that stands at the polar angle t is an ellipse, narrower by cos t along its radius. The text is
the same bytes for the same block. No script, no outside font, no colour that a grey printer loses.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from xml.sax.saxutils import escape  # nosec B406  it parses nothing

from services.shop.layout.lenses_on_block import BlockLayout

PICTURE_WIDTH = 520.0
"""Width of the block in the picture, in units of the picture."""
BORDER = 24.0
LINE = 18.0
BAR_STEPS_MM = (0.5, 1, 2, 5, 10, 20, 50, 100, 200)
STYLE = (
    "text{font-family:sans-serif;font-size:13px;fill:#263238}.small{font-size:11px}.block{fill:#fff;stroke:#263238;stroke-width:1.5}"
    ".lens{fill:#cfd8dc;stroke:#263238;stroke-width:.9}.empty{fill:none;stroke:#90a4ae;stroke-dasharray:4 3}"
    ".axis{stroke:#90a4ae;stroke-width:.8}.bar{stroke:#263238;stroke-width:2}"
)


@dataclass(frozen=True)
class BlockDrawn:
    """What is drawn: a layout in its sizes.

    Attributes:
        title: what the picture is called.
        layout: where the lenses stand.
        lenses: how many places are taken, those nearest to the axis; the others are drawn empty.
        diameter_mm: of one lens as it is blocked [mm].
        pitch_mm: of one lens with its gap, and what its back corner needs [mm].
        radius_mm: of the block's surface, None for a flat one [mm].
        convex: whether the lenses' faces are convex.
    """

    title: str
    layout: BlockLayout
    lenses: int
    diameter_mm: float
    pitch_mm: float
    radius_mm: float | None
    convex: bool

    @property
    def width_mm(self) -> float:
        """Width of the block, as it is seen [mm]."""
        return self.layout.width_ratio * self.pitch_mm

    @property
    def least_gap_mm(self) -> float:
        """Room between the nearest two lenses at the surface, from rim to rim as a chord [mm]; infinite for one lens."""
        if self.radius_mm is None:
            return self.layout.least_distance * self.pitch_mm - self.diameter_mm
        between = math.radians(self.layout.separation_deg) / 2 - math.asin(self.diameter_mm / 2 / self.radius_mm)
        return 2 * self.radius_mm * math.sin(between) if self.layout.count > 1 else math.inf


def block_svg(block: BlockDrawn) -> str:
    """The block as SVG, to scale."""
    scale = PICTURE_WIDTH / block.width_mm
    words = _words(block)
    middle = BORDER + PICTURE_WIDTH / 2
    down = BORDER + 2 * LINE + PICTURE_WIDTH / 2
    wide, tall = PICTURE_WIDTH + 2 * BORDER, down + PICTURE_WIDTH / 2 + LINE * (len(words) + 3)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_n(wide)} {_n(tall)}" width="{_n(wide)}" height="{_n(tall)}" role="img">',
        f"<title>{_safe(block.title)}</title>",
        f"<style>{STYLE}</style>",
        f'<text x="{_n(BORDER)}" y="{_n(BORDER + LINE * 0.7)}">{_safe(block.title)}</text>',
        f'<g transform="translate({_n(middle)} {_n(down)})">',
        f'<circle class="block" r="{_n(PICTURE_WIDTH / 2)}"/>',
        *_lenses(block, scale),
        '<path class="axis" d="M-6 0H6M0 -6V6"/>',
        "</g>",
        *_foot(block, words, down + PICTURE_WIDTH / 2, scale),
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


VIEW_WIDTH = 240.0
"""Width of a block that is drawn without a word."""
VIEW_STYLE = (
    ".block-view .block{fill:#fff;stroke:#1c1c1c;stroke-width:1.2}.block-view .lens{fill:#dfe5e8;stroke:#1c1c1c;stroke-width:.8}"
    ".block-view .empty{fill:none;stroke:#55636b;stroke-width:.8;stroke-dasharray:4 3}.block-view .axis{stroke:#1c1c1c;stroke-width:.8}"
)


def block_view(block: BlockDrawn, words: str) -> str:
    """The block alone as SVG, to scale, for a page that says the rest beside it; `words` are for who does not see it."""
    scale, middle = VIEW_WIDTH / block.width_mm, VIEW_WIDTH / 2 + 2
    wide = _n(2 * middle)
    return "\n".join((
        f'<svg xmlns="http://www.w3.org/2000/svg" class="block-view" viewBox="0 0 {wide} {wide}" width="{wide}" height="{wide}" role="img">',
        f"<title>{_safe(block.title)}</title><desc>{_safe(words)}</desc>",
        f"<style>{VIEW_STYLE}</style>",
        f'<g transform="translate({_n(middle)} {_n(middle)})">',
        f'<circle class="block" r="{_n(VIEW_WIDTH / 2)}"/>',
        *_lenses(block, scale),
        '<path class="axis" d="M-5 0H5M0 -5V5"/>',
        "</g>",
        "</svg>\n",
    ))  # fmt: skip


def _lenses(block: BlockDrawn, scale: float) -> Iterator[str]:
    """Each lens as its rim is seen, the innermost first."""
    half = block.diameter_mm / 2
    centres = sorted(block.layout.centres.tolist(), key=lambda place: (round(math.hypot(place[0], place[1]), 6), place))
    rim = 1.0 if block.radius_mm is None else math.sqrt(1 - (half / block.radius_mm) ** 2)
    for number, (x, y, z) in enumerate(centres):
        radius = block.layout.radius_ratio
        narrow = 1.0 if radius is None else abs(z) / radius
        at = rim * block.pitch_mm * scale
        kind = "lens" if number < block.lenses else "empty"
        turn = math.degrees(math.atan2(-y, x))
        yield (
            f'<ellipse class="{kind}" cx="{_n(x * at)}" cy="{_n(-y * at)}" rx="{_n(half * narrow * scale)}" ry="{_n(half * scale)}"'
            f' transform="rotate({_n(turn)} {_n(x * at)} {_n(-y * at)})"/>'
        )


def _words(block: BlockDrawn) -> list[str]:
    layout = block.layout
    lens = f"⌀ {block.diameter_mm:.2f} mm, pitch {block.pitch_mm:.2f} mm"
    gap = "" if math.isinf(block.least_gap_mm) else f", nearest two {block.least_gap_mm:.2f} mm apart"
    shape = "flat"
    if block.radius_mm is not None:
        shape = f"{'convex' if block.convex else 'concave'} R {block.radius_mm:.2f} mm, half-angle {layout.half_angle_deg:.1f}°"
    count = f"{block.lenses} lenses" if block.lenses == layout.count else f"{block.lenses} lenses in {layout.count} places"
    return [
        f"{count}, {layout.pattern}; {100 * layout.covered:.1f} % of the surface covered",
        f"lens {lens}{gap}",
        f"block {shape}, ⌀ {block.width_mm:.1f} mm seen along its axis",
    ]


def _foot(block: BlockDrawn, words: list[str], top: float, scale: float) -> Iterator[str]:
    longest = max((step for step in BAR_STEPS_MM if step <= block.width_mm / 3), default=BAR_STEPS_MM[0])
    y = top + LINE
    yield f'<line class="bar" x1="{_n(BORDER)}" y1="{_n(y)}" x2="{_n(BORDER + longest * scale)}" y2="{_n(y)}"/>'
    yield f'<text class="small" x="{_n(BORDER + longest * scale + 8)}" y="{_n(y + 4)}">{longest:g} mm</text>'
    for number, line in enumerate(words):
        yield f'<text x="{_n(BORDER)}" y="{_n(y + LINE * (number + 1.5))}">{line}</text>'


def _safe(text: str) -> str:
    """Text for the picture: without the control characters that XML does not allow, and escaped."""
    return escape("".join(sign for sign in text if sign.isprintable()))


def _n(figure: float) -> str:
    """A figure of the picture: two decimals, no more than are needed, no minus before nothing."""
    if abs(figure) < 0.005:
        return "0"
    return f"{figure:.2f}".rstrip("0").rstrip(".")
