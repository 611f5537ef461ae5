"""Commands, each as a process: the help, and a file that is refused."""

from __future__ import annotations

import sys

from tests.bench.aims import print_figure
from tests.bench.measure import measure_command

REFUSE = """\
import sys
from pathlib import Path
from builder.record.yaml_loader import parse_yaml
document, problems = parse_yaml(("a: [" + "1," * 999_990 + "]\\n").encode(), Path("x.yaml"))
assert document is None and problems
"""


def main() -> None:
    """Print the figures, in processor seconds: other work on the machine does not lengthen them."""
    helps = [measure_command([sys.executable, "-m", "builder", "--help"]) for _ in range(3)]
    print_figure("millbook --help", min(run.processor for run in helps))
    refused = measure_command([sys.executable, "-c", REFUSE])
    print_figure("refusing a YAML file of 2 MB", refused.processor)
    print_figure("refusing a YAML file of 2 MB, memory", refused.largest)


if __name__ == "__main__":
    main()
