"""Commands, each as a process: help, check, bench sheet, plan, and a file that is refused."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.bench.aims import print_figure
from tests.bench.measure import ROOT, measure_command
from tests.bench.publish import FULLEST
from tests.support.figure_records import V8, write_record

REFUSE = """\
import sys
from pathlib import Path
from builder.record.yaml_loader import parse_yaml
document, problems = parse_yaml(("a: [" + "1," * 999_990 + "]\\n").encode(), Path("x.yaml"))
assert document is None and problems
"""


def planned_archive(folder: str, pistons: int, gaskets: int, heads: int) -> Path:
    """Write a planned V8 with so many candidates of each part, and return its archive."""
    candidates = {
        "pistons": [
            f"{{pistons.compression_height: {1.545 + 0.005 * index:.3f} in, pistons.dish: {2 + index} cc}}"
            for index in range(pistons)
        ],
        "gasket": [f"{{gasket.thickness: {0.020 + 0.004 * index:.3f} in}}" for index in range(gaskets)],
        "heads": [
            f"{{heads.chambers: {{listed: {58 + index} cc}}, intake_valve.diameter: {1.90 + 0.01 * index:.2f} in}}"
            for index in range(heads)
        ],
    }
    lines = ["alternatives:"]
    for part, values in candidates.items():
        lines += [f"  {part}:", *(f"    {part} {index}: {value}" for index, value in enumerate(values))]
    goals = "    status: planned\n    goals: {compression ratio: 9.6, displacement: 355 cu in, power: 400 hp}\n"
    documents = {**V8, "build": V8["build"].replace("    status: finished\n", goals), "plan": "\n".join(lines)}
    archive = Path(folder)
    write_record(archive, documents)
    return archive


def _seconds(*arguments: str) -> float:
    """Return the processor seconds of a command, the least of three runs."""
    return min(measure_command([sys.executable, "-m", "builder", *arguments]).processor for _ in range(3))


def main() -> None:
    """Print the figures, in processor seconds: other work on the machine does not lengthen them."""
    print_figure("millbook --help", _seconds("--help"))
    with tempfile.TemporaryDirectory() as folder:
        print_figure("millbook check", _seconds("check", FULLEST, "--archive", str(ROOT)))
        print_figure("millbook worksheet", _seconds("worksheet", FULLEST, "--archive", str(ROOT), "--out", folder))
        for aim, parts in (("millbook plan", (2, 2, 2)), ("millbook plan, 2,000 combinations", (10, 10, 20))):
            archive = planned_archive(folder, *parts)
            print_figure(aim, _seconds("plan", "test-engine", "--archive", str(archive)))
    refused = measure_command([sys.executable, "-c", REFUSE])
    print_figure("refusing a YAML file of 2 MB", refused.processor)
    print_figure("refusing a YAML file of 2 MB, memory", refused.largest)


if __name__ == "__main__":
    main()
