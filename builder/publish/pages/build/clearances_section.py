"""Clearances and checks as a page shows them: the allowed range, the readings in it, and the verdict."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from markupsafe import Markup

from builder.figures.review.clearance_checks import CheckedClearance
from builder.publish.pages.formatting import sentence
from builder.record.models.build import Build
from builder.record.quantities.digits import rounded


@dataclass(frozen=True)
class ClearanceRow:
    """One clearance or check as texts."""

    title: str
    slug: str
    """The figure of the same quantity, for its entry in the glossary; may be empty."""
    remarks: tuple[str, ...]
    allowed: str
    authority: str
    """Whose limits they are."""
    minimum: str
    mean: str
    maximum: str
    gauge_svg: Markup
    place_text: str
    """Where in the allowed range the mean is, as a percentage."""
    verdict: str
    out_of_range: bool
    outlier: str


def clearance_rows(clearances: Iterable[CheckedClearance], *kinds: str) -> tuple[ClearanceRow, ...]:
    """Return the checked clearances of these kinds, in the order of the record."""
    return tuple(_row(clearance) for clearance in clearances if clearance.kind in kinds)


def _row(clearance: CheckedClearance) -> ClearanceRow:
    single = len(clearance.readings) == 1
    position, limits, accepted = clearance.position_in_range, clearance.allowed, clearance.accepted
    remarks = (
        "calculated, not measured" if clearance.computed else None,
        f"by {clearance.by}" if clearance.by else None,
        clearance.note,
        f"accepted by {accepted.by}: {accepted.why}" if accepted else None,
    )
    return ClearanceRow(
        title=clearance.title,
        slug=clearance.figure_slug or "",
        remarks=tuple(remark for remark in remarks if remark),
        allowed=limits.text,
        authority=limits.authority,
        minimum="" if single else clearance.minimum.text,
        mean=clearance.mean_text,
        maximum="" if single else clearance.maximum.text,
        gauge_svg=Markup() if position is None else _range_gauge(clearance),
        place_text="" if position is None else f"{rounded(100 * position, 0)} %",
        verdict=_verdict(clearance),
        out_of_range=bool(clearance.out_of_range),
        outlier=f"{clearance.axis} {clearance.outlier} differs from the rest"
        if clearance.outlier and clearance.axis
        else "",
    )


def _verdict(clearance: CheckedClearance) -> str:
    """Return the verdict, with the positions that are out of range."""
    if not clearance.out_of_range or not clearance.axis:
        return clearance.verdict
    positions = ", ".join(f"{clearance.axis} {reading.label}" for reading in clearance.out_of_range)
    return f"out of spec at {positions}{', accepted' if clearance.passes else ''}"


def _range_gauge(clearance: CheckedClearance) -> Markup:
    """Return an SVG of the allowed range as a bar, the readings as ticks and their mean as a dot."""
    minimum, maximum = clearance.allowed.minimum or 0.0, clearance.allowed.maximum or 0.0

    def x(value: float) -> str:
        return f"{12 + 56 * min(1.14, max(-0.14, (value - minimum) / (maximum - minimum))):.1f}"

    ticks = "".join(f'<path d="M{x(value)} 3v10"/>' for value in sorted({item.value for item in clearance.readings}))
    return Markup(
        f'<svg class="mb-place" viewBox="0 0 80 16" width="80" height="16" aria-hidden="true" focusable="false">'
        f'<rect x="12" y="4" width="56" height="8"/>{ticks}<circle cx="{x(clearance.mean)}" cy="8" r="3.4"/></svg>'
    )


def checks_without_values(build: Build) -> list[tuple[str, str]]:
    """Return title and result of each check that is not a number."""
    checks = build.get("assembly.checks")
    if checks is None:
        return []
    results = [("Oil reached every rocker", checks.oil_reached_every_rocker), ("Lash set", checks.lash_when)]
    results += [
        (sentence(check.name, ""), "; ".join(filter(None, (check.found, check.verdict)))) for check in checks.other
    ]
    return [(title, result) for title, result in results if result]
