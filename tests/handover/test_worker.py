"""The second process at a handover: what it makes is what would be made here, even when it is lost."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from builder.draw.canvas import Drawing
from builder.draw.chart_cache import ChartCache, ChartRequest, draw_all
from builder.draw.charts.deck_stack import StackUp, stack_up
from builder.handover.mate import Mate
from builder.handover.packs import handover
from tests.support.handover_samples import FULL, REPO, archive_with

SHORT, LONG = StackUp("mm", 40.0, 140.0, 30.0, 210.2, 86.0), StackUp("mm", 45.0, 150.0, 30.0, 225.2, 86.0)


def _drawing(*stacks: StackUp) -> Callable[[], list[Drawing]]:
    return partial(draw_all, [stack_up.request(stack) for stack in stacks], ChartCache(None))


def test_it_draws_what_would_be_drawn_here() -> None:
    drawing = _drawing(SHORT, LONG)
    with Mate(REPO) as mate:
        assert mate.begin(drawing)() == drawing() == [stack_up(SHORT), stack_up(LONG)]


def test_what_nobody_waited_for_does_not_come_for_something_else() -> None:
    with Mate(REPO) as mate:
        mate.begin(_drawing(SHORT, SHORT))
        assert mate.begin(_drawing(LONG))() == [stack_up(LONG)]


def test_a_mate_that_is_lost_is_done_without() -> None:
    with Mate(REPO) as mate:
        mate._process.kill()
        assert mate.begin(_drawing(SHORT))() == [stack_up(SHORT)]
        assert mate.begin(_drawing(LONG))() == [stack_up(LONG)]


def test_what_goes_wrong_is_told_as_if_it_were_done_here(capfd: pytest.CaptureFixture[str]) -> None:
    with Mate(REPO) as mate, pytest.raises(AttributeError):
        mate.begin(partial(draw_all, [ChartRequest(stack_up, (), "stack_up")], ChartCache(None)))()
    assert capfd.readouterr().err == ""


def test_a_pack_is_the_same_on_one_core_and_on_two(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    archive = archive_with(tmp_path)
    packs = []
    for cores in (1, 2):
        monkeypatch.setattr("builder.publish.workers._available_cpus", lambda cores=cores: cores)
        assert handover(archive, [FULL]).good
        packs.append((archive / "handover" / f"{FULL}.zip").read_bytes())
    assert packs[0] == packs[1]
