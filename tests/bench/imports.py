"""Import of a spreadsheet of 1,000 rows with 33 columns, by the command as a process; and the same file again."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from builder.record.spreadsheet.import_plan import propose_map
from tests.bench.aims import print_figure
from tests.bench.measure import measure_command
from tests.support.spreadsheets import long_list, write_xlsx

ROWS = 1000


def main() -> None:
    """Print processor seconds and memory."""
    with tempfile.TemporaryDirectory() as folder:
        archive = Path(folder)
        sheet = write_xlsx(archive / "engines.xlsx", {"Builds": long_list(ROWS)})
        propose_map(archive, sheet)
        command = [sys.executable, "-m", "builder", "import", str(sheet), "--map", str(archive / "engines.map.yaml"),
                   "--archive", str(archive)]  # fmt: skip
        first = measure_command(command)
        assert len(list((archive / "builds").glob("*/build.yaml"))) == ROWS
        again = measure_command(command)
    print_figure("import of 1,000 rows", first.processor, f"{first.wall:.1f} s by the clock")
    print_figure("import of 1,000 rows, memory", first.largest)
    print_figure("import of the same 1,000 rows again", again.processor)


if __name__ == "__main__":
    main()
