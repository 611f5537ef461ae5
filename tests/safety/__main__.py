"""Run every attack at full length and print a line for each: `python -m tests.safety [--seed 1] [--only NAME]`."""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

from tests.safety.attacks import ATTACKS


def main() -> None:
    """Print tried and survived for each class of attacks, and the cases that failed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=sorted(ATTACKS))
    parser.add_argument("--count", type=int, help="cases a class, in place of its full length")
    arguments = parser.parse_args()
    failed = False
    for name, (attack, _, full) in ATTACKS.items():
        if arguments.only not in (None, name):
            continue
        started = time.perf_counter()
        with tempfile.TemporaryDirectory(prefix="millbook-safety-") as home:
            outcome = attack(arguments.seed, arguments.count or full, Path(home))
        seconds = time.perf_counter() - started
        print(f"{name:<28} tried {outcome.tried:>6}, survived {outcome.survived:>6}   {seconds:.0f} s", flush=True)
        for failure in outcome.failures[:20]:
            print(f"    {failure}", flush=True)
        failed |= bool(outcome.failures)
    sys.exit(failed)


if __name__ == "__main__":
    main()
