"""The sparkline on a build's card: torque and power over engine speed, as SVG in the page itself."""

from __future__ import annotations

import math
from collections.abc import Sequence

from markupsafe import Markup

from builder.archive.summary import Summary

_WIDTH, _HEIGHT = 280.0, 70.0
_MARGIN = 4.0


def sparkline(summary: Summary) -> Markup:
    """Return the sparkline, or nothing for a build without a curve; the card has the same in numbers."""
    if summary.curve is None or len(summary.curve.torque) < 2:
        return Markup()
    speeds, torque = summary.curve.speeds, summary.curve.torque
    power = [2 * math.pi * n * t for n, t in zip(speeds, torque, strict=True)]
    lines = (_line(torque, "mb-strip-torque"), _line(power, "mb-strip-power"))
    return Markup(
        f'<svg class="mb-strip" viewBox="0 0 {_WIDTH:.0f} {_HEIGHT:.0f}" width="{_WIDTH:.0f}" height="{_HEIGHT:.0f}" '
        f'preserveAspectRatio="none" aria-hidden="true" focusable="false">'
        f'<path class="mb-strip-base" d="M0 {_HEIGHT - 0.5}H{_WIDTH:.0f}"/>'
        f"{''.join(lines)}</svg>"
    )


def _line(values: Sequence[float], css_class: str) -> str:
    """Return one curve scaled to its own height, from nought."""
    maximum = max(values)
    if not math.isfinite(maximum) or maximum <= 0:
        return ""
    width, height = _WIDTH - 2 * _MARGIN, _HEIGHT - 2 * _MARGIN
    points = [
        f"{_MARGIN + width * i / (len(values) - 1):.1f} {_HEIGHT - _MARGIN - height * max(v, 0.0) / maximum:.1f}"
        for i, v in enumerate(values)
    ]
    peak = values.index(maximum)
    return f'<path class="{css_class}" d="M{"L".join(points)}"/><path class="mb-strip-peak" d="M{points[peak]}h0"/>'
