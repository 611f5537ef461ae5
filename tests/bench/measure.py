"""Time and memory of a command, of a function, and of plain figures drawn with matplotlib.

python -m tests.bench.measure time COMMAND...   run it; print seconds and memory as JSON
python -m tests.bench.measure figures NUMBER    save as many plain figures with matplotlib
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ENVIRONMENT = os.environ | {
    "PYTHONPATH": str(ROOT),
    "NO_MKDOCS_2_WARNING": "true",
    "OMP_NUM_THREADS": "1",
    "OPENBLAS_NUM_THREADS": "1",
}


@dataclass(frozen=True)
class Usage:
    """Clock and processor time [s], and memory [MB]: of the largest process, and of all together."""

    wall: float
    processor: float
    largest: float
    together: float


def measure_command(command: list[str], cwd: Path = ROOT) -> Usage:
    """Run a command and measure it with everything it starts."""
    result = subprocess.run(
        [sys.executable, "-m", "tests.bench.measure", "time", *command],
        cwd=cwd,
        env=ENVIRONMENT,
        capture_output=True,
        text=True,
    )
    if result.returncode:
        raise SystemExit(f"{' '.join(command)}\n{result.stdout}{result.stderr}")
    return Usage(**json.loads(result.stdout.splitlines()[-1]))


def least_seconds(function: Callable[[], object], times: int) -> float:
    """Return the least processor time of some calls [s]: what else the machine does matters least there."""
    durations = []
    for _ in range(times):
        start = time.process_time()
        function()
        durations.append(time.process_time() - start)
    return min(durations)


def _run_and_watch(command: list[str]) -> Usage:
    """Run a command in this process's place and measure it."""
    start = time.perf_counter()
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    largest = together = 0.0
    ended = threading.Event()

    def watch() -> None:
        nonlocal largest, together
        while not ended.wait(0.2):
            sizes = memory_of_tree(child.pid)
            largest, together = max(largest, *sizes, 0.0), max(together, sum(sizes))

    watcher = threading.Thread(target=watch, daemon=True)
    watcher.start()
    _, errors = child.communicate()
    ended.set()
    watcher.join()
    if child.returncode:
        sys.exit(f"exit status {child.returncode}: {errors.decode(errors='replace')[-2000:]}")
    wall = time.perf_counter() - start
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    largest = max(used.ru_maxrss / (1024 if sys.platform != "darwin" else 1024**2), largest)
    return Usage(wall, used.ru_utime + used.ru_stime, largest, max(together, largest))


def memory_of_tree(top: int) -> list[float]:
    """Return the memory [MB] of a process and of each process it started; empty where there is no /proc."""
    parents: dict[int, int] = {}
    sizes: dict[int, float] = {}
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            parents[int(folder.name)] = int((folder / "stat").read_text().rpartition(")")[2].split()[1])
            pages = int((folder / "statm").read_text().split()[1])
        except (OSError, ValueError, IndexError):
            continue
        sizes[int(folder.name)] = pages * os.sysconf("SC_PAGE_SIZE") / 1e6

    def descends(number: int) -> bool:
        while number not in (0, top):
            number = parents.get(number, 0)
        return number == top

    return [size for number, size in sizes.items() if descends(number)]


def save_plain_figures(count: int) -> None:
    """Save figures as anybody would: two curves of 40 points, a legend, a grid, labels."""
    import matplotlib

    matplotlib.use("svg")
    import matplotlib.pyplot as plt
    import numpy as np

    matplotlib.rcParams["svg.fonttype"] = "none"
    speed = np.linspace(2000, 6000, 40)
    for number in range(count):
        figure, axes = plt.subplots(figsize=(7.6, 4.2))
        torque = 150 + number % 7 - ((speed - 4000) / 400) ** 2
        axes.plot(speed, torque, label="torque")
        axes.plot(speed, torque * speed / 9549, linestyle="--", label="power")
        axes.set(xlabel="engine speed, rpm", ylabel="torque, N m", title=f"Pull {number}")
        axes.grid(True)
        axes.legend()
        figure.savefig(f"figure-{number}.svg")
        plt.close(figure)


if __name__ == "__main__":
    if sys.argv[1] == "time":
        print(json.dumps(_run_and_watch(sys.argv[2:]).__dict__))
    else:
        save_plain_figures(int(sys.argv[2]))
