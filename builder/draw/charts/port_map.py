"""The ports of a two-stroke: the wall of the cylinder unrolled, to scale."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from builder.draw.canvas import Canvas
from builder.draw.chart_cache import chart
from builder.draw.drawing import Drawing
from builder.draw.labels import number, truncate, width
from builder.draw.style import ACCENT, FOURTH, INK, PAPER, QUIET, SECOND, THIRD, WIDE, Size


@dataclass(frozen=True)
class PortShape:
    """Ports of one kind: all lengths in the map's unit, the opening angle in degrees after TDC (or before it).

    ``at`` is the middle of the first of them around the bore [deg], the exhaust port at 0. ``floor`` may be left out:
    the port then ends level with the crown at BDC.
    """

    kind: str
    count: int
    roof: float
    width: float
    at: float
    floor: float | None = None
    opens: float | None = None


@dataclass(frozen=True)
class PortMap:
    """A cylinder's ports, its bore, and the depth of the crown's edge at TDC and BDC."""

    unit: str
    bore: float
    crown_tdc: float
    crown_bdc: float
    ports: tuple[PortShape, ...]
    decimals: int = 1


_COLOURS = {"exhaust": ACCENT, "transfer": SECOND, "boost": THIRD, "intake": FOURTH}
_GAP = 7.0
"""Between ports of a kind whose places are not recorded one by one [deg]."""


@chart
def port_map(data: PortMap, *, name: str = "port_map", size: Size = WIDE) -> Drawing:
    """Draw the cylinder's wall unrolled, the exhaust port in the middle, with the crown at TDC and BDC.

    Raises ValueError where there is no port, or a port is wider than the bore.
    """
    if not data.ports:
        raise ValueError("no port to draw")
    if any(not 0 < port.width <= data.bore for port in data.ports):
        raise ValueError("a port is wider than the bore")
    left, top = 8.0, 54.0
    scale = (size.width - 2 * left) / (math.pi * data.bore)
    lowest = max(data.crown_bdc, *(port.floor or 0.0 for port in data.ports))
    height = lowest * scale + size.small + 12
    canvas = Canvas(size.width, top + height + 42, size)
    title = truncate(f"Port map, cylinder unrolled, {data.unit}", size.width - 2 * left, size.text, True)
    canvas.text(left, 16, title, bold=True)
    canvas.box(left, top, size.width - 2 * left, height, "none", edgecolor=QUIET, linewidth=1.0, zorder=0.2)
    for depth, label in ((data.crown_tdc, "crown at TDC"), (data.crown_bdc, "crown at BDC")):
        y = top + depth * scale
        canvas.line([left, size.width - left], [y, y], QUIET, linestyle=(0, (5, 3)), zorder=0.3)
        baseline = y - 5 if depth == data.crown_tdc and depth * scale < 12 else y + size.small + 2
        canvas.text(left + 4, baseline, label, colour=QUIET, size=size.small)
    cut = _cut(data)
    for port in data.ports:
        floor = data.crown_bdc if port.floor is None else port.floor
        colour = _COLOURS.get(port.kind, INK)
        y, tall = top + port.roof * scale, (floor - port.roof) * scale
        for centre in _centres(port, data.bore):
            middle = left + (((centre - cut) % 360.0) / 360.0) * (size.width - 2 * left)
            half = _half_angle(port, data.bore) / 360.0 * (size.width - 2 * left)
            canvas.box(middle - half, y, 2 * half, tall, PAPER, edgecolor=colour, linewidth=1.8, zorder=0.6)
            text = port.kind if _fits(port, data.bore, scale, size) else _initial(port)
            _label(canvas, port, text, (middle, y), (2 * half, tall), size)
    initials = [f"{_initial(port)} {port.kind}" for port in data.ports if not _fits(port, data.bore, scale, size)]
    footer = ", ".join(["around the bore", *dict.fromkeys(initials)])
    canvas.text(size.width / 2, top + height + 18, footer, anchor="center", colour=QUIET, size=size.small)
    return canvas.to_drawing(name, "Port map", _description(data))


def _half_angle(port: PortShape, bore: float) -> float:
    """Return half the angle [deg] that one port takes around the bore."""
    return math.degrees(math.asin(port.width / bore))


def _centres(port: PortShape, bore: float) -> Iterator[float]:
    """Return the middles of the ports [deg]: on both sides of the exhaust's axis, or around it where they are on it."""
    step = 2 * _half_angle(port, bore) + _GAP
    if port.at % 180 == 0:
        for index in range(port.count):
            yield port.at + (index - (port.count - 1) / 2) * step
        return
    for index in range(port.count):
        yield (1 if index % 2 == 0 else -1) * (port.at + (index // 2) * step)


def _cut(data: PortMap) -> float:
    """Return where the wall is cut [deg] so that no port is cut: nearest behind the exhaust's neighbours."""
    spans = [(centre, _half_angle(port, data.bore)) for port in data.ports for centre in _centres(port, data.bore)]

    def distance(angle: float) -> float:
        return min(abs((angle - centre + 180) % 360 - 180) - half for centre, half in spans)

    candidates = [offset * sign for offset in range(-90, -181, -3) for sign in (1, -1)]
    clear = [angle for angle in candidates if distance(float(angle)) > 1.5]
    return float(clear[0] if clear else -90)


def _initial(port: PortShape) -> str:
    return port.kind[:1].upper()


def _fits(port: PortShape, bore: float, scale: float, size: Size) -> bool:
    """Return whether the name of the port can be written into it."""
    return width(port.kind, size.small) <= math.radians(_half_angle(port, bore)) * bore * scale - 4


def _label(
    canvas: Canvas, port: PortShape, text: str, place: tuple[float, float], room: tuple[float, float], size: Size
) -> None:
    """Write a port's name and opening angle into it; the middle of its top edge is ``place``, ``room`` its size."""
    angle = "" if port.opens is None else f"{number(port.opens, 1)}°"
    texts = [line for line in (text, angle) if line and width(line, size.small) <= room[0] - 2]
    line_height = size.small + 3
    if len(texts) * line_height > room[1]:
        return
    baseline = place[1] + (room[1] - len(texts) * line_height) / 2 + size.small
    for index, line in enumerate(texts):
        colour = _COLOURS.get(port.kind, INK)
        canvas.text(place[0], baseline + index * line_height, line, anchor="center", colour=colour, size=size.small)


def _description(data: PortMap) -> str:
    parts = [_port_text(port, data) for port in data.ports]
    return (
        f"The wall of the cylinder unrolled, bore {number(data.bore, data.decimals)} {data.unit}: {'; '.join(parts)}."
    )


def _port_text(port: PortShape, data: PortMap) -> str:
    text = f"{port.count} {port.kind} port{'s' if port.count != 1 else ''}, {number(port.width, data.decimals)} wide, "
    text += f"top edge {number(port.roof, data.decimals)} {data.unit} below the deck"
    side = "before" if port.kind == "intake" else "after"
    return text if port.opens is None else f"{text}, opens {number(port.opens, 1)} degrees {side} TDC"
