"""Find the dyno logs of each build: rows of another sheet, or files of a folder, joined by the build's number."""

from __future__ import annotations

import csv
import io
import re
from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from builder.record.dyno_log.encoding import MAX_BYTES
from builder.record.dyno_log.header import is_header
from builder.record.problem import Problem, did_you_mean
from builder.record.spreadsheet.import_map import DynoEntry, find_header, headings
from builder.record.spreadsheet.read import read_table
from builder.record.spreadsheet.table import SheetTable, SpreadsheetError

_SUFFIXES = (".csv", ".txt", ".tsv", ".log")
_SEARCHED_ROWS = 30


@dataclass(frozen=True, slots=True)
class PullLog:
    """The log of one pull, as it is written into the folder of its build."""

    name: str
    file: str
    data: bytes
    source: str
    """The file that it comes from."""
    row: int = 1


@dataclass
class DynoLogs:
    """The logs of every build by its number, and what could not be joined."""

    by_number: dict[str, list[PullLog]] = field(default_factory=lambda: defaultdict(list))
    shown: dict[str, str] = field(default_factory=dict)
    """The number as it is written, by the number that is compared."""
    problems: list[Problem] = field(default_factory=list)


def comparable(number: str) -> str:
    """Return the number of a build without what sheets differ in: `0142` and `142`, `24-07` and `24/07`."""
    return re.sub(r"[^a-z0-9]", "", number.casefold()).lstrip("0")


def read_logs(entry: DynoEntry, path: Path, map_path: Path) -> DynoLogs:
    """Return the logs that a map names, with a problem where there are none."""
    logs = DynoLogs()
    named = [name for name in ("sheet", "folder") if getattr(entry, name)] + (["file"] if entry.file else [])
    if not named or {"sheet", "folder"} <= set(named) or {"file", "folder"} <= set(named):
        logs.problems.append(Problem(map_path, 1, "dyno: name a sheet, a file or a folder with the logs"))
        return logs
    if entry.folder:
        _read_folder(map_path.parent / entry.folder, logs)
        return logs
    source = map_path.parent / entry.file if entry.file else path
    try:
        _read_rows(read_table(source, entry.sheet), entry, source, map_path, logs)
    except SpreadsheetError as error:
        logs.problems.append(Problem(Path(source.name), error.row, f"{entry.sheet or 'the file'}: {error}"))
    return logs


def _read_rows(table: SheetTable, entry: DynoEntry, source: Path, map_path: Path, logs: DynoLogs) -> None:
    header = find_header(table, entry.header_row) if entry.header_row else _log_header(table)
    if header is None:
        raise SpreadsheetError("has no row of headings with an engine speed and a torque or power")
    names = headings(table, header)
    folded = [name.casefold() for name in names]
    places: dict[str, int] = {}
    for key in ("number", "pull"):
        heading = getattr(entry, key)
        if heading is None and key == "pull":
            continue
        if heading is None or heading.casefold() not in folded:
            hint = did_you_mean(str(heading or ""), names, f"its headings are {', '.join(names[:15])}")
            message = f"dyno.{key}: {f'there is no column {heading!r}' if heading else 'is missing'}: {hint}"
            logs.problems.append(Problem(map_path, 1, message))
            return
        places[key] = folded.index(heading.casefold())
    columns = [index for index in range(len(names)) if index not in places.values()]
    pulls: dict[tuple[str, str], list[tuple[int, list[str]]]] = defaultdict(list)
    for row, cells in table.rows[header + 1 :]:
        texts = [cells[index].text if index < len(cells) else "" for index in range(len(names))]
        number = texts[places["number"]]
        if not comparable(number):
            logs.problems.append(Problem(Path(source.name), row, "has no number of a build: left out", "warning"))
            continue
        logs.shown.setdefault(comparable(number), number)
        name = texts[places["pull"]] if "pull" in places else ""
        pulls[(comparable(number), name)].append((row, [texts[index] for index in columns]))
    for (number, name), rows in pulls.items():
        out = io.StringIO()
        writer = csv.writer(out, delimiter=";", lineterminator="\n")
        writer.writerow([names[index] for index in columns])
        writer.writerows(texts for _, texts in rows)
        place = len(logs.by_number[number]) + 1
        shown = _pull_name(name) or f"pull {place}"
        logs.by_number[number].append(
            PullLog(shown, f"dyno/pull-{place}.csv", out.getvalue().encode(), source.name, rows[0][0])
        )


def _log_header(table: SheetTable) -> int | None:
    rows = enumerate(table.rows[:_SEARCHED_ROWS])
    return next((place for place, (_, cells) in rows if is_header([cell.text for cell in cells])), None)


def _pull_name(text: str) -> str:
    name = " ".join(text.replace("[", "(").replace("]", ")").split())[:100]
    return f"pull {name}" if name.isdecimal() else name


def _read_folder(folder: Path, logs: DynoLogs) -> None:
    """Collect the files of a folder by the letters and digits that their names begin with."""
    try:
        files = sorted(path for path in folder.iterdir() if path.suffix.lower() in _SUFFIXES and path.is_file())
    except OSError as error:
        logs.problems.append(Problem(folder, 1, f"cannot be read: {error.strerror or error}"))
        return
    for path in files:
        try:
            if path.stat().st_size > MAX_BYTES:
                raise OSError(0, f"has more than {MAX_BYTES / 1e6:,.0f} MB")
            data = path.read_bytes()
        except OSError as error:
            logs.problems.append(Problem(Path(folder.name) / path.name, 1, f"cannot be read: {error.strerror}"))
            continue
        logs.by_number[path.stem].append(PullLog(_pull_name(path.stem), f"dyno/{_plain(path)}", data, path.name))


def _plain(path: Path) -> str:
    return re.sub(r"[^A-Za-z0-9._-]+", "-", path.name)


def by_build(logs: DynoLogs, numbers: Collection[str], *, from_files: bool) -> Mapping[str, list[PullLog]]:
    """Return the logs by the number of their build, as compared; what belongs to no build is added to the problems.

    The name of a file begins with the number, and belongs to the longest that fits.
    """
    joined: dict[str, list[PullLog]] = defaultdict(list)
    for key, pulls_of_key in logs.by_number.items():
        number = build_of_file(key, numbers) if from_files else key
        if number is not None and number in numbers:
            joined[number] += pulls_of_key
            continue
        shown = logs.shown.get(key, key)
        message = (
            f"no build has the number {shown!r}, or more than one: its readings are not imported"
            if not from_files
            else ("its name begins with the number of no build, or of more than one: not imported")
        )
        logs.problems.append(Problem(Path(pulls_of_key[0].source), pulls_of_key[0].row, message, "warning"))
    return joined


def build_of_file(stem: str, numbers: Collection[str]) -> str | None:
    """Return the number, as compared, that the name of a file begins with; None where no build has it."""
    best: str | None = None
    for end in range(1, len(stem) + 1):
        if end == len(stem) or not stem[end].isalnum():
            start = comparable(stem[:end])
            if start and start in numbers:
                best = start
    return best
