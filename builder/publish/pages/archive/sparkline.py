"""The sketch of a build's curves on its card: torque and power over engine speed, drawn into the page itself."""

from __future__ import annotations

import math

from markupsafe import Markup

from builder.archive.summary import Summary

_WIDE, _TALL = 280.0, 70.0
_MARGIN = 4.0


def sparkline(summary: Summary) -> Markup:
    """The sketch, or nothing for a build without a curve; the numbers beside it say what it shows."""
    if summary.curve is None or len(summary.curve.torque) < 2:
        return Markup()
    speeds, torque = summary.curve.speeds, summary.curve.torque
    power = [2 * math.pi * n * t for n, t in zip(speeds, torque, strict=True)]
    lines = (_line(torque, "mb-strip-torque"), _line(power, "mb-strip-power"))
    return Markup(
        f'<svg class="mb-strip" viewBox="0 0 {_WIDE:.0f} {_TALL:.0f}" width="{_WIDE:.0f}" height="{_TALL:.0f}" '
        f'preserveAspectRatio="none" aria-hidden="true" focusable="false">'
        f'<path class="mb-strip-base" d="M0 {_TALL - 0.5}H{_WIDE:.0f}"/>'
        f"{''.join(lines)}</svg>"
    )


def _line(values: tuple[float, ...] | list[float], name: str) -> str:
    """One curve to its own height, from nought."""
    top = max(values)
    if not math.isfinite(top) or top <= 0:
        return ""
    across, up = _WIDE - 2 * _MARGIN, _TALL - 2 * _MARGIN
    points = [
        f"{_MARGIN + across * i / (len(values) - 1):.1f} {_TALL - _MARGIN - up * max(v, 0.0) / top:.1f}"
        for i, v in enumerate(values)
    ]
    at = max(range(len(values)), key=lambda i: values[i])
    return f'<path class="{name}" d="M{"L".join(points)}"/><path class="mb-strip-peak" d="M{points[at]}h0"/>'
