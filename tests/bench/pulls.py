"""How long a pull takes from file to figures, beside two readers that everybody knows.

    python -m tests.bench.bench_pulls

Every case runs in a process of its own, so that the memory told is that case's alone. All read the same file in the
same run. The other two readers only read: they find no header, no units, no loaded part and no curve.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

ROWS = (100, 1_000_000)
TARGET_SECONDS = {100: 0.010, 1_000_000: 1.5}
TARGET_MEGABYTES = {100: None, 1_000_000: 400.0}
BUILD = "title: Bench\nstatus: finished\nengine: {cylinders: 4, fuel: petrol}\n"
BOTTOM_END = "block: {bores: 81.50 mm}\ncrankshaft: {stroke: 77.60 mm}\n"
SESSION = """\
readings: observed
conditions: {barometer: 1000 hPa, barometer_is: station, temperature: 20 degC, relative_humidity: 50 %}
pulls: [{name: pull, file: dyno/pull.csv}]
"""


def write_pull(archive: Path, rows: int) -> Path:
    """A build with one pull: a step test of a hundred rows, or a sweep at 1 kHz with its run-up and coast-down."""
    folder = archive / "builds" / "bench"
    (folder / "dyno").mkdir(parents=True, exist_ok=True)
    (folder / "build.yaml").write_text(BUILD)
    (folder / "bottom_end.yaml").write_text(BOTTOM_END)
    (folder / "dyno.yaml").write_text(SESSION)
    random = np.random.default_rng(1)
    if rows <= 1000:
        rpm = np.linspace(2000, 6000, rows)
        torque = 130 * (1 - 0.25 * ((rpm - 3500) / 2500) ** 2)
    else:
        up, down = rows // 10, rows // 5
        pull = rows - up - down
        rpm = np.concatenate(
            [np.linspace(1000, 2000, up), np.linspace(2000, 6000, pull), np.linspace(6000, 1500, down)]
        )
        torque = 130 * (1 - 0.25 * ((rpm - 3500) / 2500) ** 2)
        torque[:up], torque[-down:] = 8.0, -15.0
    torque = torque + random.normal(0, 0.4, rows)
    columns = np.column_stack([
        np.arange(rows) * 1e-3, rpm, torque, torque * rpm * 2 * np.pi / 60e3, 200 + rpm / 30, 0.88 + 0 * rpm,
    ])  # fmt: skip
    path = folder / "dyno" / "pull.csv"
    with path.open("w") as out:
        out.write("Time (s),Engine speed (rpm),Torque (N m),Power (kW),Oil pressure (kPa),Lambda\n")
        np.savetxt(out, columns, fmt=("%.3f", "%.1f", "%.2f", "%.3f", "%.1f", "%.3f"), delimiter=",")
    return path


def _ours(archive: Path) -> Callable[[], object]:
    """Reading to figures: the log, the corrected curve, and everything judged."""
    from builder.figures.dyno.session import analyse_session
    from builder.record.dyno_log.reader import read_dyno_log
    from builder.record.load import read_build
    from builder.record.models.shop import Shop

    folder = archive / "builds" / "bench"
    small = archive / "warm" / "builds" / "bench"
    write_pull(archive / "warm", 100)
    warm, _ = read_build(small, archive / "warm")  # imports and units are paid once, not by every pull
    assert warm is not None
    analyse_session(warm, Shop())

    def run() -> object:
        from dataclasses import replace

        log, problems = read_dyno_log(folder / "dyno" / "pull.csv")
        assert log is not None, problems
        session = analyse_session(replace(warm, logs={"pull": log}), Shop())
        assert session is not None
        assert session.best is not None
        assert abs(session.best.corrected.observed_torque.max() - 130) < 1.0
        return session

    return run


def _pandas(archive: Path) -> Callable[[], object]:
    import pandas

    path = archive / "builds" / "bench" / "dyno" / "pull.csv"
    return lambda: pandas.read_csv(path)


def _numpy(archive: Path) -> Callable[[], object]:
    path = archive / "builds" / "bench" / "dyno" / "pull.csv"
    return lambda: np.loadtxt(path, delimiter=",", skiprows=1)


CASES: dict[str, Callable[[Path], Callable[[], object]]] = {
    "Millbook, reading to figures": _ours,
    "pandas.read_csv, reading only": _pandas,
    "numpy.loadtxt, reading only": _numpy,
}


@dataclass(frozen=True)
class Timed:
    """Least wall and processor seconds of some runs, and the most memory of the process [MB].

    On a machine that does other things the two differ; the processor's are what the case itself takes.
    """

    wall: float
    processor: float
    megabytes: float


def time_case(case: str, archive: Path, times: int) -> Timed:
    """Run one case some times in this process."""
    run = CASES[case](archive)
    wall = processor = float("inf")
    for _ in range(times):
        start, busy = time.perf_counter(), time.process_time()
        run()
        processor = min(processor, time.process_time() - busy)
        wall = min(wall, time.perf_counter() - start)
    return Timed(wall, processor, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)


def time_session(pulls: int = 6, times: int = 10) -> Timed:
    """Judging a session of some pulls with nineteen channels each, the logs already read."""
    from builder.figures.dyno.session import analyse_session
    from builder.record.load import read_build
    from builder.record.models.shop import Shop

    rpm = np.arange(1800, 5401, 100)
    names = [
        "Oil pressure (kPa)",
        "Oil temp (degC)",
        "Water temp (degC)",
        "Lambda",
        "Fuel flow (kg/h)",
        "Air flow (kg/h)",
    ]
    names += ["Blow-by (L/min)", "MAP (kPa)", *(f"EGT {k} (degC)" for k in range(1, 9))]
    levels = [300, 90, 80, 0.88, 15, 190, 20, 98, *([700] * 8)]
    with tempfile.TemporaryDirectory() as made:
        archive = Path(made)
        folder = write_pull(archive, 100).parents[1]
        session = SESSION.split("pulls:")[0] + "pulls:\n"
        for k in range(pulls):
            random = np.random.default_rng(k)
            torque = 130 * (1 - 0.25 * ((rpm - 3500) / 2500) ** 2) + random.normal(0, 0.4, rpm.size)
            columns = [rpm, torque, torque * rpm * 2 * np.pi / 60e3]
            columns += [level * (1 + random.normal(0, 0.005, rpm.size)) for level in levels]
            header = ",".join(["Engine speed (rpm)", "Torque (N m)", "Power (kW)", *names])
            rows = "\n".join(",".join(f"{value:.3f}" for value in row) for row in zip(*columns, strict=True))
            (folder / "dyno" / f"{k}.csv").write_text(f"{header}\n{rows}\n")
            since = f", changed: jets, since: p{k - 1}" if k % 2 else f", repeat_of: p{k - 1}" if k else ""
            session += f"  - {{name: p{k}, file: dyno/{k}.csv{since}}}\n"
        (folder / "dyno.yaml").write_text(session)
        build, problems = read_build(folder, archive)
    assert build is not None, problems
    assert analyse_session(build, Shop()) is not None
    wall = processor = float("inf")
    for _ in range(times):
        start, busy = time.perf_counter(), time.process_time()
        analyse_session(build, Shop())
        processor = min(processor, time.process_time() - busy)
        wall = min(wall, time.perf_counter() - start)
    return Timed(wall, processor, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)


def table() -> list[tuple[int, str, Timed]]:
    """Rows, case and what it took, of every case."""
    found = []
    for rows in ROWS:
        with tempfile.TemporaryDirectory() as folder:
            write_pull(Path(folder), rows)
            for case in CASES:
                command = [sys.executable, "-m", "tests.bench.pulls", case, folder, "20" if rows <= 1000 else "3"]
                told = subprocess.run(command, check=True, capture_output=True, text=True).stdout.split()
                found.append((rows, case, Timed(*map(float, told))))
    return found


def main() -> None:
    """Print the table, or run one case for it."""
    if len(sys.argv) == 4:
        took = time_case(sys.argv[1], Path(sys.argv[2]), int(sys.argv[3]))
        sys.stdout.write(f"{took.wall} {took.processor} {took.megabytes}\n")
        return
    sys.stdout.write(f"{'rows':>9}  {'case':<32}{'wall':>11}{'processor':>13}{'memory':>10}   target\n")

    def line(rows: str, case: str, took: Timed, target: str) -> None:
        times = f"{took.wall * 1000:>8,.1f} ms{took.processor * 1000:>10,.1f} ms"
        sys.stdout.write(f"{rows:>9}  {case:<32}{times}{took.megabytes:>7,.0f} MB   {target}\n")

    for rows, case, took in table():
        target = ""
        if case == next(iter(CASES)):
            most = TARGET_MEGABYTES[rows]
            target = f"{TARGET_SECONDS[rows] * 1000:,.0f} ms" + (f", {most:.0f} MB" if most else "")
        line(f"{rows:,}", case, took, target)
    line("6 x 37", "Millbook, judging six pulls", time_session(), "60 ms")


if __name__ == "__main__":
    main()
