"""The cylinder in section at top dead centre, to scale, with the stack-up of its deck dimensioned."""

from __future__ import annotations

import math
from dataclasses import dataclass

from builder.draw.axes import avoid_overlap
from builder.draw.canvas import Canvas
from builder.draw.chart_cache import chart
from builder.draw.drawing import Drawing
from builder.draw.labels import number, truncate, width
from builder.draw.style import ACCENT, CAUTION, INK, METAL, PAPER, QUIET, RULE, SECOND, WIDE, Size


@dataclass(frozen=True)
class StackUp:
    """The lengths that decide where the piston stands at top dead centre, all in one unit.

    ``compression_height`` is the one that counts (measured where it was measured). Give
    ``listed_compression_height`` where the part was sold as something else: it is drawn as a ghost.
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
        """Where the crown would stand with the listed part."""
        if self.listed_compression_height is None:
            return None
        return self.clearance + self.compression_height - self.listed_compression_height

    def says(self, value: float) -> str:
        """A length as it is written in the drawing."""
        return f"{number(value, self.decimals)} {truncate(self.unit, 80, 12)}"


_WALL = 0.17  # thickness of the drawn wall, in bores


@dataclass(frozen=True)
class _View:
    """Where the section stands on the sheet: middle of the bore, crank centreline, pixels per unit."""

    middle: float
    foot: float
    scale: float

    def y(self, height: float) -> float:
        return self.foot - height * self.scale


@chart
def stack_up(of: StackUp, *, name: str = "stack_up", size: Size = WIDE) -> Drawing:
    """The section to scale beside (on a phone above) the deck, drawn larger in height so that it can be seen.

    Raises ValueError if a length is missing or not above nought.
    """
    lengths = {
        "crank radius": of.crank_radius,
        "rod": of.rod,
        "compression height": of.compression_height,
        "deck height": of.deck_height,
        "bore": of.bore,
    }
    for what, value in lengths.items():
        if not (math.isfinite(value) and 0 < value < 1e6):
            raise ValueError(f"{what} must be a length above nought, not {value}")
    for what, extra in (("gasket", of.gasket), ("listed compression height", of.listed_compression_height)):
        if extra is not None and not (math.isfinite(extra) and 0 <= extra < 1e6):
            raise ValueError(f"{what} must be a length, not {extra}")
    if not math.isfinite(of.clearance):
        raise ValueError("deck clearance must be a number")

    inset_wide = size.width - 12.0 if size.narrow else 330.0
    area = size.width if size.narrow else size.width - inset_wide - 20
    top = max(of.deck_height + (of.gasket or 0), of.deck_height - of.clearance) + 0.17 * of.bore
    if of.listed_clearance is not None:
        top = max(top, of.deck_height - of.listed_clearance + 0.1 * of.bore)
    below = of.crank_radius * 0.3
    left, right = _rooms(of, size, area * 0.3)
    # The section is as wide as its bore and two walls; dimension lines and labels take the rest.
    scale = min(470 / (top + below), (area - left - right - 62) / (of.bore * (1 + 2 * _WALL)))
    used = of.bore * (1 + 2 * _WALL) * scale
    tall = max((top + below) * scale + 20, 6 * size.text + 60)  # room for three labels, however flat
    inset_tall = min(max(tall * 0.7, 250.0), 320.0)
    height = tall + inset_tall + 16 if size.narrow else max(tall, inset_tall + 20)
    sheet = Canvas(size.width, height, size)
    spare = max(0.0, area - left - right - 62 - used)
    view = _View(left + 31 + used / 2 + spare / 2, 10 + top * scale, scale)
    _section(sheet, of, view)
    _dimension_chain(sheet, of, view, left, right)
    if size.narrow:
        _deck(sheet, of, view, (6, tall + 12, inset_wide, inset_tall))
    else:
        _deck(sheet, of, view, (size.width - inset_wide, (height - inset_tall) / 2, inset_wide - 4, inset_tall))
    return sheet.to_drawing(name, "Deck stack-up at top dead centre", _description(of))


def _section(sheet: Canvas, of: StackUp, v: _View) -> None:
    half = of.bore / 2 * v.scale
    wall = _WALL * of.bore * v.scale
    left, right = v.middle - half, v.middle + half
    deck = v.y(of.deck_height)
    crown = v.y(of.deck_height - of.clearance)
    pin = v.y(of.crank_radius + of.rod)
    big = v.y(of.crank_radius)
    # The bore ends where the skirt would be at the bottom of its stroke, but above the crank's swing.
    skirt = 0.55 * of.compression_height * v.scale
    wall_end = min(pin + skirt + 2 * of.crank_radius * v.scale * 0.85, v.foot - of.crank_radius * v.scale * 0.35)
    wall_end = max(wall_end, pin + skirt + 6)
    edge = {"edgecolor": INK, "linewidth": 1.0}
    for x in (left - wall, right):
        sheet.box(x, deck, wall, wall_end - deck, METAL, **edge, zorder=1)
    gasket = (of.gasket or 0.0) * v.scale
    head = deck - gasket
    if of.gasket:
        for x in (left - wall, right):
            sheet.box(x, head, wall, gasket, SECOND, zorder=1.2)
    # The head: its face over the walls, a shallow chamber over the middle of the bore.
    rise = 0.15 * of.bore * v.scale
    xs = [left - wall, left + 0.18 * half, left + 0.5 * half, right - 0.5 * half, right - 0.18 * half, right + wall]
    ys = [head, head, head - 0.55 * rise, head - 0.55 * rise, head, head]
    sheet.area([*xs, right + wall, left - wall], [*ys, head - rise, head - rise], METAL, **edge, zorder=0.9)

    # Crank: its centre, the circle of the crankpin, the throw.
    r = of.crank_radius * v.scale
    arc = [a for i in range(61) if 0.3 < (a := 2 * math.pi * i / 60) < 2.85]
    sheet.line(
        [v.middle + r * math.cos(a) for a in arc], [v.foot - r * math.sin(a) for a in arc], QUIET, linestyle=(0, (3, 3))
    )
    sheet.line(
        [v.middle - 14, v.middle + 14, math.nan, v.middle, v.middle],
        [v.foot, v.foot, math.nan, v.foot - 10, v.foot + 10],
        INK,
    )
    sheet.line([v.middle, v.middle], [v.foot, big], INK, linewidth=5.0, alpha=0.25)
    # Rod: a tapered beam between two eyes.
    small_eye, big_eye = 0.16 * of.bore * v.scale, 0.2 * of.bore * v.scale
    sheet.area(
        [v.middle - small_eye * 0.55, v.middle + small_eye * 0.55, v.middle + big_eye * 0.7, v.middle - big_eye * 0.7],
        [pin, pin, big, big],
        METAL,
        **edge,
        zorder=2.0,
    )
    # Piston over the rod's upper eye.
    gap = max(1.2, 0.008 * half)
    floor = pin + skirt
    body = [left + gap, right - gap]
    sheet.area(
        [body[0], body[1], body[1], body[0]],
        [crown, crown, floor, floor],
        PAPER,
        edgecolor=ACCENT,
        linewidth=1.6,
        zorder=1.6,
    )
    land = (pin - crown) * 0.17
    for i in range(3):
        y = crown + land * (1 + i * 0.95)
        for a, b in ((body[0], body[0] + 0.1 * half), (body[1] - 0.1 * half, body[1])):
            sheet.line([a, b], [y, y], ACCENT, linewidth=1.8, zorder=3)
    for x, y, eye, inner in ((v.middle, pin, small_eye, 0.62), (v.middle, big, big_eye, 0.72)):
        for radius, fill in ((eye, METAL), (eye * inner, PAPER)):
            sheet.circle(x, y, radius, fill, INK, linewidth=1.0, zorder=2.4)
        sheet.line([x - 4, x + 4, math.nan, x, x], [y, y, math.nan, y - 4, y + 4], INK, linewidth=0.8, zorder=3)
    if of.listed_clearance is not None:
        ghost = v.y(of.deck_height - of.listed_clearance)
        sheet.line(
            [body[0], body[0], body[1], body[1]],
            [crown, ghost, ghost, crown],
            CAUTION,
            linewidth=1.5,
            linestyle=(0, (4, 2.5)),
            zorder=3.2,
        )


def _dimension(sheet: Canvas, x: float, top: float, bottom: float, colour: str) -> None:
    """A dimension line with slanting ticks, which can be read however short it is."""
    sheet.line([x, x], [top, bottom], colour, zorder=3)
    for y in (top, bottom):
        sheet.line([x - 4, x + 4], [y + 4, y - 4], colour, linewidth=1.4, zorder=3)


def _named(sheet: Canvas, x: float, y: float, words: str, value: str, colour: str, anchor: str, room: float) -> None:
    """Two lines: what it is, and how long."""
    size = sheet.size
    sheet.text(x, y - 2, truncate(words, room, size.small), anchor=anchor, colour=QUIET, size=size.small)
    sheet.text(x, y + size.text, truncate(value, room, size.text, True), anchor=anchor, colour=colour, bold=True)


def _rooms(of: StackUp, size: Size, most: float) -> tuple[float, float]:
    """Room for the labels at the left and at the right of the section [px]."""
    left = [width(t, size.small) for t in ("Compression height", "Crank radius")]
    left += [width(of.says(x), size.text, True) for x in (of.compression_height, of.rod, of.crank_radius)]
    if of.listed_compression_height is not None:
        left.append(width(f"listed {of.says(of.listed_compression_height)}", size.small))
    right = max(width("Deck height", size.small), width(of.says(of.deck_height), size.text, True))
    return min(max(left) + 2, most), min(right + 2, most)


def _dimension_chain(sheet: Canvas, of: StackUp, v: _View, left: float, right: float) -> None:
    """Crank radius, rod and compression height one on the other at the left, the deck height at the right."""
    size = sheet.size
    half = of.bore * (0.5 + _WALL) * v.scale
    x = v.middle - half - 18
    deck, crown = v.y(of.deck_height), v.y(of.deck_height - of.clearance)
    pin, big = v.y(of.crank_radius + of.rod), v.y(of.crank_radius)
    for y in (v.foot, big, pin, crown):
        sheet.line([x - 4, v.middle], [y, y], RULE, linewidth=0.8, zorder=0.5)
    words = "Compression height" if width("Compression height", size.small) <= left else "Comp. height"
    parts = [
        (crown, pin, words, of.says(of.compression_height), ACCENT),
        (pin, big, "Rod", of.says(of.rod), INK),
        (big, v.foot, "Crank radius", of.says(of.crank_radius), INK),
    ]
    room = left
    listed = of.listed_compression_height is not None
    line = size.small + 4
    sizes = [2 * size.text + 8 + (line if listed else 0), 2 * size.text + 8, 2 * size.text + 8]
    middles = avoid_overlap([(a + b) / 2 for a, b, *_ in parts], sizes, 0, sheet.height)
    middles[0] += line / 2 if listed else 0
    for (a, b, words, value, colour), y in zip(parts, middles, strict=True):
        _dimension(sheet, x, a, b, colour)
        _named(sheet, x - 9, y, words, value, colour, "right", room)
    if of.listed_compression_height is not None:
        text = truncate(f"listed {of.says(of.listed_compression_height)}", room, size.small)
        sheet.text(x - 9, middles[0] - 2 - line, text, anchor="right", colour=CAUTION, size=size.small)
    x = v.middle + half + 18
    for y in (v.foot, deck):
        sheet.line([v.middle, x + 4], [y, y], RULE, linewidth=0.8, zorder=0.5)
    _dimension(sheet, x, deck, v.foot, INK)
    _named(sheet, x + 9, (deck + v.foot) / 2, "Deck height", of.says(of.deck_height), INK, "left", right)


def _deck(sheet: Canvas, of: StackUp, v: _View, box: tuple[float, float, float, float]) -> None:
    """The deck enlarged: crown, deck, gasket and head face, and the distances between them."""
    size = sheet.size
    x, y, wide, tall = box
    gasket = of.gasket or 0.0
    crown = -of.clearance
    levels = [0.0, gasket, crown] + ([-of.listed_clearance] if of.listed_clearance is not None else [])
    span = max(levels) - min(levels) or of.bore * 0.01
    inner = tall - 96
    scale = inner / span
    zero = y + 52 + max(levels) * scale  # the deck's own height on the sheet

    def at(level: float) -> float:
        return zero - level * scale

    end = y + 52 + inner + 34
    piston, wall = 0.24 * wide, 0.38 * wide
    sheet.text(x, y + 12, _enlarged(scale / v.scale), bold=True)
    edge = {"edgecolor": INK, "linewidth": 1.0}
    face = at(gasket)
    sheet.box(x, face - 24, wall, 24, METAL, **edge, zorder=0.8)
    sheet.text(x + 6, face - 8, "head", colour=QUIET, size=size.small)
    sheet.box(x + piston + 6, zero, wall - piston - 6, end - zero, METAL, **edge, zorder=0.8)
    sheet.text(x + (piston + 6 + wall) / 2, end - 9, "block", anchor="center", colour=QUIET, size=size.small)
    if gasket:
        sheet.box(x + piston + 10, face, wall - piston - 10, zero - face, SECOND, alpha=0.35, zorder=0.9)
    top = at(crown)
    sheet.area([x, x + piston, x + piston, x], [top, top, end, end], PAPER, zorder=0.9)
    sheet.line([x, x + piston, x + piston], [top, top, end], ACCENT, linewidth=2.0, zorder=2.5)
    sheet.text(x + 6, end - 9, "piston", colour=QUIET, size=size.small)

    column = x + wall + 12
    parts = []
    if gasket:
        parts.append((face, zero, "Gasket", of.says(gasket), SECOND))
    words = "Crown above deck" if of.clearance < 0 else "Deck clearance"
    parts.append((min(zero, top), max(zero, top), words, of.says(abs(of.clearance)), ACCENT))
    if gasket:
        quench = gasket + of.clearance
        words, colour = ("Quench", INK) if quench >= 0 else ("Crown into head", CAUTION)
        parts.append((min(face, top), max(face, top), words, of.says(abs(quench)), colour))
    for level in {face, zero, top}:
        sheet.line(
            [x + wall - (wall - piston if level == top else 0), column + 14 * len(parts)],
            [level, level],
            RULE,
            linewidth=0.8,
            zorder=0.5,
        )
    step = 2 * size.text + 9
    ghosts = of.listed_clearance is not None
    room = x + wide - (column + 14 * len(parts) + 10)
    wanted = [(a + b) / 2 for a, b, *_ in parts]
    if ghosts:
        wanted.append(at(-(of.listed_clearance or 0.0)))
    placed = avoid_overlap(wanted, step, y + 22, end + 6)
    for n, ((a, b, words, value, colour), middle) in enumerate(zip(parts, placed, strict=False)):
        across = column + 14 * n
        _dimension(sheet, across, a, b, colour)
        text_x = column + 14 * len(parts) + 10
        sheet.line([across, text_x - 3], [(a + b) / 2, middle], colour, linewidth=0.7, zorder=0.6)
        _named(sheet, text_x, middle, words, value, colour, "left", room)
    if ghosts:
        ghost = wanted[-1]
        sheet.line(
            [x + width("head", size.small) + 12, column + 14 * len(parts)],
            [ghost, ghost],
            CAUTION,
            linewidth=1.5,
            linestyle=(0, (4, 2.5)),
            zorder=2.6,
        )
        text_x = column + 14 * len(parts) + 10
        sheet.line([column + 14 * len(parts), text_x - 3], [ghost, placed[-1]], CAUTION, linewidth=0.7)
        _named(
            sheet,
            text_x,
            placed[-1],
            "Crown, as listed",
            _listed_outline(of).replace("level with", "level"),
            CAUTION,
            "left",
            room,
        )


def _enlarged(times: float) -> str:
    rounded = float(f"{times:.1g}") if times >= 10 else round(times, 1)
    return f"At the deck, height ×{rounded:g}" if times < 1e5 else "At the deck, height enlarged"


def _listed_outline(of: StackUp) -> str:
    return _standing(of, of.listed_clearance or 0.0)


def _standing(of: StackUp, clearance: float) -> str:
    """Where a crown stands in words; level, where the difference is less than is written."""
    if abs(clearance) < 0.5 * 10.0**-of.decimals:
        return "level with"
    return f"{of.says(abs(clearance))} {'above' if clearance < 0 else 'below'}"


def _description(of: StackUp) -> str:
    total = of.crank_radius + of.rod + of.compression_height
    text = (
        f"Cylinder in section at top dead centre, to scale. Crank radius {of.says(of.crank_radius)}, rod "
        f"{of.says(of.rod)} and compression height {of.says(of.compression_height)} are together {of.says(total)}; "
        f"the deck height is {of.says(of.deck_height)}, so that the crown stands "
        f"{_standing(of, of.clearance)} the deck."
    )
    if of.gasket is not None:
        quench = of.gasket + of.clearance
        text += f" With a gasket of {of.says(of.gasket)} "
        text += (
            f"the quench is {of.says(quench)}." if quench >= 0 else f"the crown meets the head by {of.says(-quench)}."
        )
    if of.listed_clearance is not None and of.listed_compression_height is not None:
        text += (
            f" The piston is listed with a compression height of {of.says(of.listed_compression_height)}, which "
            f"would put the crown {_listed_outline(of)} the deck; that is drawn as a dashed outline."
        )
    return text
