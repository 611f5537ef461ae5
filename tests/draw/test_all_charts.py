"""What holds for every drawing: bytes, text, description, ids, size, colours, and awkward labels."""

from __future__ import annotations

import hashlib
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from builder.draw.style import NARROW, PALETTE, WIDE, Size
from tests.support.draw_examples import EXAMPLES, example, unchanged
from tests.support.svg import label_conflicts, parse_svg

SVG = "{http://www.w3.org/2000/svg}"
ALL = sorted(EXAMPLES)
SIZES = pytest.mark.parametrize("size", [WIDE, NARROW], ids=["wide", "narrow"])
EACH = pytest.mark.parametrize("name", ALL)
AWKWARD = {
    "markup": lambda text: rf"$\frac{{1}}{{2}}$ <b>{text}</b> & \"x\" 'y' $x_1$ <script>alert(1)</script> ]]> \$5 $",
    "long": lambda text: f"{text} " + "with a name that goes on and on and will not end " * 4,
    "unbroken": lambda text: text + "W" * 300,
    "right to left": lambda text: f"מנוע {text} محرك \u202e\u2066",
    "emoji and Han": lambda text: f"{text} 🏁🔧 発動機 \U0001f469\u200d\U0001f527",
    "control characters": lambda text: f"\x00{text}\n\t\x0b\ud800\ufffe\x85",
    "empty": lambda text: "",
}

ROOT = Path(__file__).resolve().parents[2]


@SIZES
@EACH
def test_nothing_gets_in_the_way(name: str, size: Size) -> None:
    assert label_conflicts(example(name, size=size)) == []


@SIZES
@EACH
@pytest.mark.parametrize("kind", sorted(AWKWARD))
def test_awkward_labels_stay_text_and_in_their_place(
    kind: str,
    name: str,
    size: Size,
) -> None:
    if kind == "empty" and name == "formula":
        with pytest.raises(ValueError, match="plain text"):
            example(name, AWKWARD[kind], size)
        return
    drawing = example(name, AWKWARD[kind], size)
    tree = parse_svg(drawing)  # well-formed
    known = {"svg", "title", "desc", "style", "defs", "path", "g", "use", "text", "tspan", "a", "clipPath", "rect"}
    assert {e.tag.removeprefix(SVG) for e in tree.iter()} <= known
    assert label_conflicts(drawing) == []
    if kind == "markup":
        assert "<script>alert(1)</script>" in drawing.description or name == "stack_up"  # its unit is cut short
        assert "<script" not in drawing.svg
        shown = " ".join("".join(e.itertext()) for e in tree.iter(f"{SVG}text"))
        assert "$\\frac" in shown or name == "formula"


@SIZES
@EACH
def test_a_drawing_describes_what_it_shows(name: str, size: Size) -> None:
    drawing = example(name, size=size)
    tree = parse_svg(drawing)
    assert tree.get("role") == ("group" if name == "scatter" else "img")
    by_id = {e.get("id"): e for e in tree.iter() if e.get("id")}
    elements = [by_id[i] for i in (tree.get("aria-labelledby") or "").split()]
    assert [e.tag for e in elements] == [f"{SVG}title", f"{SVG}desc"]
    assert [e.text for e in elements] == [drawing.title, drawing.description]
    assert (float(tree.get("width", 0)), float(tree.get("height", 0))) == pytest.approx(
        (drawing.width, drawing.height), abs=0.51
    )
    if name != "formula":
        assert re.search(r"\d", drawing.description)
        assert drawing.description.endswith(".")
        assert len(list(tree.iter(f"{SVG}text"))) >= 4  # real text, not outlines
        assert drawing.width <= size.width


@EACH
def test_ids_carry_the_name_and_every_reference_is_met(name: str) -> None:
    drawing = example(name)
    ids = re.findall(r'\sid="([^"]*)"', drawing.svg)
    assert len(ids) == len(set(ids))
    assert all(i == name or i.startswith(f"{name}-") for i in ids)
    assert set(re.findall(r'(?:href="|url\()#([^")]*)', drawing.svg)) <= set(ids)


@EACH
def test_every_colour_is_a_token_so_that_the_dark_page_can_swap_it(name: str) -> None:
    used = set(re.findall(r'(?:fill|stroke)="([^"]*)"', example(name).inline_svg))
    assert used <= {t.light for t in PALETTE} | {"none", "currentColor"}


@EACH
def test_the_plain_form_needs_no_style_sheet(name: str) -> None:
    plain = example(name).for_pdf("DejaVu Sans")
    assert "<style" not in plain
    assert "var(" not in plain
    assert "currentColor" not in plain
    assert 'font-family="DejaVu Sans"' in plain
    assert plain.startswith("<svg ")


@SIZES
@EACH
def test_a_drawing_is_small(name: str, size: Size) -> None:
    assert len(example(name, size=size).svg.encode()) < 20_000


def test_the_same_bytes_in_any_process() -> None:
    script = (
        "import json, hashlib\n"
        "from tests.support.draw_examples import EXAMPLES, example\n"
        "print(json.dumps({n: hashlib.sha256(example(n).svg.encode()).hexdigest() for n in EXAMPLES}))"
    )
    runs = []
    for seed in ("1", "2"):
        done = subprocess.run(
            [sys.executable, "-c", script],
            cwd=ROOT,
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        )
        runs.append(json.loads(done.stdout))
    assert runs[0] == runs[1]
    # Nor does it matter what was drawn before, or twice.
    again = {n: EXAMPLES[n](unchanged, WIDE).svg for n in reversed(ALL)}
    assert runs[0] == {n: hashlib.sha256(svg.encode()).hexdigest() for n, svg in again.items()}


def test_the_reader_s_own_matplotlib_settings_neither_matter_nor_change() -> None:
    import matplotlib

    before = EXAMPLES["power_curves"](unchanged, WIDE).svg
    with matplotlib.rc_context({"font.size": 40, "text.usetex": False, "lines.linewidth": 9}):
        assert EXAMPLES["power_curves"](unchanged, WIDE).svg == before
        assert matplotlib.rcParams["font.size"] == 40


def test_no_drawing_loads_figures_or_pyplot() -> None:
    script = (
        "import sys\n"
        "import builder.draw.charts.power, builder.draw.charts.scatter\n"
        "assert 'matplotlib' not in sys.modules, 'matplotlib is loaded before it is needed'\n"
        "from tests.support.draw_examples import EXAMPLES, example\n"
        "[example(n) for n in EXAMPLES]\n"
        "assert not {'matplotlib.pyplot', 'matplotlib.figure'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", script], cwd=ROOT, check=True)
