"""A lens in section as a picture: its elements to scale as SVG, with axis, stop, rays of the axial beam, names and dimensions.

Lines are those of drawings: chain lines for axes, thin extension lines that go beyond the dimension line, filled arrowheads, figures above their
line and read from below or from the right (ISO 128-2, ISO 129-1; from memory). A dimension stands where its figure has room between its
arrows; the tables have them all. The text is the same bytes for the same prescription. No script, no outside font, no colour that a grey printer loses.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from services.optics.seats import bodies_of
from services.optics.surface import Profile
from services.quoting.sheet.axial_rays import axial_rays
from services.quoting.sheet.language import Language
from services.quoting.sheet.svg import FONT, written
from services.quoting.sheet.svg import number as _n
from shared_schemas.prescription import Prescription

PICTURE_WIDTH = 660.0
PICTURE_HEIGHT = 210.0
"""The largest section in the picture, in units of the picture: whichever the lens fills first sets the scale."""
BORDER = 12.0
DIAMETER_BAND = 34.0
"""Left of everything, for the dimension of the largest diameter."""
LEAD, TAIL = 46.0, 84.0
"""How far rays are shown before the lens and behind it."""
LINE = 15.0
SIGN_WIDTH = 6.4
ARROW, ARROW_HALF = 7.0, 1.3
BEYOND = 3.0
"""So far an extension line goes beyond its dimension line."""
STEPS = 40
"""Chords between the axis and the rim of a face. Those of a hemisphere are off by less than a thousandth of its radius."""
FILLS = ("#e9eef1", "#d3dce1")
"""Greys of the elements in turn, so that cemented neighbours are told apart."""
STYLE = (
    f".section text{{font-family:{FONT};font-size:12px;fill:#1c1c1c;text-anchor:middle}}.section .glass{{stroke:#1c1c1c;stroke-width:1.1;"
    "stroke-linejoin:round}.section .axis{stroke:#55636b;stroke-width:.7;stroke-dasharray:14 3 3 3}.section .stop{stroke:#1c1c1c;"
    "stroke-width:2.2}.section .leader,.section .dimension,.section .extension{stroke:#55636b;stroke-width:.6}.section .arrow{fill:#55636b}"
    ".section .ray{fill:none;stroke:#8a6d1c;stroke-width:.7}"
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


def section_svg(*, prescription: Prescription, indices: Sequence[float], said: Language) -> str:
    """The lens in section as SVG, to scale; `indices` are those of its elements at the wavelength of the design."""
    parts = sections(prescription=prescription)
    tall = max(element.diameter_mm for element in prescription.elements)
    left = min(z for part in parts for z, _ in (*part.front, *part.back))
    long = max(z for part in parts for z, _ in (*part.front, *part.back)) - left
    beside = DIAMETER_BAND + LEAD + TAIL + 2 * BORDER
    scale = min((PICTURE_WIDTH - beside) / long, PICTURE_HEIGHT / tall)
    width = long * scale + beside
    vertex = BORDER + DIAMETER_BAND + LEAD - left * scale
    stop = _stop_mm(prescription, parts, (left - LEAD / 2 / scale, left + long + TAIL / 2 / scale))
    marks = [(part.name, part.rim_mm) for part in parts] + ([] if stop is None else [(said.words.STOP_LABEL, stop)])
    labels = _labels(marks, scale, vertex, width)
    top = BORDER + LINE * (1 + max(level for *_, level in labels))
    view = _View(scale, vertex, top + tall * scale / 2, top)
    foot = top + tall * scale
    reach = (left - LEAD / scale, left + long + TAIL / scale)
    lines = [
        *(_glass(part, view, FILLS[number % len(FILLS)]) for number, part in enumerate(parts)),
        f'<line class="axis" x1="{_n(view.x(reach[0]))}" y1="{_n(view.axis)}" x2="{_n(view.x(reach[1]))}" y2="{_n(view.axis)}"/>',
        *_rays(prescription, indices, view, reach, tall),
        *_stop(prescription, stop, view, tall),
        *_names(labels, marks, view, _heights(prescription, stop, parts, tall)),
        *_diameter(prescription, parts, view, said),
        *_lengths(parts, view, foot, said),
    ]
    height = foot + 3.6 * LINE
    return "\n".join((
        f'<svg xmlns="http://www.w3.org/2000/svg" class="section" viewBox="0 0 {_n(width)} {_n(height)}" width="{_n(width)}"'
        f' height="{_n(height)}" role="img">',
        f"<title>{written(prescription.title)}</title>",
        f"<style>{STYLE}</style>",
        *lines,
        "</svg>\n",
    ))  # fmt: skip


@dataclass(frozen=True)
class _View:
    """Where the lens lies in the picture: scale, place of the first vertex, height of the axis, and where the names end."""

    scale: float
    vertex: float
    axis: float
    top: float

    def x(self, z_mm: float) -> float:
        """A place along the axis in the picture."""
        return self.vertex + z_mm * self.scale

    def y(self, height_mm: float) -> float:
        """A height above the axis in the picture."""
        return self.axis - height_mm * self.scale

    def at(self, point: Point) -> str:
        """A point of the lens in the picture."""
        return f"{_n(self.x(point[0]))},{_n(self.y(point[1]))}"


def _face(face: Profile, vertex_mm: float) -> tuple[Point, ...]:
    heights = [face.worked_mm * step / STEPS for step in range(STEPS + 1)]
    points = [(vertex_mm + face.sag_mm(height), height) for height in heights]
    return (*points, (points[-1][0], face.rim_mm)) if face.needs_seat else tuple(points)


def _glass(part: ElementSection, view: _View, fill: str) -> str:
    return f'<polygon class="glass" fill="{fill}" points="{" ".join(view.at(point) for point in part.outline())}"/>'


def _rays(prescription: Prescription, indices: Sequence[float], view: _View, reach: Point, tall: float) -> Iterator[str]:
    """Rays that stay within the height of the lens; one that leaves it behind the lens ends where it does."""
    for ray in axial_rays(prescription=prescription, indices=indices, from_mm=reach[0], to_mm=reach[1]):
        if all(abs(height) <= tall / 2 for _, height in ray[:-1]):
            (z1, y1), (z2, y2) = ray[-2:]
            limit = min(1.0, ((tall / 2 if y2 > 0 else -tall / 2) - y1) / (y2 - y1)) if abs(y2) > tall / 2 else 1.0
            end = (z1 + limit * (z2 - z1), y1 + limit * (y2 - y1))
            yield f'<polyline class="ray" points="{" ".join(view.at(point) for point in (*ray[:-1], end))}"/>'


def _stop_mm(prescription: Prescription, parts: Sequence[ElementSection], within_mm: Point) -> float | None:
    """Where the aperture stop lies along the axis, where that is within the lens or near it."""
    stop = prescription.stop
    if stop is None:
        return None
    z = (parts[stop.after_element - 1].back[0][0] if stop.after_element else 0.0) + stop.distance_mm
    return z if within_mm[0] <= z <= within_mm[1] else None


def _stop(prescription: Prescription, z: float | None, view: _View, tall: float) -> Iterator[str]:
    """The aperture stop as two blades."""
    if prescription.stop is None or z is None:
        return
    half = prescription.stop.diameter_mm / 2
    for sign in (1, -1):
        x, y1, y2 = view.x(z), view.y(sign * half), view.y(sign * (half + tall * 0.08))
        yield f'<line class="stop" x1="{_n(x)}" y1="{_n(y1)}" x2="{_n(x)}" y2="{_n(y2)}"/>'


def _heights(prescription: Prescription, stop: float | None, parts: Sequence[ElementSection], tall: float) -> list[float]:
    """Down to which height above the axis the leader of each name goes [mm]."""
    blade = [] if stop is None or prescription.stop is None else [prescription.stop.diameter_mm / 2 + tall * 0.08]
    return [part.front[-1][1] for part in parts] + blade


def _labels(marks: Sequence[tuple[str, float]], scale: float, vertex: float, width: float) -> list[tuple[str, float, int]]:
    """Each name, its middle near that of what it names and within the picture, and the line it stands on, so that no two meet."""
    ends: list[float] = []
    placed: dict[int, tuple[str, float, int]] = {}
    for place in sorted(range(len(marks)), key=lambda place: marks[place][1]):
        name = marks[place][0]
        half = SIGN_WIDTH * len(name) / 2
        middle = max(half, min(width - half, vertex + scale * marks[place][1]))
        level = next((number for number, end in enumerate(ends) if end < middle - half), len(ends))
        ends[level : level + 1] = [middle + half + SIGN_WIDTH]
        placed[place] = (name, middle, level)
    return [placed[place] for place in range(len(marks))]


def _names(
    labels: Sequence[tuple[str, float, int]], marks: Sequence[tuple[str, float]], view: _View, heights: Sequence[float]
) -> Iterator[str]:
    for (name, middle, level), (_, z), height in zip(labels, marks, heights, strict=True):
        y = view.top - LINE * (level + 0.6)
        x, rim = view.x(z), max(view.y(height), y + 4)
        yield f'<line class="leader" x1="{_n(x)}" y1="{_n(y + 3)}" x2="{_n(x)}" y2="{_n(rim)}"/>'
        yield f'<text class="name" x="{_n(middle)}" y="{_n(y)}">{written(name)}</text>'


def _diameter(prescription: Prescription, parts: Sequence[ElementSection], view: _View, said: Language) -> Iterator[str]:
    """The largest diameter, left of the lens."""
    part, element = max(zip(parts, prescription.elements, strict=True), key=lambda pair: pair[1].diameter_mm)
    x, half = BORDER + LINE, element.diameter_mm / 2
    for height in (half, -half):
        y = view.y(height)
        yield _line("extension", x - BEYOND, y, view.x(part.front[-1][0]) - 2, y)
    yield _line("dimension", x, view.y(half), x, view.y(-half))
    yield _arrow(x, view.y(half), 0, 1)
    yield _arrow(x, view.y(-half), 0, -1)
    yield (
        f'<text class="figure" x="{_n(x - 4)}" y="{_n(view.axis)}" transform="rotate(-90 {_n(x - 4)} {_n(view.axis)})">'
        f"⌀ {said.figure(element.diameter_mm)}</text>"
    )


def _lengths(parts: Sequence[ElementSection], view: _View, foot: float, said: Language) -> Iterator[str]:
    """From vertex to vertex below the lens: a chain of those that have room, and under it from the first to the last."""
    vertices = [z for part in parts for z in (part.front[0][0], part.back[0][0])]
    chain = [
        (start, end)
        for start, end in pairwise(vertices)
        if end > start and (end - start) * view.scale >= SIGN_WIDTH * (len(said.figure(round(end - start, 6))) + 1) + 2 * ARROW
    ]
    whole = (vertices[0], vertices[-1])
    rows = [(foot + 1.6 * LINE, chain)] if chain and chain != [whole] else []
    rows.append((foot + (3.1 if rows else 1.6) * LINE, [whole]))
    ends: dict[float, float] = {}
    for y, spans in rows:
        for start, end in spans:
            ends |= {start: y, end: y}
            yield from _span(view.x(start), view.x(end), y, said.figure(round(end - start, 6)))
    for z, y in ends.items():
        yield _line("extension", view.x(z), view.axis + 2, view.x(z), y + BEYOND)


def _span(start: float, end: float, y: float, figure: str) -> Iterator[str]:
    inside = end - start >= 2 * ARROW
    yield _line("dimension", start if inside else start - 2 * ARROW, y, end if inside else end + 2 * ARROW, y)
    yield _arrow(start, y, 1 if inside else -1, 0)
    yield _arrow(end, y, -1 if inside else 1, 0)
    yield f'<text class="figure" x="{_n((start + end) / 2)}" y="{_n(y - 3)}">{written(figure)}</text>'


def _line(kind: str, x1: float, y1: float, x2: float, y2: float) -> str:
    return f'<line class="{kind}" x1="{_n(x1)}" y1="{_n(y1)}" x2="{_n(x2)}" y2="{_n(y2)}"/>'


def _arrow(x: float, y: float, dx: int, dy: int) -> str:
    """A filled arrowhead with its point at a place, its body the way (dx, dy) from there."""
    corners = (
        (x, y),
        (x + dx * ARROW - dy * ARROW_HALF, y + dy * ARROW - dx * ARROW_HALF),
        (x + dx * ARROW + dy * ARROW_HALF, y + dy * ARROW + dx * ARROW_HALF),
    )
    return f'<polygon class="arrow" points="{" ".join(f"{_n(a)},{_n(b)}" for a, b in corners)}"/>'
