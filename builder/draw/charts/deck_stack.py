"""The cylinder in section at top dead center, to scale, with the stack-up of its deck dimensioned."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from builder.draw.axes import avoid_overlap
from builder.draw.canvas import Canvas
from builder.draw.chart_cache import chart
from builder.draw.drawing import Drawing
from builder.draw.labels import number, truncate, width
from builder.draw.style import ACCENT, CAUTION, INK, METAL, PAPER, QUIET, RULE, SECOND, WIDE, Size


@dataclass(frozen=True)
class StackUp:
    """The lengths that decide where the piston is at top dead center, all in one unit.

    ``compression_height`` is the one that counts (measured where it was measured). Give
    ``listed_compression_height`` where the part was sold as something else: it is drawn as a dashed outline.
    ``deck_clearance`` is crown below deck, negative when proud; left out, it follows from the others.
    """

    unit: str
    crank_radius: float
    rod: float
    compression_height: float
    deck_height: float
    bore: float
    gasket: float | None = None
    deck_clearance: float | None = None
    listed_compression_height: float | None = None
    decimals: int = 3

    @property
    def clearance(self) -> float:
        """Crown below deck: as given, or deck height less radius, rod and compression height."""
        if self.deck_clearance is not None:
            return self.deck_clearance
        return self.deck_height - (self.crank_radius + self.rod + self.compression_height)

    @property
    def listed_clearance(self) -> float | None:
        """Crown below deck with the listed part."""
        if self.listed_compression_height is None:
            return None
        return self.clearance + self.compression_height - self.listed_compression_height

    def text(self, value: float) -> str:
        """Return a length as it is written in the chart."""
        return f"{number(value, self.decimals)} {truncate(self.unit, 80, 12)}"

    def is_level(self, clearance: float) -> bool:
        """Return whether a crown is level with the deck, to the decimals written."""
        return abs(clearance) < 0.5 * 10.0**-self.decimals

    def position_text(self, clearance: float, level: str) -> str:
        """Return where a crown is against the deck, or this text where it is level."""
        if self.is_level(clearance):
            return level
        return f"{self.text(abs(clearance))} {'above' if clearance < 0 else 'below'}"


_WALL = 0.17  # thickness of the drawn wall, in bores
_EDGE = {"edgecolor": INK, "linewidth": 1.0}
_DASHED = {"linewidth": 1.5, "linestyle": (0, (4, 2.5))}


@dataclass(frozen=True)
class _Section:
    """Where the section is on the canvas [px]: middle of the bore, crank centerline, pixels per unit of length."""

    data: StackUp
    middle: float
    crank_y: float
    scale: float

    def y(self, height: float) -> float:
        """Return the pixel of a height over the crank centerline."""
        return self.crank_y - height * self.scale

    @property
    def half_bore(self) -> float:
        """Half the bore [px]."""
        return self.data.bore / 2 * self.scale

    @property
    def wall(self) -> float:
        """Thickness of the wall [px]."""
        return _WALL * self.data.bore * self.scale

    @property
    def deck(self) -> float:
        """The deck [px]."""
        return self.y(self.data.deck_height)

    @property
    def crown(self) -> float:
        """The piston's crown [px]."""
        return self.y(self.data.deck_height - self.data.clearance)

    @property
    def pin(self) -> float:
        """The piston pin [px]."""
        return self.y(self.data.crank_radius + self.data.rod)

    @property
    def crankpin(self) -> float:
        """The crankpin [px]."""
        return self.y(self.data.crank_radius)


@dataclass(frozen=True)
class _Dimension:
    """One length with its dimension line, from top to bottom [px], and its label."""

    top: float
    bottom: float
    label: str
    value: str
    colour: str

    @property
    def middle(self) -> float:
        """The middle of the dimension line [px]."""
        return (self.top + self.bottom) / 2


@chart
def stack_up(data: StackUp, *, name: str = "stack_up", size: Size = WIDE) -> Drawing:
    """Draw the section to scale next to (on a phone above) the deck, enlarged in height so that it can be seen.

    Raises ValueError if a length is missing or not above nought.
    """
    _check(data)
    deck_width = size.width - 12.0 if size.narrow else 330.0
    area = size.width if size.narrow else size.width - deck_width - 20
    top = max(data.deck_height + (data.gasket or 0), data.deck_height - data.clearance) + 0.17 * data.bore
    if data.listed_clearance is not None:
        top = max(top, data.deck_height - data.listed_clearance + 0.1 * data.bore)
    below = data.crank_radius * 0.3
    left, right = _label_room(data, size, area * 0.3)
    # The section is as wide as its bore and two walls; dimension lines and labels take the rest.
    bore_and_walls = data.bore * (1 + 2 * _WALL)
    scale = min(470 / (top + below), (area - left - right - 62) / bore_and_walls)
    section_width = bore_and_walls * scale
    section_height = max((top + below) * scale + 20, 6 * size.text + 60)  # room for three labels, however flat
    deck_height = min(max(section_height * 0.7, 250.0), 320.0)
    height = section_height + deck_height + 16 if size.narrow else max(section_height, deck_height + 20)
    canvas = Canvas(size.width, height, size)
    free = max(0.0, area - left - right - 62 - section_width)
    section = _Section(data, left + 31 + section_width / 2 + free / 2, 10 + top * scale, scale)
    _draw_block(canvas, section)
    _draw_crank_and_rod(canvas, section)
    _draw_piston(canvas, section)
    _dimension_chain(canvas, section, left, right)
    if size.narrow:
        _draw_deck(canvas, section, (6, section_height + 12, deck_width, deck_height))
    else:
        _draw_deck(canvas, section, (size.width - deck_width, (height - deck_height) / 2, deck_width - 4, deck_height))
    return canvas.to_drawing(name, "Deck stack-up at top dead center", _description(data))


def _check(data: StackUp) -> None:
    """Raise ValueError for a length that cannot be drawn."""
    lengths = {
        "crank radius": data.crank_radius,
        "rod": data.rod,
        "compression height": data.compression_height,
        "deck height": data.deck_height,
        "bore": data.bore,
    }
    for name, value in lengths.items():
        if not (math.isfinite(value) and 0 < value < 1e6):
            raise ValueError(f"{name} must be a length above nought, not {value}")
    for name, optional in (("gasket", data.gasket), ("listed compression height", data.listed_compression_height)):
        if optional is not None and not (math.isfinite(optional) and 0 <= optional < 1e6):
            raise ValueError(f"{name} must be a length, not {optional}")
    if not math.isfinite(data.clearance):
        raise ValueError("deck clearance must be a number")


def _draw_block(canvas: Canvas, section: _Section) -> None:
    """Draw the walls, the gasket and the head with a shallow chamber."""
    data, half, wall = section.data, section.half_bore, section.wall
    left, right = section.middle - half, section.middle + half
    skirt_end = section.pin + _skirt(section)
    # The bore ends where the skirt would be at the bottom of its stroke, but above the crank's swing.
    radius = data.crank_radius * section.scale
    wall_end = max(min(skirt_end + 2 * radius * 0.85, section.crank_y - radius * 0.35), skirt_end + 6)
    gasket = (data.gasket or 0.0) * section.scale
    face = section.deck - gasket
    for x in (left - wall, right):
        canvas.box(x, section.deck, wall, wall_end - section.deck, METAL, **_EDGE, zorder=1)
        if data.gasket:
            canvas.box(x, face, wall, gasket, SECOND, zorder=1.2)
    rise = 0.15 * data.bore * section.scale
    xs = [left - wall, left + 0.18 * half, left + 0.5 * half, right - 0.5 * half, right - 0.18 * half, right + wall]
    ys = [face, face, face - 0.55 * rise, face - 0.55 * rise, face, face]
    canvas.area([*xs, right + wall, left - wall], [*ys, face - rise, face - rise], METAL, **_EDGE, zorder=0.9)


def _skirt(section: _Section) -> float:
    """Return how far the skirt reaches below the pin [px]."""
    return 0.55 * section.data.compression_height * section.scale


def _draw_crank_and_rod(canvas: Canvas, section: _Section) -> None:
    """Draw the crank's center, the circle of the crankpin and the throw, and the rod as a beam between two eyes."""
    data, middle, crank_y, pin, big = section.data, section.middle, section.crank_y, section.pin, section.crankpin
    radius = data.crank_radius * section.scale
    arc = [a for i in range(61) if 0.3 < (a := 2 * math.pi * i / 60) < 2.85]
    xs, ys = [middle + radius * math.cos(a) for a in arc], [crank_y - radius * math.sin(a) for a in arc]
    canvas.line(xs, ys, QUIET, linestyle=(0, (3, 3)))
    _draw_cross(canvas, middle, crank_y, 14, 10)
    canvas.line([middle, middle], [crank_y, big], INK, linewidth=5.0, alpha=0.25)
    small_eye, big_eye = 0.16 * data.bore * section.scale, 0.2 * data.bore * section.scale
    beam = [middle - small_eye * 0.55, middle + small_eye * 0.55, middle + big_eye * 0.7, middle - big_eye * 0.7]
    canvas.area(beam, [pin, pin, big, big], METAL, **_EDGE, zorder=2.0)
    for y, eye, inner in ((pin, small_eye, 0.62), (big, big_eye, 0.72)):
        canvas.circle(middle, y, eye, METAL, INK, linewidth=1.0, zorder=2.4)
        canvas.circle(middle, y, eye * inner, PAPER, INK, linewidth=1.0, zorder=2.4)
        _draw_cross(canvas, middle, y, 4, 4, linewidth=0.8, zorder=3)


def _draw_cross(canvas: Canvas, x: float, y: float, half_width: float, half_height: float, **style: Any) -> None:
    xs = [x - half_width, x + half_width, math.nan, x, x]
    canvas.line(xs, [y, y, math.nan, y - half_height, y + half_height], INK, **style)


def _draw_piston(canvas: Canvas, section: _Section) -> None:
    """Draw the piston with its rings, and the outline of the listed one."""
    data, half, crown, pin = section.data, section.half_bore, section.crown, section.pin
    gap = max(1.2, 0.008 * half)
    left, right, floor = section.middle - half + gap, section.middle + half - gap, pin + _skirt(section)
    xs, ys = [left, right, right, left], [crown, crown, floor, floor]
    canvas.area(xs, ys, PAPER, edgecolor=ACCENT, linewidth=1.6, zorder=1.6)
    land = (pin - crown) * 0.17
    for i in range(3):
        y = crown + land * (1 + i * 0.95)
        for x0, x1 in ((left, left + 0.1 * half), (right - 0.1 * half, right)):
            canvas.line([x0, x1], [y, y], ACCENT, linewidth=1.8, zorder=3)
    if data.listed_clearance is not None:
        listed = section.y(data.deck_height - data.listed_clearance)
        canvas.line([left, left, right, right], [crown, listed, listed, crown], CAUTION, **_DASHED, zorder=3.2)


def _dimension_line(canvas: Canvas, x: float, dimension: _Dimension) -> None:
    """Draw a dimension line with slanting ticks, which can be read however short it is."""
    canvas.line([x, x], [dimension.top, dimension.bottom], dimension.colour, zorder=3)
    for y in (dimension.top, dimension.bottom):
        canvas.line([x - 4, x + 4], [y + 4, y - 4], dimension.colour, linewidth=1.4, zorder=3)


def _label(canvas: Canvas, x: float, y: float, dimension: _Dimension, anchor: str, room: float) -> None:
    """Write two lines: what it is, and how long."""
    size = canvas.size
    label, value = truncate(dimension.label, room, size.small), truncate(dimension.value, room, size.text, True)
    canvas.text(x, y - 2, label, anchor=anchor, colour=QUIET, size=size.small)
    canvas.text(x, y + size.text, value, anchor=anchor, colour=dimension.colour, bold=True)


def _listed_text(data: StackUp) -> str:
    """Return the listed compression height as written, or nothing where none is given."""
    listed = data.listed_compression_height
    return "" if listed is None else f"listed {data.text(listed)}"


def _label_room(data: StackUp, size: Size, maximum: float) -> tuple[float, float]:
    """Return the room for the labels at the left and at the right of the section [px]."""
    left = [width(t, size.small) for t in ("Compression height", "Crank radius", _listed_text(data))]
    left += [width(data.text(v), size.text, True) for v in (data.compression_height, data.rod, data.crank_radius)]
    right = max(width("Deck height", size.small), width(data.text(data.deck_height), size.text, True))
    return min(max(left) + 2, maximum), min(right + 2, maximum)


def _dimension_chain(canvas: Canvas, section: _Section, left: float, right: float) -> None:
    """Draw crank radius, rod and compression height one on the other at the left, the deck height at the right."""
    data, size = section.data, canvas.size
    distance = section.half_bore + section.wall + 18
    x = section.middle - distance
    for y in (section.crank_y, section.crankpin, section.pin, section.crown):
        canvas.line([x - 4, section.middle], [y, y], RULE, linewidth=0.8, zorder=0.5)
    label = "Compression height" if width("Compression height", size.small) <= left else "Comp. height"
    dimensions = [
        _Dimension(section.crown, section.pin, label, data.text(data.compression_height), ACCENT),
        _Dimension(section.pin, section.crankpin, "Rod", data.text(data.rod), INK),
        _Dimension(section.crankpin, section.crank_y, "Crank radius", data.text(data.crank_radius), INK),
    ]
    listed, line = _listed_text(data), size.small + 4
    extra = line if listed else 0
    label_height = 2 * size.text + 8
    heights = [label_height + extra, label_height, label_height]
    middles = avoid_overlap([d.middle for d in dimensions], heights, 0, canvas.height)
    middles[0] += extra / 2
    for dimension, y in zip(dimensions, middles, strict=True):
        _dimension_line(canvas, x, dimension)
        _label(canvas, x - 9, y, dimension, "right", left)
    listed_label = truncate(listed, left, size.small)
    canvas.text(x - 9, middles[0] - 2 - line, listed_label, anchor="right", colour=CAUTION, size=size.small)
    x = section.middle + distance
    for y in (section.crank_y, section.deck):
        canvas.line([section.middle, x + 4], [y, y], RULE, linewidth=0.8, zorder=0.5)
    deck = _Dimension(section.deck, section.crank_y, "Deck height", data.text(data.deck_height), INK)
    _dimension_line(canvas, x, deck)
    _label(canvas, x + 9, deck.middle, deck, "left", right)


def _draw_deck(canvas: Canvas, section: _Section, box: tuple[float, float, float, float]) -> None:
    """Draw the deck enlarged: crown, deck, gasket and head face, and the distances between them."""
    data, size = section.data, canvas.size
    x, y, box_width, box_height = box
    gasket = data.gasket or 0.0
    levels = [0.0, gasket, -data.clearance] + ([] if data.listed_clearance is None else [-data.listed_clearance])
    inner = box_height - 96
    scale = inner / (max(levels) - min(levels) or data.bore * 0.01)
    deck = y + 52 + max(levels) * scale
    face, crown = deck - gasket * scale, deck + data.clearance * scale
    end = y + 52 + inner + 34
    piston, wall = 0.24 * box_width, 0.38 * box_width
    canvas.text(x, y + 12, _magnification_text(scale / section.scale), bold=True)
    canvas.box(x, face - 24, wall, 24, METAL, **_EDGE, zorder=0.8)
    canvas.text(x + 6, face - 8, "head", colour=QUIET, size=size.small)
    canvas.box(x + piston + 6, deck, wall - piston - 6, end - deck, METAL, **_EDGE, zorder=0.8)
    block_x = x + (piston + 6 + wall) / 2
    canvas.text(block_x, end - 9, "block", anchor="center", colour=QUIET, size=size.small)
    if gasket:
        canvas.box(x + piston + 10, face, wall - piston - 10, deck - face, SECOND, alpha=0.35, zorder=0.9)
    canvas.area([x, x + piston, x + piston, x], [crown, crown, end, end], PAPER, zorder=0.9)
    canvas.line([x, x + piston, x + piston], [crown, crown, end], ACCENT, linewidth=2.0, zorder=2.5)
    canvas.text(x + 6, end - 9, "piston", colour=QUIET, size=size.small)

    dimensions = _deck_dimensions(data, deck, face, crown)
    column = x + wall + 12
    columns_end = column + 14 * len(dimensions)
    for level in dict.fromkeys((face, deck, crown)):
        start = x + (piston if level == crown else wall)
        canvas.line([start, columns_end], [level, level], RULE, linewidth=0.8, zorder=0.5)
    label_x = columns_end + 10
    room = x + box_width - label_x
    listed = [] if data.listed_clearance is None else [_listed_crown(data, deck + data.listed_clearance * scale)]
    centres = [dimension.middle for dimension in (*dimensions, *listed)]
    label_ys = avoid_overlap(centres, 2 * size.text + 9, y + 22, end + 6)
    for n, (dimension, label_y) in enumerate(zip(dimensions, label_ys, strict=False)):
        line_x = column + 14 * n
        _dimension_line(canvas, line_x, dimension)
        leader = [dimension.middle, label_y]
        canvas.line([line_x, label_x - 3], leader, dimension.colour, linewidth=0.7, zorder=0.6)
        _label(canvas, label_x, label_y, dimension, "left", room)
    for crown_line in listed:
        start = x + width("head", size.small) + 12
        canvas.line([start, columns_end], [crown_line.top] * 2, CAUTION, **_DASHED, zorder=2.6)
        canvas.line([columns_end, label_x - 3], [crown_line.top, label_ys[-1]], CAUTION, linewidth=0.7)
        _label(canvas, label_x, label_ys[-1], crown_line, "left", room)


def _deck_dimensions(data: StackUp, deck: float, face: float, crown: float) -> list[_Dimension]:
    """Return gasket, deck clearance and quench, as far as there is a gasket."""
    label = "Crown above deck" if data.clearance < 0 else "Deck clearance"
    clearance = _Dimension(min(deck, crown), max(deck, crown), label, data.text(abs(data.clearance)), ACCENT)
    if not data.gasket:
        return [clearance]
    quench = data.gasket + data.clearance
    label, colour = ("Quench", INK) if quench >= 0 else ("Crown into head", CAUTION)
    return [
        _Dimension(face, deck, "Gasket", data.text(data.gasket), SECOND),
        clearance,
        _Dimension(min(face, crown), max(face, crown), label, data.text(abs(quench)), colour),
    ]


def _listed_crown(data: StackUp, y: float) -> _Dimension:
    """Return the level of the listed piston's crown, as a dimension of no length."""
    return _Dimension(y, y, "Crown, as listed", data.position_text(data.listed_clearance or 0.0, "level"), CAUTION)


def _magnification_text(factor: float) -> str:
    rounded = float(f"{factor:.1g}") if factor >= 10 else round(factor, 1)
    return f"At the deck, height ×{rounded:g}" if factor < 1e5 else "At the deck, height enlarged"


def _description(data: StackUp) -> str:
    total = data.crank_radius + data.rod + data.compression_height
    text = (
        f"Cylinder in section at top dead center, to scale. Crank radius {data.text(data.crank_radius)}, rod "
        f"{data.text(data.rod)} and compression height {data.text(data.compression_height)} are together "
        f"{data.text(total)}; the deck height is {data.text(data.deck_height)}, so that the crown is "
        f"{data.position_text(data.clearance, 'level with')} the deck."
    )
    if data.gasket is not None:
        quench = data.gasket + data.clearance
        text += f" With a gasket of {data.text(data.gasket)} "
        text += (
            f"the quench is {data.text(quench)}."
            if quench >= 0
            else f"the crown meets the head by {data.text(-quench)}."
        )
    if data.listed_clearance is not None and data.listed_compression_height is not None:
        text += (
            f" The piston is listed with a compression height of {data.text(data.listed_compression_height)}, which "
            f"would put the crown {data.position_text(data.listed_clearance, 'level with')} the deck; that is drawn as "
            "a dashed outline."
        )
    return text
