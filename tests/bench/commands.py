"""Commands, each as a process: the help, one delivery pack, and a file that is refused."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.bench.aims import print_figure
from tests.bench.measure import measure_command
from tests.support.handover_samples import FULL, archive_with

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
    with tempfile.TemporaryDirectory() as folder:
        archive = archive_with(Path(folder), FULL)
        pack = measure_command([sys.executable, "-m", "builder", "handover", FULL, "--archive", str(archive)])
    print_figure("delivery pack of a full build", pack.processor, f"{pack.wall:.1f} s by the clock")
    print_figure("delivery pack of a full build, memory", pack.largest)
    refused = measure_command([sys.executable, "-c", REFUSE])
    print_figure("refusing a YAML file of 2 MB", refused.processor)
    print_figure("refusing a YAML file of 2 MB, memory", refused.largest)


if __name__ == "__main__":
    main()
