"""Every figure of the sample of demo builds, to ten digits, as it was recorded: a number changes only on purpose.

After an intended change, record them again and read the difference before it is committed:

    python -m tests.figures.test_figures_snapshot && git diff --stat tests/figures/recorded_figures.json
"""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from builder.figures.evaluate import compute
from builder.record.load import read_build, read_shop
from tests.support.demo_builds import ROOT, folders

RECORDED = Path(__file__).with_name("recorded_figures.json")
Recorded = dict[str, dict[str, list[float]]]


def ten_digits(value: float) -> float:
    """Return the value rounded to ten significant digits."""
    return float(f"{value:.10g}")


def figures_of(folder: Path) -> dict[str, list[float]]:
    """Return value and positions of every figure of a build."""
    shop, _ = read_shop(ROOT)
    build, problems = read_build(folder, ROOT)
    assert build is not None, [str(problem) for problem in problems]
    return {
        figure.slug: [ten_digits(figure.value), *(ten_digits(position.value) for position in figure.positions)]
        for figure in compute(build, shop).figures
    }


def recorded() -> Recorded:
    """Return what was recorded last."""
    values: Recorded = json.loads(RECORDED.read_text(encoding="utf-8"))
    return values


@pytest.mark.parametrize("folder", folders(), ids=lambda folder: folder.name)
def test_figures_are_as_recorded(folder: Path) -> None:
    before, now = recorded().get(folder.name, {}), figures_of(folder)
    assert set(now) == set(before)
    for slug, values in now.items():
        assert len(values) == len(before[slug]), slug
        # The last digits of a sum depend on the machine's order of adding; ten digits of a small remainder may not.
        same = [math.isclose(a, b, rel_tol=2e-9, abs_tol=1e-15) for a, b in zip(values, before[slug], strict=True)]
        assert all(same), (slug, values, before[slug])


def test_every_recorded_build_exists() -> None:
    assert set(recorded()) == {folder.name for folder in folders()}


def record() -> None:
    """Write the figures of every build of the sample to the recording."""
    builds = {folder.name: figures_of(folder) for folder in folders()}
    lines = []
    for slug, figures in sorted(builds.items()):
        rows = ",\n".join(f"  {json.dumps(name)}: {json.dumps(values)}" for name, values in sorted(figures.items()))
        lines.append(f"{json.dumps(slug)}: {{\n{rows}\n}}")
    RECORDED.write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8")


if __name__ == "__main__":
    record()
