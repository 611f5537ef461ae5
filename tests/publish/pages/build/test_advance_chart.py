"""The advance curve of a distributor as a chart."""

from __future__ import annotations

from pathlib import Path

from builder.figures.core.guard import Guard
from builder.figures.evaluate import compute
from builder.publish.pages.build.charts import charts_for
from builder.record.models.shop import Shop
from tests.support.figure_records import V8, read

TOP_END = """
    distributor:
      counted_in: distributor
      curve: [{speed: 500 rpm, advance: 0 deg}, {speed: 1400 rpm, advance: 11 deg}]
      vacuum: {most: 7 deg}
"""


def _description(archive: Path, settings: str) -> str:
    build = read(archive, {**V8, "top_end": TOP_END, "delivery": settings})
    (found,) = (
        item
        for item in charts_for(build, compute(build, Shop()), Shop(), Guard("build"))
        if item.request.name == "advance_curve"
    )
    return found.request.draw().description


def test_the_curve_is_spark_timing_where_that_at_idle_is_known(tmp_path: Path) -> None:
    text = _description(tmp_path, "settings: {idle_timing: 12 deg, idle_speed: 800 rpm}\n")
    assert "Spark advance, before TDC: Full throttle 12.0 to 34.0°" in text.replace("\N{NO-BREAK SPACE}", " ")
    assert "With vacuum advance 26.0 to 48.0°" in text.replace("\N{NO-BREAK SPACE}", " ")


def test_without_timing_at_idle_it_is_the_advance_alone(tmp_path: Path) -> None:
    text = _description(tmp_path, "settings: {total_timing: 34 deg}\n")
    assert "Mechanical advance: Full throttle 0 to 22.0°" in text.replace("\N{NO-BREAK SPACE}", " ")
