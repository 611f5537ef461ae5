"""The figures of each demo build once its record is read, and the motion of the piston.

Every scalar figure is meant; the dyno session is timed by itself.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from builder.engine import kinematics
from builder.figures.dyno.session import analyse_session
from builder.figures.evaluate import compute
from builder.record.load import build_folders, read_build, read_shop
from tests.bench.aims import print_figure
from tests.bench.measure import ROOT, least_seconds


def main() -> None:
    """Print one line for each build, and one for the motion of the piston."""
    shop, _ = read_shop(ROOT)
    for folder in build_folders(ROOT):
        build, _ = read_build(folder, ROOT)
        if build is None:
            continue
        without_dyno = replace(build, dyno=None, logs={})
        compute(without_dyno, shop)
        scalar = least_seconds(lambda build=without_dyno: compute(build, shop), 15)  # type: ignore[misc]
        session = least_seconds(lambda build=build: analyse_session(build, shop), 1)  # type: ignore[misc]
        print_figure("figures of a build", 1e3 * scalar, f"{build.slug}, dyno session {1e3 * session:.0f} ms")
    theta = np.radians(np.arange(0.0, 720.0, 0.1))

    def motion() -> None:
        kinematics.piston_position(theta, 0.09, 0.15, 0.001)
        kinematics.piston_speed(theta, 0.09, 0.15, 100.0, 0.001)
        kinematics.piston_acceleration(theta, 0.09, 0.15, 100.0, 0.001)

    print_figure("piston motion over a cycle by 0.1 degree", 1e3 * least_seconds(motion, 50))


if __name__ == "__main__":
    main()
