"""Show one chart wide and narrow, light and dark: ``python -m tests.draw.show CHART [SLUG]``.

CHART is the name of an example (tests/support/draw_examples.py), or with SLUG that of a chart of that build. Without
arguments the examples are listed, and with ``-`` for CHART the charts of the build. Writes an HTML page with the four
and, where Chromium is installed, a screenshot of it, and prints their paths.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from builder.draw.chart_cache import ChartRequest
from builder.draw.drawing import Drawing
from builder.draw.style import NARROW, PALETTE, WIDE
from tests.support.draw_examples import EXAMPLES, example

ROOT = Path(__file__).resolve().parents[2]


def build_charts(slug: str) -> dict[str, ChartRequest]:
    """Return the charts of a build of the demo by name."""
    from builder.figures.evaluate import compute
    from builder.publish.pages.build.charts import charts_for
    from builder.publish.pages.build.page_chart import chart_guard
    from builder.record.load import read_build, read_shop

    shop, _ = read_shop(ROOT)
    build, problems = read_build(ROOT / "builds" / slug, ROOT)
    if build is None:
        raise SystemExit("\n".join(map(str, problems)))
    charts = charts_for(build, compute(build, shop), shop, chart_guard(build.slug))
    return {placed.request.name: placed.request for placed in charts}


def wide_and_narrow(name: str, slug: str = "") -> tuple[Drawing, Drawing]:
    """Return both forms of an example, or of a chart of a build."""
    if not slug:
        return example(name, size=WIDE), example(name, size=NARROW)
    request = build_charts(slug)[name]
    return (
        request.chart(request.data, name=request.name, size=WIDE),
        request.chart(request.data, name=request.name, size=NARROW),
    )


def page(drawings: Sequence[Drawing], folder: Path) -> str:
    """Write the drawings as files and return the page that shows them in both schemes."""
    paper = next(token for token in PALETTE if token.name == "paper")
    sections = []
    for scheme, ground in (("light", paper.light), ("dark", paper.dark)):
        images = []
        for form, drawing in zip(("wide", "narrow"), drawings, strict=True):
            (folder / f"{form}.svg").write_text(drawing.svg, encoding="utf-8")
            images.append(f'<img src="{form}.svg" alt="{form}, {scheme}">')
        sections.append(f'<section style="background:{ground};color-scheme:{scheme}">{" ".join(images)}</section>')
    style = "body{margin:0} section{padding:16px;display:flex;gap:32px;align-items:flex-start}"
    return f"<!doctype html><meta charset=utf-8><style>{style}</style>{''.join(sections)}"


def show(name: str, slug: str = "", folder: Path | None = None) -> list[Path]:
    """Write the page and its screenshot, and return their paths."""
    folder = folder or Path(tempfile.mkdtemp(prefix=f"{name}-"))
    drawings = wide_and_narrow(name, slug)
    html = folder / f"{name}.html"
    html.write_text(page(drawings, folder), encoding="utf-8")
    chromium = shutil.which("chromium")
    if chromium is None:
        return [html]
    image = folder / f"{name}.png"
    width = sum(drawing.width for drawing in drawings) + 64
    height = 2 * (max(drawing.height for drawing in drawings) + 32)
    options = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--hide-scrollbars"]
    options += [f"--screenshot={image}", f"--window-size={width},{height}", f"--user-data-dir={folder / 'profile'}"]
    subprocess.run([chromium, *options, html.as_uri()], check=True, capture_output=True)
    shutil.rmtree(folder / "profile", ignore_errors=True)
    return [html, image]


def main(arguments: Sequence[str]) -> None:
    """List the charts, or show one."""
    if not arguments:
        print("\n".join(EXAMPLES))
        return
    name, slug = arguments[0], arguments[1] if len(arguments) > 1 else ""
    names = list(build_charts(slug)) if slug else list(EXAMPLES)
    if name in names:
        print("\n".join(map(str, show(name, slug))))
    else:
        print("\n".join(names))


if __name__ == "__main__":
    main(sys.argv[1:])
