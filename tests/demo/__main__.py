"""Write the dyno logs of the demonstration archive again, from the top of the repository:

    python -m tests.demo

The YAML and the photos of the builds are not touched.
"""

from __future__ import annotations

from pathlib import Path

from tests.demo.sessions import SESSIONS

BUILDS = Path(__file__).resolve().parents[2] / "builds"


def main() -> None:
    """Write every log that is missing or different."""
    for session in SESSIONS:
        for name, content in session.logs().items():
            path = BUILDS / name
            if not path.exists() or path.read_bytes() != content:
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(content)
                print(path.relative_to(BUILDS.parent))


if __name__ == "__main__":
    main()
