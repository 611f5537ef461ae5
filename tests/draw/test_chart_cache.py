"""A drawing is made again only if what it shows has changed, and then just as it would have been made anew."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from builder.draw.chart_cache import cached_chart, reuse
from builder.draw.charts.deck_stack import StackUp, stack_up
from builder.draw.charts.tightening import TighteningPattern, tightening_pattern
from builder.draw.style import NARROW

STACK = StackUp("mm", 40.0, 140.0, 30.0, 210.2, 86.0)


def _never(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("it was drawn again")

    monkeypatch.setattr("builder.draw.svg_canvas.render", refuse)


def test_what_stands_is_taken_as_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    made = stack_up(STACK)
    _never(monkeypatch)
    with reuse(["<p>other text</p>", made.svg]):
        assert stack_up(StackUp("mm", 40.0, 140.0, 30.0, 210.2, 86.0)) == made
    with pytest.raises(AssertionError, match="drawn again"):
        stack_up(STACK)


def test_it_is_found_inside_a_page_as_well(monkeypatch: pytest.MonkeyPatch) -> None:
    first, second = stack_up(STACK), tightening_pattern(TighteningPattern("head", ((0, 0), (1, 0), (0, 1))))
    page = f"# A page\n\n<figure>{first.svg}</figure>\n<figure>{second.svg}</figure>\n"
    _never(monkeypatch)
    with reuse([page]):
        assert stack_up(STACK).svg == first.svg
        assert tightening_pattern(TighteningPattern("head", ((0, 0), (1, 0), (0, 1)))).svg == second.svg


def test_words_and_sizes_come_back_as_they_were() -> None:
    of = TighteningPattern('head <main> & "rear"', ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0)), remark="a < b")
    made = tightening_pattern(of, name="tightening_1")
    with reuse([made.svg]):
        assert tightening_pattern(of, name="tightening_1") == made


@pytest.mark.parametrize(
    "other",
    [
        lambda: stack_up(replace(STACK, deck_height=210.2 + 1e-12)),
        lambda: stack_up(replace(STACK, unit="in")),
        lambda: stack_up(replace(STACK, gasket=0.0)),
        lambda: stack_up(STACK, name="another"),
        lambda: stack_up(STACK, size=NARROW),
    ],
)
def test_any_other_value_is_drawn(other: object, monkeypatch: pytest.MonkeyPatch) -> None:
    made = stack_up(STACK)
    _never(monkeypatch)
    with reuse([made.svg]), pytest.raises(AssertionError, match="drawn again"):
        other()  # type: ignore[operator]


def test_values_of_the_same_text_are_told_apart() -> None:
    """Each is another drawing: what differs is where one value ends, or what kind it is."""
    seen = []

    @cached_chart
    def draw(*values: object) -> object:
        return stack_up(STACK)

    for values in (
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
    ):
        seen.append(draw(*values).svg.partition("data-of=")[2][:34])  # type: ignore[attr-defined]
    assert len(set(seen)) == len(seen)


def test_only_plain_values_are_drawn() -> None:
    def print_nothing() -> None:
        """Not a value."""

    with pytest.raises(TypeError, match="plain values, not of function"):
        cached_chart(lambda of: stack_up(STACK))(print_nothing)  # type: ignore[arg-type, return-value]


def test_matplotlib_is_not_loaded_for_what_stands() -> None:
    code = (
        "import sys; from builder.draw.chart_cache import reuse; from builder.draw.charts.deck_stack import StackUp, stack_up\n"
        "with reuse([sys.stdin.read()]):\n"
        "    stack_up(StackUp('mm', 40.0, 140.0, 30.0, 210.2, 86.0))\n"
        "print('matplotlib' in sys.modules)"
    )
    told = subprocess.run([sys.executable, "-c", code], input=stack_up(STACK).svg, capture_output=True, text=True)
    assert told.stdout.strip() == "False", told.stderr
