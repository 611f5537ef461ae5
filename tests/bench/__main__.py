"""Time and memory of the program against its aims, and against the tools that it is built on.

    python -m tests.bench [--builds 1000] [--only PART]   (publish, pulls, comparisons, figures, archive, commands,
                                                         imports, handover, browser)

The aims stand in `aims.py`. Processor seconds are those of a process and all it started; on a machine that does
other things they say more than the clock.
"""

from __future__ import annotations

import argparse
import importlib
import os
import platform
from pathlib import Path

from tests.bench.measure import ENVIRONMENT

PARTS = ("publish", "pulls", "comparisons", "figures", "archive", "commands", "imports", "handover", "browser")


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--builds", type=int, nargs="+", default=[100, 300], help="sizes of the archive to publish")
    parser.add_argument("--only", choices=PARTS)
    parser.add_argument("--keep", type=Path, help="folder to leave the published archive in")
    arguments = parser.parse_args()
    os.environ |= ENVIRONMENT
    print(f"{platform.machine()}, {os.cpu_count()} cores, {platform.system()}, Python {platform.python_version()}")
    for part in PARTS:
        if arguments.only not in (None, part):
            continue
        module = importlib.import_module(f"tests.bench.{'pull_comparisons' if part == 'comparisons' else part}")
        if part == "publish":
            for builds in arguments.builds:
                module.main(builds, arguments.keep)
        else:
            print(f"\n{part}", flush=True)
            module.main()


if __name__ == "__main__":
    main()
