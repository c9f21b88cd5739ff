"""A lens in section as a picture: its elements to scale as SVG, with axis, stop, scale bar and names.

The text is the same bytes for the same prescription. No script, no outside font, no colour that a grey printer loses.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from services.optics.seats import bodies_of
from services.optics.surface import Profile
from services.quoting.sheet.svg import number as _n
from services.quoting.sheet.svg import printable, written
from shared_schemas.prescription import Prescription

PICTURE_WIDTH = 660.0
PICTURE_HEIGHT = 230.0
"""The largest section in the picture, in units of the picture: whichever the lens fills first sets the scale."""
BORDER = 24.0
LINE = 15.0
SIGN_WIDTH = 6.8
STEPS = 40
"""Chords between the axis and the rim of a face. Those of a hemisphere are off by less than a thousandth of its radius."""
BAR_STEPS_MM = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000)
FILLS = ("#e9eef1", "#d3dce1")
"""Greys of the elements in turn, so that cemented neighbours are told apart."""
STYLE = (
    ".section text{font-family:sans-serif;font-size:12px;fill:#1c1c1c;text-anchor:middle}.section .glass{stroke:#1c1c1c;stroke-width:1.1;"
    "stroke-linejoin:round}.section .axis{stroke:#55636b;stroke-width:.8;stroke-dasharray:14 3 3 3}.section .stop{stroke:#1c1c1c;"
    "stroke-width:2.2}.section .leader{stroke:#90a4ae;stroke-width:.6}.section .bar{stroke:#1c1c1c;stroke-width:2}"
)

Point = tuple[float, float]
"""Along the axis from the first vertex, and height above it [mm]."""


@dataclass(frozen=True)
class ElementSection:
    """One element in section: upper halves of both faces from the axis to the rim [mm]."""

    name: str
    front: tuple[Point, ...]
    back: tuple[Point, ...]

    @property
    def rim_mm(self) -> float:
        """Where the middle of the rim lies along the axis."""
        return (self.front[-1][0] + self.back[-1][0]) / 2

    def outline(self) -> tuple[Point, ...]:
        """Once round: the front from bottom to top, along the rim, the back from top to bottom."""
        mirrored = [[(z, -y) for z, y in face[:0:-1]] for face in (self.front, self.back)]
        return (*mirrored[0], *self.front, *self.back[::-1], *mirrored[1][::-1])


def sections(*, prescription: Prescription) -> tuple[ElementSection, ...]:
    """The elements front to back in section, each where the spaces put it."""
    drawn, z = [], 0.0
    gaps = [space.gap_mm or 0.0 for space in prescription.spaces]
    for element, glass, gap in zip(prescription.elements, bodies_of(prescription), [*gaps, 0.0], strict=True):
        back = z + element.centre_thickness_mm
        drawn.append(ElementSection(element.name, _face(glass.front, z), _face(glass.back, back)))
        z = back + gap
    return tuple(drawn)


def section_svg(*, prescription: Prescription) -> str:
    """The lens in section as SVG, to scale."""
    parts = sections(prescription=prescription)
    tall = max(element.diameter_mm for element in prescription.elements)
    left = min(z for part in parts for z, _ in (*part.front, *part.back))
    long = max(z for part in parts for z, _ in (*part.front, *part.back)) - left
    scale = min(PICTURE_WIDTH / long, PICTURE_HEIGHT / tall)
    width = max(long * scale, 200.0) + 2 * BORDER
    vertex = (width - long * scale) / 2 - left * scale
    labels = _labels(parts, scale, vertex, width)
    top = BORDER + LINE * (1 + max(level for *_, level in labels))
    view = _View(scale, vertex, top + tall * scale / 2, top)
    height = top + tall * scale + 3 * LINE
    title = written(f"{prescription.title}: section to scale")
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="section" viewBox="0 0 {_n(width)} {_n(height)}" width="{_n(width)}"'
        f' height="{_n(height)}" role="img">',
        f"<title>{title}</title>",
        f"<style>{STYLE}</style>",
        *(_glass(part, view, FILLS[number % len(FILLS)]) for number, part in enumerate(parts)),
        f'<line class="axis" x1="{_n(BORDER / 3)}" y1="{_n(view.axis)}" x2="{_n(width - BORDER / 3)}" y2="{_n(view.axis)}"/>',
        *_stop(prescription, parts, view, (left, left + long)),
        *_names(labels, parts, view),
        *_bar(view, top + tall * scale + 1.4 * LINE),
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


@dataclass(frozen=True)
class _View:
    """Where the lens lies in the picture: scale, place of the first vertex, height of the axis, and where the names end."""

    scale: float
    vertex: float
    axis: float
    top: float

    def at(self, point: Point) -> str:
        """A point of the lens in the picture."""
        return f"{_n(self.vertex + point[0] * self.scale)},{_n(self.axis - point[1] * self.scale)}"


def _face(face: Profile, vertex_mm: float) -> tuple[Point, ...]:
    heights = [face.worked_mm * step / STEPS for step in range(STEPS + 1)]
    points = [(vertex_mm + face.sag_mm(height), height) for height in heights]
    return (*points, (points[-1][0], face.rim_mm)) if face.needs_seat else tuple(points)


def _glass(part: ElementSection, view: _View, fill: str) -> str:
    return f'<polygon class="glass" fill="{fill}" points="{" ".join(view.at(point) for point in part.outline())}"/>'


def _stop(prescription: Prescription, parts: Sequence[ElementSection], view: _View, ends_mm: Point) -> Iterator[str]:
    """The aperture stop as two blades, where it lies within the lens or near it."""
    stop = prescription.stop
    if stop is None:
        return
    z = (parts[stop.after_element - 1].back[0][0] if stop.after_element else 0.0) + stop.distance_mm
    half = stop.diameter_mm / 2
    blade = half + max(element.diameter_mm for element in prescription.elements) * 0.08
    if not ends_mm[0] - 10 / view.scale <= z <= ends_mm[1] + 10 / view.scale or view.axis - blade * view.scale < view.top:
        return
    for sign in (1, -1):
        (x1, y1), (x2, y2) = (view.at((z, sign * height)).split(",") for height in (half, blade))
        yield f'<line class="stop" x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}"/>'


def _labels(parts: Sequence[ElementSection], scale: float, vertex: float, width: float) -> list[tuple[str, float, int]]:
    """Each name, its middle near that of its element and within the picture, and the line it stands on, so that no two meet."""
    ends: list[float] = []
    found = []
    for part in parts:
        name = printable(part.name)
        half = SIGN_WIDTH * len(name) / 2
        middle = max(half, min(width - half, vertex + scale * part.rim_mm))
        level = next((number for number, end in enumerate(ends) if end < middle - half), len(ends))
        ends[level : level + 1] = [middle + half + SIGN_WIDTH]
        found.append((name, middle, level))
    return found


def _names(labels: Sequence[tuple[str, float, int]], parts: Sequence[ElementSection], view: _View) -> Iterator[str]:
    for (name, middle, level), part in zip(labels, parts, strict=True):
        y = view.top - LINE * (level + 0.6)
        x, rim = view.vertex + part.rim_mm * view.scale, view.axis - part.front[-1][1] * view.scale
        yield f'<line class="leader" x1="{_n(x)}" y1="{_n(y + 3)}" x2="{_n(x)}" y2="{_n(rim)}"/>'
        yield f'<text x="{_n(middle)}" y="{_n(y)}">{written(name)}</text>'


def _bar(view: _View, y: float) -> Iterator[str]:
    length = max((step for step in BAR_STEPS_MM if step * view.scale <= 120), default=BAR_STEPS_MM[0])
    yield f'<line class="bar" x1="{_n(BORDER)}" y1="{_n(y)}" x2="{_n(BORDER + length * view.scale)}" y2="{_n(y)}"/>'
    yield f'<text x="{_n(BORDER + length * view.scale / 2)}" y="{_n(y + LINE)}">{length:g} mm</text>'
