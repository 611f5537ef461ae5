"""Publishing an archive of many builds, beside bare MkDocs, bare matplotlib and another site generator."""

from __future__ import annotations

import importlib.util
import os
import shutil
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from tests.bench.aims import print_figure
from tests.bench.measure import ROOT, Usage, measure_command
from tests.bench.synthetic_archive import write_archive

FULLEST = "breakdown-truck-v8"
"""The demo's fullest record. The archive holds it as it is, among variations of it."""
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


def main(builds: int, keep: Path | None) -> None:
    """Print the table of publishing an archive of so many builds."""
    cores = os.cpu_count() or 1
    with tempfile.TemporaryDirectory(prefix="millbook-bench-") as temporary:
        archive = (keep or Path(temporary)) / "archive"
        light = write_archive(archive, builds - 1)[1]
        shutil.copytree(ROOT / "builds" / FULLEST, archive / "builds" / FULLEST)
        command = [sys.executable, "-m", "builder", "publish", "--archive", str(archive)]

        def publish() -> Usage:
            return measure_command(command)

        print(f"\n{builds} builds: {FULLEST} as it is, the others varied from the demo with three pulls each")
        print(f"  {'':<58}{'clock':>11}{'processor':>12}{'largest':>10}{'together':>10}")
        cold = publish()
        print_usage("Millbook, from nothing", cold)
        publish()  # files that are a moment old are read once more before their time stamps count
        unchanged = publish()
        print_usage("Millbook, nothing changed", unchanged)
        one = least_after(lambda: change_a_bore(archive / "builds" / light), publish)
        print_usage(f"Millbook, {light} changed (best of three)", one)
        fullest = least_after(lambda: change_a_bore(archive / "builds" / FULLEST), publish)
        print_usage(f"Millbook, {FULLEST} changed (best of three)", fullest)

        bare = Path(temporary) / "bare"
        shutil.copytree(archive / ".millbook" / "pages", bare / "pages")
        (bare / "mkdocs.yml").write_text(BARE)
        mkdocs = measure_command([sys.executable, "-m", "mkdocs", "build", "--quiet"], bare)
        print_usage("bare mkdocs build, the same Markdown", mkdocs)
        count = len(list((bare / "pages").rglob("*.svg")))
        per_core = -(-min(count, 300) // cores)
        sample = measure_command([sys.executable, "-m", "tests.bench.measure", "figures", str(per_core)], bare)
        share = count / cores / per_core
        figures = Usage(sample.wall * share, sample.processor * share, sample.largest, sample.together)
        print_usage(f"bare matplotlib, {count} figures / {cores} cores", figures, f"measured on {per_core} figures")
        print_other_generator(bare)

        print_figure("nothing changed", unchanged.wall)
        print_figure("one record changed", one.wall, f"processor {one.processor:.2f} s")
        print_figure("fullest record changed", fullest.wall, f"processor {fullest.processor:.2f} s")
        ratio = cold.wall / (mkdocs.wall + figures.wall)
        print_figure("from nothing, against bare MkDocs and matplotlib", ratio)
        print_figure("one record, against bare MkDocs", one.wall / mkdocs.wall)
        processor = cold.processor / (mkdocs.processor + cores * figures.processor)
        print(f"  processor seconds of all cores, ours / theirs: {processor:.2f}", flush=True)


def print_usage(name: str, usage: Usage, remark: str = "") -> None:
    """Print one line of the table."""
    memory = f"{usage.largest:>7.0f} MB {usage.together:>6.0f} MB"
    print(f"  {name:<58}{usage.wall:>9.2f} s{usage.processor:>10.2f} s{memory}   {remark}".rstrip(), flush=True)


def least_after(change: Callable[[], None], publish: Callable[[], Usage], times: int = 3) -> Usage:
    """Change and publish a few times; return the usage of the publish that took least by the clock."""
    usages = []
    for _ in range(times):
        change()
        usages.append(publish())
    return min(usages, key=lambda usage: usage.wall)


def change_a_bore(folder: Path) -> None:
    """Write another third decimal in one bore of a build."""
    path = folder / "bottom_end.yaml"
    text = path.read_text(encoding="utf-8")
    at = text.index("bores:")
    at = next(i for i in range(at, len(text)) if text[i] == "." and text[i + 1].isdigit()) + 3
    path.write_text(f"{text[:at]}{(int(text[at]) + 1) % 10}{text[at + 1 :]}", encoding="utf-8")


def print_other_generator(bare: Path) -> None:
    """Measure the announced successor of the theme on the same Markdown, where it is installed."""
    name = "Zensical, the same Markdown"
    program = shutil.which("zensical")
    if program is None and importlib.util.find_spec("zensical") is None:
        print(f"  {name:<58} not installed here (pip install zensical)", flush=True)
        return
    command = [program or "zensical", "build", "--config-file", "mkdocs.yml", "--clean"]
    print_usage(name, measure_command(command, bare))
