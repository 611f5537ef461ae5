"""How long publishing takes, beside what it is made with: bare MkDocs, bare matplotlib, another site generator.

    python -m tests.bench [--builds 1000] [--only publish|pulls|figures]

Everything runs in one go on one machine, each case in a process of its own. Processor seconds are those of the
process and all it started; on a machine that does other things they tell more than the clock.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import os
import platform
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from tests.bench.archive import write_archive

ROOT = Path(__file__).resolve().parents[2]
WORKERS = Path(__file__).with_name("bench_cases.py")
ENVIRONMENT = os.environ | {
    "PYTHONPATH": str(ROOT),
    "NO_MKDOCS_2_WARNING": "true",
    "OMP_NUM_THREADS": "1",
    "OPENBLAS_NUM_THREADS": "1",
}


@dataclass(frozen=True)
class Timed:
    """Seconds by the clock, processor seconds, and memory [MB]: the largest process, and that with all its hands."""

    wall: float
    processor: float
    largest: float
    together: float


def run(command: list[str], cwd: Path) -> Timed:
    """Run a command and time it with everything it starts."""
    told = subprocess.run(
        [sys.executable, str(WORKERS), "time", *command], cwd=cwd, env=ENVIRONMENT, capture_output=True, text=True
    )
    if told.returncode:
        raise SystemExit(f"{' '.join(command)}\n{told.stdout}{told.stderr}")
    return Timed(**json.loads(told.stdout.splitlines()[-1]))


def line(name: str, took: Timed | None, remark: str = "") -> None:
    """One line of the table."""
    if took is None:
        print(f"  {name:<58} {remark}", flush=True)
        return
    memory = f"{took.largest:>7.0f} MB {took.together:>6.0f} MB"
    print(f"  {name:<58}{took.wall:>9.2f} s{took.processor:>10.2f} s{memory}   {remark}", flush=True)


def publishing(builds: int, keep: Path | None) -> None:
    """The table of publishing an archive of so many builds."""
    cores = os.cpu_count() or 1
    with tempfile.TemporaryDirectory(prefix="millbook-bench-") as made:
        archive = (keep or Path(made)) / "archive"
        write_archive(ROOT / "builds", archive, builds)
        millbook = [sys.executable, "-m", "builder", "publish", "--archive", str(archive)]
        print(f"\n{builds} builds varied from the demo, three pulls each")
        print(f"  {'':<58}{'clock':>11}{'processor':>12}{'largest':>10}{'together':>10}")
        cold = run(millbook, ROOT)
        line("Millbook, from nothing", cold)
        run(millbook, ROOT)  # what was written just now is looked at once more before it is trusted
        nothing = run(millbook, ROOT)
        line("Millbook, nothing changed", nothing, "target: 1 s")
        ones = []
        for _ in range(3):
            change_one(archive)
            ones.append(run(millbook, ROOT))
        one = min(ones, key=lambda took: took.wall)
        line("Millbook, one record changed (best of three)", one, "target: 2 s")

        bare = Path(made) / "bare"
        shutil.copytree(archive / ".millbook" / "pages", bare / "pages")
        (bare / "mkdocs.yml").write_text(BARE)
        mkdocs = run([sys.executable, "-m", "mkdocs", "build", "--quiet"], bare)
        line("bare mkdocs build, the same Markdown", mkdocs)
        count = len(list((bare / "pages").rglob("*.svg")))
        per_core = -(-min(count, 300) // cores)
        figures = run([sys.executable, str(WORKERS), "figures", str(per_core)], bare)
        share = count / cores / per_core
        scaled = Timed(figures.wall * share, figures.processor * share, figures.largest, figures.together)
        line(f"bare matplotlib, {count} figures / {cores} cores", scaled, f"measured on {per_core} figures")
        other(bare)

        measure = cold.wall / (mkdocs.wall + scaled.wall)
        worked = cold.processor / (mkdocs.processor + cores * scaled.processor)
        quicker = mkdocs.wall / one.wall
        print(f"  from nothing / (bare MkDocs + bare figures / cores): {measure:.2f} by the clock (target 1.3)")
        print(f"  processor seconds of all cores, ours / theirs: {worked:.2f}")
        print(
            f"  one record changed is {quicker:.0f} times quicker than bare MkDocs on the whole (target 8)", flush=True
        )


def change_one(archive: Path) -> None:
    """Another last digit in one bore of one build."""
    path = sorted((archive / "builds").glob("*/bottom_end.yaml"))[0]
    text = path.read_text(encoding="utf-8")
    at = text.index("bores:")
    at = next(place for place in range(at, len(text)) if text[place] == "." and text[place + 1].isdigit()) + 3
    path.write_text(f"{text[:at]}{(int(text[at]) + 1) % 10}{text[at + 1 :]}", encoding="utf-8")


def other(bare: Path) -> None:
    """The announced successor of the theme on the same Markdown, where it is installed."""
    name = "Zensical, the same Markdown"
    if importlib.util.find_spec("zensical") is None and shutil.which("zensical") is None:
        line(name, None, "not installed here (pip install zensical)")
        return
    command = [shutil.which("zensical") or "zensical", "build", "--config-file", "mkdocs.yml", "--clean"]
    line(name, run(command, bare))


BARE = """\
site_name: Bare
docs_dir: pages
site_dir: site
use_directory_urls: false
theme: {name: material, font: false}
plugins: [search]
markdown_extensions: [abbr, attr_list, md_in_html, tables, toc]
nav: [{Home: index.md}, {All: builds.md}]
not_in_nav: |
  /*
validation:
  nav: {omitted_files: ignore}
  links: {not_found: ignore, anchors: ignore, absolute_links: ignore, unrecognized_links: ignore}
"""


def main() -> None:
    """Print the tables."""
    wanted = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    wanted.add_argument("--builds", type=int, nargs="+", default=[100, 300], help="sizes of the archive")
    wanted.add_argument("--only", choices=["publish", "pulls", "figures"])
    wanted.add_argument("--keep", type=Path, help="folder to leave the archive in")
    given = wanted.parse_args()
    print(f"{platform.machine()}, {os.cpu_count()} cores, {platform.system()}, Python {platform.python_version()}")
    if given.only in (None, "publish"):
        for builds in given.builds:
            publishing(builds, given.keep)
    for part in ("pulls", "figures"):
        if given.only in (None, part) and importlib.util.find_spec(f"tests.bench.bench_{part}"):
            print(f"\n{part}", flush=True)
            subprocess.run([sys.executable, "-m", f"tests.bench.bench_{part}"], cwd=ROOT, env=ENVIRONMENT, check=False)


if __name__ == "__main__":
    main()
