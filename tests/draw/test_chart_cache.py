"""A chart is drawn again only if what it shows has changed, and then just as it would have been drawn at first."""

from __future__ import annotations

import pickle
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from builder.draw.chart_cache import ChartCache, ChartRequest, hash_values
from builder.draw.charts.deck_stack import StackUp, stack_up
from builder.draw.charts.tightening import TighteningPattern, tightening_pattern
from builder.draw.style import NARROW
from builder.publish.workers import WorkerPool

STACK = StackUp("mm", 40.0, 140.0, 30.0, 210.2, 86.0)
HEAD = TighteningPattern('head <main> & "rear"', ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0)), remark="a < b")


@pytest.fixture
def no_drawing(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise AssertionError("it was drawn again")

    monkeypatch.setattr(ChartRequest, "draw", refuse)


@pytest.mark.parametrize(
    "request_",
    [
        stack_up.request(STACK),
        stack_up.request(STACK, responsive=True),
        tightening_pattern.request(HEAD, name="tightening_1", size=NARROW),
    ],
)
def test_a_stored_chart_is_read_as_it_was_drawn(request_: ChartRequest, tmp_path: Path) -> None:
    drawing = ChartCache(tmp_path).draw(request_)
    assert drawing == request_.draw()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ChartRequest, "draw", lambda self: pytest.fail("it was drawn again"))
        assert ChartCache(tmp_path).draw(request_) == drawing
        assert ChartCache(tmp_path).draw(request_) == ChartCache(tmp_path).draw(request_) == drawing


def test_what_is_missing_is_drawn_ahead_by_another_process(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    stored, missing = stack_up.request(STACK), tightening_pattern.request(HEAD)
    expected = missing.draw()
    ChartCache(tmp_path).draw(stored)
    with WorkerPool(2) as workers:
        cache = ChartCache(tmp_path, submit=workers.submit)
        cache.draw_ahead([stored, missing])
        monkeypatch.setattr(ChartRequest, "draw", lambda self: pytest.fail("it was drawn in this process"))
        assert cache.draw(missing) == expected
        cache.draw(stored)
        assert ChartCache(tmp_path).draw(missing) == expected
        assert pickle.loads(pickle.dumps(cache)).draw(missing) == expected


@pytest.mark.parametrize(
    "request_",
    [
        stack_up.request(replace(STACK, deck_height=210.2 + 1e-12)),
        stack_up.request(replace(STACK, unit="in")),
        stack_up.request(replace(STACK, gasket=0.0)),
        stack_up.request(STACK, name="another"),
        stack_up.request(STACK, size=NARROW),
        stack_up.request(STACK, responsive=True),
    ],
)
def test_a_chart_of_other_values_is_missing(request_: ChartRequest, tmp_path: Path) -> None:
    cache = ChartCache(tmp_path)
    stored = stack_up.request(STACK)
    cache.draw(stored)
    assert cache.missing([stored, request_]) == [request_]


def test_other_code_draws_again(tmp_path: Path, no_drawing: None) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ChartRequest, "draw", lambda self: stack_up(STACK))
        ChartCache(tmp_path, "before").draw(stack_up.request(STACK))
    ChartCache(tmp_path, "before").draw(stack_up.request(STACK))
    with pytest.raises(AssertionError, match="drawn again"):
        ChartCache(tmp_path, "after").draw(stack_up.request(STACK))


@pytest.mark.parametrize("damage", ["cut short", "altered", "no JSON", "not an object"])
def test_a_damaged_file_is_drawn_again(damage: str, tmp_path: Path) -> None:
    cache, request = ChartCache(tmp_path), stack_up.request(STACK)
    drawing = cache.draw(request)
    (path,) = tmp_path.iterdir()
    content = path.read_bytes()
    path.write_bytes(
        {
            "cut short": content[:-9],
            "altered": content.replace(b"Crank radius", b"Crank rubius"),
            "no JSON": b"\xff\x00",
            "not an object": b"[1, 2]",
        }[damage]
    )
    assert cache.draw(request) == drawing
    assert path.read_bytes() == content


def test_without_a_folder_nothing_is_stored() -> None:
    cache, request = ChartCache(None), stack_up.request(STACK)
    assert cache.draw(request) == stack_up(STACK)
    assert cache.missing([request]) == [request]
    cache.prune([])


def test_pruning_leaves_what_is_used(tmp_path: Path) -> None:
    cache = ChartCache(tmp_path / "charts", "code")
    used, unused = stack_up.request(STACK), tightening_pattern.request(HEAD)
    cache.draw(used)
    cache.draw(unused)
    cache.prune([used.key])
    assert cache.missing([used, unused]) == [unused]


def test_a_request_can_be_sent_to_another_process() -> None:
    request = stack_up.request(STACK, name="stack")
    received = pickle.loads(pickle.dumps(request))
    assert received.key == request.key
    assert received.draw() == request.draw()


def test_values_with_the_same_text_have_different_hashes() -> None:
    """What differs is where one value ends, or what kind it is."""
    values: list[tuple[object, ...]] = [
        ("ab", "c"),
        ("a", "bc"),
        (("a", "b"), "c"),
        ("a", ("b", "c")),
        (1, 2),
        ("1", "2"),
        (1.0, 2.0),
        (None,),
        (True,),
        (np.array([1.0, 2.0]),),
        (np.array([[1.0, 2.0]]),),
        (np.array([1, 2]),),
        ([1.0, 2.0],),
        ((1.0, 2.0),),
        ((), ()),
        ((),),
    ]
    assert len({hash_values(*each) for each in values}) == len(values)


def test_only_plain_values_can_be_requested() -> None:
    with pytest.raises(TypeError, match="plain values, not from function"):
        _ = stack_up.request(lambda: None).key  # type: ignore[arg-type]


def test_matplotlib_is_not_loaded_for_a_stored_chart(tmp_path: Path) -> None:
    ChartCache(tmp_path).draw(stack_up.request(STACK))
    code = (
        "import sys; from pathlib import Path\n"
        "from builder.draw.chart_cache import ChartCache\n"
        "from builder.draw.charts.deck_stack import StackUp, stack_up\n"
        "ChartCache(Path(sys.argv[1])).draw(stack_up.request(StackUp('mm', 40.0, 140.0, 30.0, 210.2, 86.0)))\n"
        "print('matplotlib' in sys.modules)"
    )
    result = subprocess.run([sys.executable, "-c", code, str(tmp_path)], capture_output=True, text=True)
    assert result.stdout.strip() == "False", result.stderr
