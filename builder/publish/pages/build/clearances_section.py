"""Fits and checks as a page shows them: each against its range, where in it the readings lie, and the verdict."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from builder.figures.review.clearance_checks import FIGURE_OF_CHECK, CheckedClearance


@dataclass(frozen=True)
class ClearanceRow:
    """One fit or check, ready to be set."""

    title: str
    slug: str
    """The figure it belongs to, for a word of the glossary and a link to its working."""
    remarks: tuple[str, ...]
    allowed: str
    authority: str
    minimum: str
    mean: str
    maximum: str
    gauge_svg: Markup
    place_text: str
    verdict: str
    out_of_range: bool
    outlier: str


def clearance_rows(clearances: tuple[CheckedClearance, ...], *kinds: str) -> tuple[ClearanceRow, ...]:
    """The judged fits of these kinds, in the order of the record."""
    return tuple(_row(fit) for fit in clearances if fit.kind in kinds)


def _row(fit: CheckedClearance) -> ClearanceRow:
    one = len(fit.readings) == 1
    place = fit.position_in_range
    remarks = [
        "from the parts, not gauged" if fit.computed else None,
        f"by {fit.by}" if fit.by else None,
        fit.note,
        f"accepted by {fit.accepted.by}: {fit.accepted.why}" if fit.accepted else None,
    ]
    odd = f"{fit.axis} {fit.outlier} stands out" if fit.outlier and fit.axis else ""
    out = ", ".join(f"{fit.axis} {at.label}" for at in fit.out_of_range) if fit.axis else ""
    return ClearanceRow(
        fit.title,
        FIGURE_OF_CHECK.get(fit.path.rpartition(".")[2], ""),
        tuple(remark for remark in remarks if remark),
        fit.limits.text,
        "" if fit.limits.authority == "as recorded" else fit.limits.authority,
        "" if one else fit.minimum.text,
        fit.mean_text,
        "" if one else fit.maximum.text,
        Markup() if place is None else _range_gauge(fit),
        "" if place is None else f"{100 * place:.0f} %",
        fit.verdict.replace("out of range", f"out of range at {out}") if out else fit.verdict,
        bool(fit.out_of_range),
        odd,
    )


def _range_gauge(fit: CheckedClearance) -> Markup:
    """The allowed range as a bar, the readings as ticks in it, their mean as a point; it stands beside the number."""
    least, most = fit.limits.minimum or 0.0, fit.limits.maximum or 0.0

    def x(value: float) -> str:
        return f"{12 + 56 * min(1.14, max(-0.14, (value - least) / (most - least))):.1f}"

    ticks = "".join(f'<path d="M{x(v)} 3v10"/>' for v in sorted({at.value for at in fit.readings}))
    return Markup(
        f'<svg class="mb-place" viewBox="0 0 80 16" width="80" height="16" aria-hidden="true" focusable="false">'
        f'<rect x="12" y="4" width="56" height="8"/>{ticks}<circle cx="{x(fit.mean)}" cy="8" r="3.4"/></svg>'
    )
