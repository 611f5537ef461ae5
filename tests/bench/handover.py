"""A delivery pack of the demo's fullest build, made by the command as a process."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.bench.aims import print_figure
from tests.bench.measure import measure_command
from tests.support.handover_samples import FULL, archive_with

RUNS = 3


def main() -> None:
    """Print seconds by the clock and memory, each the best of some runs."""
    with tempfile.TemporaryDirectory() as folder:
        archive = archive_with(Path(folder), FULL)
        command = [sys.executable, "-m", "builder", "handover", FULL, "--archive", str(archive)]
        runs = [measure_command(command) for _ in range(RUNS)]
    best = min(runs, key=lambda run: run.wall)
    print_figure("delivery pack of a full build", best.wall, f"{best.processor:.1f} s of processor")
    print_figure("delivery pack of a full build, memory", min(run.largest for run in runs))


if __name__ == "__main__":
    main()
