"""The sparkline of a build's curves on its card."""

from __future__ import annotations

from builder.archive.build_summary import summarize_build
from builder.publish.pages.archive.sparkline import sparkline
from tests.support import view_samples as samples


def test_the_sparkline_has_two_curves_and_is_empty_without_any() -> None:
    build, sheet = samples.build_and_sheet("pilot-launch-four")
    svg = sparkline(summarize_build(build, sheet))
    assert svg.count("mb-strip-peak") == 2
    assert "style=" not in svg
    assert sparkline(summarize_build(*samples.build_and_sheet("irrigation-single"))) == ""
