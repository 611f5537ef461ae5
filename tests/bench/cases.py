"""One case for the bench, in a process of its own.

python bench_cases.py time COMMAND...    run it; print seconds and memory as JSON
python bench_cases.py figures NUMBER     save as many plain figures with matplotlib
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import threading
import time
from pathlib import Path


def timed(command: list[str]) -> dict[str, float]:
    """Run a command; seconds by the clock and of the processor, and the most memory [MB] it had."""
    started = time.perf_counter()
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    most = [0.0, 0.0]
    ended = threading.Event()

    def watch() -> None:
        while not ended.wait(0.2):
            sizes = list(memory_below(child.pid))
            most[:] = [max(most[0], *sizes), max(most[1], sum(sizes))] if sizes else most

    watching = threading.Thread(target=watch, daemon=True)
    watching.start()
    _, said = child.communicate()
    ended.set()
    watching.join()
    if child.returncode:
        sys.exit(f"exit status {child.returncode}: {said.decode(errors='replace')[-2000:]}")
    wall = time.perf_counter() - started
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    largest = max(used.ru_maxrss / (1024 if sys.platform != "darwin" else 1024**2), most[0])
    return {
        "wall": wall,
        "processor": used.ru_utime + used.ru_stime,
        "largest": largest,
        "together": max(most[1], largest),
    }


def memory_below(top: int) -> list[float]:
    """Memory in use [MB] of a process and of every process it started; nothing where the system does not tell."""
    parents: dict[int, int] = {}
    sizes: dict[int, float] = {}
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            parents[int(folder.name)] = int((folder / "stat").read_text().rpartition(")")[2].split()[1])
            pages = int((folder / "statm").read_text().split()[1])
        except (OSError, ValueError, IndexError):
            continue
        sizes[int(folder.name)] = pages * os.sysconf("SC_PAGE_SIZE") / 1e6

    def below(number: int) -> bool:
        while number not in (0, top):
            number = parents.get(number, 0)
        return number == top

    return [size for number, size in sizes.items() if below(number)]


def figures(count: int) -> None:
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
        print(json.dumps(timed(sys.argv[2:])))
    else:
        figures(int(sys.argv[2]))
