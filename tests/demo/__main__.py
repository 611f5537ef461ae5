"""Remake the logs and pictures of the demonstration archive, from the top of the repo:

    python -m tests.demo            all of it; the pictures take some minutes
    python -m tests.demo logs       the logs alone

The YAML of the builds is written by hand and is not touched.
"""

from __future__ import annotations

import sys
from pathlib import Path

from tests.demo.photos import NAMES, make
from tests.demo.sessions import SESSIONS

BUILDS = Path(__file__).parents[2] / "builds"


def write(path: Path, content: bytes) -> None:
    """Write a file if it is not there or is different."""
    path.parent.mkdir(parents=True, exist_ok=True)
    if not path.exists() or path.read_bytes() != content:
        path.write_bytes(content)
        print(path.relative_to(BUILDS.parent))


def main() -> None:
    """Logs first, pictures after."""
    for session in SESSIONS:
        for name, content in session.logs().items():
            write(BUILDS / name, content)
    if sys.argv[1:] != ["logs"]:
        for name in NAMES:
            write(BUILDS / name, make(name))


if __name__ == "__main__":
    main()
