"""The build sheet: specification, clearances, cam, torques and settings on one page."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TypeVar

from builder.figures.core.types import FigureSheet
from builder.figures.review.clearance_checks import CheckedClearance
from builder.publish.pages.build.record_tables import cell
from builder.publish.sheets.joints import Joint, joints
from builder.publish.sheets.record_rows import LabelledValue, labelled, rows_of
from builder.publish.sheets.specification import cam_rows, specification
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.wording import capitalize, cut

T = TypeVar("T")

_MAX_TEXT = 110
"""A longer text of the record is cut: the sheet has one page, the full text is on the build's page."""
_MAX_ROWS = 30
_MAX_CLEARANCES = 30
_MAX_JOINTS = 14
_CHECKS = ("piston_to_valve", "coil_bind_clearance")
"""The figures of the checks that stand among the clearances of the sheet."""


@dataclass(frozen=True)
class ClearanceRow:
    """One clearance: what the record allows, and the lowest and highest reading."""

    title: str
    allowed: str
    measured: str
    out_of_range: bool
    computed: bool


@dataclass(frozen=True)
class BuildSheet:
    """The texts of the build sheet, block by block; an empty block was not recorded."""

    specification: tuple[LabelledValue, ...]
    cam: tuple[LabelledValue, ...]
    settings: tuple[LabelledValue, ...]
    clearances: tuple[ClearanceRow, ...]
    joints: tuple[Joint, ...]
    left_out: tuple[str, ...]
    """For each block that is cut: what the sheet has no room for."""


def build_sheet_of(build: Build, sheet: FigureSheet, shop: Shop) -> BuildSheet:
    """Return the build sheet. The build must be without its private fields."""
    both = shop.units == "both"
    left_out: list[str] = []
    shown = [item for item in sheet.clearances if item.kind not in ("check", "finish") or item.figure_slug in _CHECKS]
    clearances = _first([_clearance_row(item) for item in shown], _MAX_CLEARANCES, "clearances", left_out)
    return BuildSheet(
        specification=_rows(specification(build, sheet, both), "specification", left_out),
        cam=_rows(cam_rows(build, sheet), "cam", left_out),
        settings=_rows((*_settings(build, both), *_fluids(build)), "settings", left_out),
        clearances=tuple(replace(row, title=cut(row.title, 48)) for row in clearances),
        joints=tuple(_short_joint(joint) for joint in _first(joints(build), _MAX_JOINTS, "torques", left_out)),
        left_out=tuple(left_out),
    )


def _rows(rows: Iterable[LabelledValue], block: str, left_out: list[str]) -> tuple[LabelledValue, ...]:
    shown = _first(tuple(rows), _MAX_ROWS, block, left_out)
    return tuple(
        replace(
            row,
            title=cut(row.title, 32),
            text=cut(row.text, _MAX_TEXT),
            remarks=tuple(cut(remark, _MAX_TEXT) for remark in row.remarks[:2]),
        )
        for row in shown
    )


def _first(items: Iterable[T], count: int, block: str, left_out: list[str]) -> tuple[T, ...]:
    items = tuple(items)
    if len(items) > count:
        left_out.append(f"{len(items) - count} more in {block}")
    return items[:count]


def _short_joint(joint: Joint) -> Joint:
    return replace(
        joint,
        title=cut(joint.title, 40),
        bolts=cut(joint.bolts, 40),
        tightening=cut(joint.tightening, 60),
        lubricant=cut(joint.lubricant, 60),
    )


def _clearance_row(item: CheckedClearance) -> ClearanceRow:
    return ClearanceRow(item.title, item.allowed.text, measured_text(item), bool(item.out_of_range), item.computed)


def measured_text(item: CheckedClearance) -> str:
    """Return the readings of a clearance as one text: `0.054 to 0.060 mm`, or `0.30 mm, all 4`."""
    count, low, high = len(item.readings), item.minimum, item.maximum
    if count == 1:
        return low.text
    if low.text == high.text:
        return f"{low.text}, all {count}"
    # The unit once, but for degrees.
    return f"{low.number if low.unit == high.unit != '°' else low.text} to {high.text}"


def _settings(build: Build, both: bool) -> tuple[LabelledValue, ...]:
    settings = build.delivery.settings if build.delivery else None
    return rows_of(settings, both) if settings else ()


def _fluids(build: Build) -> tuple[LabelledValue, ...]:
    delivery = build.delivery
    if delivery is None:
        return ()
    fluids = (
        (
            capitalize(fluid.what),
            ", ".join(filter(None, (fluid.grade, cell(fluid.amount).text if fluid.amount else ""))),
        )
        for fluid in delivery.fluids
    )
    return labelled(*fluids, ("Minimum octane", delivery.least_octane))
