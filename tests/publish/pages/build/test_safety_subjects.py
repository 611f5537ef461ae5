"""The usual cautions next to figures: each subject once, in the order of the figures."""

from __future__ import annotations

from builder.publish.pages.build.safety_subjects import safety_subjects
from tests.support.figure_records import figure_of_value


def test_cautions_go_with_the_figures_that_are_there() -> None:
    slugs = ("injector_duty", "pressure_ratio", "boosted_air_demand", "volumetric_efficiency")
    figures = [figure_of_value(slug, 1.0, "1.0", "") for slug in slugs]
    assert safety_subjects(figures) == ("fuel", "boost")
    assert safety_subjects(figures[-1:]) == ()
    assert safety_subjects([figure_of_value("rod_bolt_load", 1.0, "1.0", "N")]) == ("rod bolts",)
