"""A chart that cannot be drawn is left out with a warning; a build that fails leaves the others as they are."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from builder.draw.chart_cache import ChartRequest
from builder.handover import packs
from builder.publish import record_check
from builder.publish.pages.build import charts
from builder.publish.pipeline import publish
from builder.publish.record_check import check_records, figures_report
from tests.support import tiny_archive as tiny


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    tiny.use_short_pages(tmp_path)
    for number, slug in enumerate(("ash", "birch")):
        tiny.write_build(tmp_path, slug, number=number, torque=140.0 + number)
    return tmp_path


def failing_for(slug: str, function: Callable[..., Any]) -> Callable[..., Any]:
    """Return the function, which raises an error for one build."""

    def fail(first: Any, *rest: Any, **options: Any) -> Any:
        if getattr(first, "slug", getattr(first, "name", "")) == slug:
            raise ZeroDivisionError("float division by zero")
        return function(first, *rest, **options)

    return fail


def test_a_chart_that_cannot_be_drawn_is_left_out(archive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    draw = ChartRequest.draw

    def fail_for_deck_stack(request: ChartRequest) -> Any:
        if request.name == "stack_up":
            raise ValueError("deck height must be a length above zero")
        return draw(request)

    monkeypatch.setattr(ChartRequest, "draw", fail_for_deck_stack)
    report = publish(archive, archive / "site")
    assert report.ok
    assert report.published == ("ash", "birch")
    texts = [str(problem) for problem in report.problems if "chart" in problem.message]
    assert len(texts) == 2
    assert texts[0].startswith("builds/ash:1: warning: the chart 'stack up' cannot be drawn and is left out")
    page = archive / "site" / "builds" / "ash"
    assert (page / "power_curves.svg").is_file()
    assert not (page / "stack_up.svg").exists()
    packed = packs.handover(archive, ("ash",), draft=True)
    assert packed.ok
    assert any("the chart 'stack up' cannot be drawn" in problem.message for problem in packed.problems)


def test_a_list_of_charts_that_fails_leaves_the_others(archive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def _deck_stack_chart(*arguments: object) -> Any:
        raise ValueError("deck height must be a length above zero")

    monkeypatch.setattr(charts, "_deck_stack_chart", _deck_stack_chart)
    report = publish(archive, archive / "site")
    assert report.published == ("ash", "birch")
    assert (archive / "site" / "builds" / "birch" / "power_curves.svg").is_file()
    assert [str(problem.path) for problem in report.problems] == ["builds/ash", "builds/birch"]
    assert "a chart of the deck stack cannot be drawn" in report.problems[0].message


@pytest.mark.parametrize("name", ["read_build", "compute"])
def test_check_goes_on_with_the_other_builds(archive: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    monkeypatch.setattr(record_check, name, failing_for("ash", getattr(record_check, name)))
    (archive / "builds" / "birch" / "parts.yml").write_text("")
    report = check_records(archive)
    assert not report.ok
    texts = [str(problem) for problem in report.problems]
    assert len(texts) == 2
    assert texts[0].startswith("builds/ash:1: error: the build cannot be checked and is left out")
    assert "parts.yml" in texts[1]


def test_figures_end_with_a_problem(archive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(record_check, "read_build", failing_for("ash", record_check.read_build))
    report = figures_report(archive, "ash")
    assert not report.ok
    assert "ZeroDivisionError" in report.problems[0].message


def test_handover_goes_on_with_the_other_builds(archive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from builder.handover import pack

    monkeypatch.setattr(pack, "customer_view", failing_for("ash", pack.customer_view))
    report = packs.handover(archive, everything=True, draft=True)
    assert not report.ok
    assert report.lines[0] == "ash: not handed over: cannot be made: ZeroDivisionError: float division by zero"
    assert (archive / "handover" / "birch.zip").is_file()
