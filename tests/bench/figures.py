"""How long the figures of one build take, once its record is read. Run: `python -m tests.bench.bench_figures`.

Prints the median and the least of many runs, against what was asked for: every scalar figure within 20 ms
(the dyno session is timed by itself), and the motion of the piston over a cycle at 0.1 degree within 1 ms.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from builder.engine import kinematics
from builder.figures.dyno.session import analyse_session
from builder.figures.evaluate import compute
from builder.record.load import build_folders, read_build, read_shop

ARCHIVE = Path(__file__).resolve().parents[2]


def timed(run: Callable[[], object], times: int) -> tuple[float, float]:
    """Median and least time of a run [ms]."""
    run()
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        run()
        taken.append(1e3 * (time.perf_counter() - start))
    return statistics.median(taken), min(taken)


def main() -> None:
    """Print one line for each build, and one for the motion of the piston."""
    shop, _ = read_shop(ARCHIVE)
    print(f"{'figures of':28} {'figures':>7} {'median':>8} {'least':>8}   (asked for: 20 ms)   dyno session")
    for folder in build_folders(ARCHIVE):
        build, _ = read_build(folder, ARCHIVE)
        if build is None:
            continue
        without_dyno = replace(build, dyno=None, logs={})
        figures = len(compute(without_dyno, shop).figures)
        median, least = timed(lambda build=without_dyno: compute(build, shop), 15)  # type: ignore[misc]
        session, _ = timed(lambda build=build: analyse_session(build, shop), 1)  # type: ignore[misc]
        print(f"{build.slug:28} {figures:7} {median:5.1f} ms {least:5.1f} ms {session:30.0f} ms")
    theta = np.radians(np.arange(0.0, 720.0, 0.1))

    def motion() -> None:
        kinematics.piston_position(theta, 0.09, 0.15, 0.001)
        kinematics.piston_speed(theta, 0.09, 0.15, 100.0, 0.001)
        kinematics.piston_acceleration(theta, 0.09, 0.15, 100.0, 0.001)

    median, least = timed(motion, 50)
    print(f"{'piston, 720 deg by 0.1':28} {theta.size:7} {median:5.2f} ms {least:5.2f} ms   (asked for: 1 ms)")


if __name__ == "__main__":
    main()
