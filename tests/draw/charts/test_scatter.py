"""Many builds as points that lead to their pages."""

from __future__ import annotations

import math

import pytest

from builder.draw.charts.scatter import Dot, Scatter, scatter
from builder.draw.style import Size
from tests.support.draw_examples import SIZES
from tests.support.svg import SVG, label_conflicts, label_texts, parse_svg

NAN = math.nan


def many(count: int, href: str = "../builds/{}/") -> Scatter:
    dots = tuple(Dot(8 + i % 7, 150 + (i * 37) % 50, f"Build {i}", href.format(i)) for i in range(count))
    return Scatter("Compression ratio", ":1", "Bmep", "psi", dots)


def test_every_point_leads_to_its_build() -> None:
    data = many(12)
    drawing = scatter(data)
    links = list(parse_svg(drawing).iter(f"{SVG}a"))
    assert {a.get("href") for a in links} == {d.href for d in data.dots}
    first = next(a for a in links if a.get("href") == "../builds/1/")
    words = "Build 1: compression ratio 9.00:1, bmep 187 psi"
    assert first.get("aria-label") == words
    assert [e.text for e in first.iter(f"{SVG}title")] == [words]


def test_the_link_is_at_its_own_point() -> None:
    data = Scatter("a", "", "b", "", (Dot(0, 0, "low", "low/"), Dot(10, 5, "high", "high/"), Dot(5, 9, "top", "top/")))
    at = {a.get("href"): next(a.iter(f"{SVG}use")) for a in parse_svg(scatter(data)).iter(f"{SVG}a")}
    xs = {k: float(u.get("x", 0)) for k, u in at.items()}
    ys = {k: float(u.get("y", 0)) for k, u in at.items()}
    assert xs["low/"] < xs["top/"] < xs["high/"]
    assert ys["top/"] < ys["high/"] < ys["low/"]


@SIZES
@pytest.mark.parametrize("count", [1, 5, 40, 300])
def test_any_number_of_builds(count: int, size: Size) -> None:
    assert label_conflicts(scatter(many(count), size=size)) == []


def test_builds_on_one_spot_and_years() -> None:
    dots = tuple(Dot(2019 + i // 6, 1.5, f"Build {i}", "") for i in range(12))
    drawing = scatter(Scatter("Year", "", "Output", "kW/L", dots, whole_x=True))
    assert label_conflicts(drawing) == []
    assert "2,019" not in drawing.svg
    assert "2019" in label_texts(drawing)


@SIZES
def test_every_build_is_named_and_no_name_is_cut(size: Size) -> None:
    names = [f"Engine number {i} for a boat that is moored at the outermost pier" for i in range(9)]
    # Seven in one crowd, one of them twice on a spot, and two by themselves.
    dots = [Dot(9 + 0.02 * i, 150 + 0.1 * i, name) for i, name in enumerate(names[:7])]
    dots += [Dot(9, 150, "The same spot"), Dot(12, 190, names[7]), Dot(14, 160, names[8])]
    drawing = scatter(Scatter("Compression ratio", ":1", "Bmep", "psi", tuple(dots)), size=size)
    assert label_conflicts(drawing) == []
    assert "…" not in drawing.svg
    text = " ".join(label_texts(drawing))
    for word in ("same spot", *(f"number {i}" for i in range(9))):
        assert word in text


def test_builds_without_both_values_are_left_out() -> None:
    dots = (Dot(1, NAN, "a"), Dot(NAN, 1, "b"), Dot(1, 1, "c"))
    assert scatter(Scatter("x", "", "y", "", dots)).description.startswith("One build")
    with pytest.raises(ValueError, match="no build has both"):
        scatter(Scatter("x", "", "y", "", dots[:2]))
