"""Attacks, each drawn from a seed: damaged records and logs, impossible values, kills, planted folders, altered packs.

Every attack works on copies in a folder of its own and returns how many cases it tried and which of them failed.
A case fails when a command ends in a traceback, when something outside the folders that belong to the program
changes, or when the site or the verdict is not what it has to be.
"""

from __future__ import annotations

import contextlib
import os
import random
import re
import shutil
import socket
import subprocess
import sys
import warnings
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from click.testing import CliRunner, Result

from builder.cli import main
from builder.handover.checksums import CHECKSUM_FILE, UNCOVERED, add_checksums, verify
from tests.support import tiny_archive as tiny
from tests.support.fault_injection import publish_with_fault
from tests.support.two_states import TwoStates

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "builds"


@dataclass
class Outcome:
    """How one class of attacks ended."""

    tried: int = 0
    failures: list[str] = field(default_factory=list)

    @property
    def survived(self) -> int:
        """Return the number of cases that ended as they have to."""
        return self.tried - len(self.failures)

    def record(self, case: str, problem: str | None) -> None:
        """Count a case, and keep what was wrong with it."""
        self.tried += 1
        if problem:
            self.failures.append(f"{case}: {problem}")


Attack = Callable[[int, int, Path], Outcome]


def run(*arguments: str | Path) -> Result:
    """Run `millbook` in this process."""
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def crash_of(result: Result) -> str | None:
    """Return the exception that a command let through, or None."""
    if result.exception is None or isinstance(result.exception, SystemExit):
        return None
    return f"{type(result.exception).__name__}: {result.exception}"


# ------------------------------------------------------------------------------------------ records


def mutated_records(seed: int, count: int, home: Path) -> Outcome:
    """Check builds of which one YAML file was damaged: characters, lines, values, types, encodings."""
    outcome = Outcome()
    archive = home / "records"
    files = sorted(path for path in DEMO.rglob("*.yaml") if path.parent != DEMO)
    for number in range(count):
        rng = random.Random(f"{seed}-record-{number}")
        source = rng.choice(files)
        build = archive / "builds" / "mutant"
        shutil.rmtree(build, ignore_errors=True)
        shutil.copytree(source.parent, build, ignore=shutil.ignore_patterns("photos"))
        content = source.read_bytes()
        for _ in range(rng.choice((1, 1, 1, 2, 4))):
            content = rng.choice(_RECORD_MUTATIONS)(content, rng)
        (build / source.name).write_bytes(content)
        result = run("check", "mutant", "--archive", archive)
        problem = crash_of(result)
        if problem is None and result.exit_code not in (0, 1):
            problem = f"exit status {result.exit_code}"
        outcome.record(f"record {number} ({source.parent.name}/{source.name})", problem)
    return outcome


def _flip_bytes(content: bytes, rng: random.Random) -> bytes:
    data = bytearray(content)
    for _ in range(rng.randint(1, 6)):
        data[rng.randrange(len(data))] = rng.randrange(256)
    return bytes(data)


def _cut_off(content: bytes, rng: random.Random) -> bytes:
    return content[: rng.randrange(1, len(content))] if len(content) > 1 else content


def _drop_line(content: bytes, rng: random.Random) -> bytes:
    lines = content.splitlines(keepends=True)
    del lines[rng.randrange(len(lines))]
    return b"".join(lines) or b"\n"


def _repeat_line(content: bytes, rng: random.Random) -> bytes:
    lines = content.splitlines(keepends=True)
    index = rng.randrange(len(lines))
    return b"".join([*lines[:index], lines[index], *lines[index:]])


def _swap_lines(content: bytes, rng: random.Random) -> bytes:
    lines = content.splitlines(keepends=True)
    first, second = rng.randrange(len(lines)), rng.randrange(len(lines))
    lines[first], lines[second] = lines[second], lines[first]
    return b"".join(lines)


def _indent_line(content: bytes, rng: random.Random) -> bytes:
    lines = content.splitlines(keepends=True)
    index = rng.randrange(len(lines))
    lines[index] = rng.choice((b"  ", b"\t", b"    ")) + lines[index]
    return b"".join(lines)


_PLANTED_VALUES = (
    "", "null", "~", "[]", "{}", "true", "no", "0", "-1", "1e308", "-1e308", "1e999", ".nan", ".inf", "nan in",
    "inf mm", "0 in", "-4 in", "0x10", "9" * 4000, "1_000", "2024-13-45", "[1, 2", "{a: 1", "'", '"', "&a [*a]",
    "*unknown", "!!python/object:os.system ls", "<<: {a: 1}", "\\u0000", "4.0305", "4.0305 parsec", "4.0305 in 5 mm",
    "1/0 in", "[0.001 in, x]", "{unit: in, measured: [1, , 2]}", "{listed: 1 in, measured: 2 kg}",
    "{measured: {measured: 1 in}}", "../../../etc/passwd", "dyno/", "\u202etxt", "a" * 70_000,
    "- - - -", "? ? ?", "|\n  text", "# comment", "@", "`",
)  # fmt: skip


def _plant_value(content: bytes, rng: random.Random) -> bytes:
    """Put another value behind a name."""
    text = content.decode("utf-8", "replace")
    places = list(re.finditer(r"(?<=: )[^\n{}\[\],]+", text))
    if not places:
        return content
    place = rng.choice(places)
    return (text[: place.start()] + rng.choice(_PLANTED_VALUES) + text[place.end() :]).encode()


def _change_number(content: bytes, rng: random.Random) -> bytes:
    """Put another number in the place of one."""
    text = content.decode("utf-8", "replace")
    places = list(re.finditer(r"(?<![\w.])\d+(\.\d+)?(?![\w.])", text))
    if not places:
        return content
    place = rng.choice(places)
    number = rng.choice(("0", "0.0", "-" + place[0], place[0] + "000", "1e-300", "1e300", "00", place[0][::-1]))
    return (text[: place.start()] + number + text[place.end() :]).encode()


def _rename_key(content: bytes, rng: random.Random) -> bytes:
    text = content.decode("utf-8", "replace")
    places = list(re.finditer(r"\b[a-z_]+(?=:)", text))
    if not places:
        return content
    place = rng.choice(places)
    return (
        text[: place.start()] + rng.choice((place[0][::-1], place[0] + "s", "x", "", "0")) + text[place.end() :]
    ).encode()


def _other_encoding(content: bytes, rng: random.Random) -> bytes:
    text = content.decode("utf-8", "replace")
    return rng.choice((text.encode("utf-16"), b"\xff" + content, b"\x00" + content, text.encode("latin-1", "replace")))


_RECORD_MUTATIONS: tuple[Callable[[bytes, random.Random], bytes], ...] = (
    _flip_bytes, _cut_off, _drop_line, _repeat_line, _swap_lines, _indent_line, _plant_value, _plant_value,
    _change_number, _change_number, _rename_key, _other_encoding,
)  # fmt: skip


# --------------------------------------------------------------------------------------------- logs


def mutated_logs(seed: int, count: int, home: Path) -> Outcome:
    """Read logs that were damaged; nothing but a log or a list of problems may come back."""
    from builder.record.dyno_log.reader import read_dyno_log

    outcome = Outcome()
    path = home / "log.csv"
    sources = [log.read_bytes() for log in sorted(DEMO.rglob("*.csv"))]
    for number in range(count):
        rng = random.Random(f"{seed}-log-{number}")
        content = rng.choice(sources)
        for _ in range(rng.choice((1, 1, 2, 4))):
            content = rng.choice(_LOG_MUTATIONS)(content, rng)
        path.write_bytes(content)
        try:
            log, problems = read_dyno_log(path)
            problem = "neither a log nor a problem" if log is None and not problems else None
        except Exception as error:
            problem = f"{type(error).__name__}: {error}"
        outcome.record(f"log {number}", problem)
    return outcome


_PLANTED_CELLS = (
    "", "nan", "inf", "-inf", "1e999", "-5", "#REF!", "--", "1.2.3", "1,2,3", '"', '"unclosed', "=1+1", "\x00",
    "9" * 200, "0" * 16_000, "1" * 16_000 + "x", "\u00a05", "5\u2212", "12:30:99", "open", "x" * 3000,
)  # fmt: skip


def _plant_cell(content: bytes, rng: random.Random) -> bytes:
    lines = content.splitlines(keepends=True)
    index = rng.randrange(len(lines))
    separator = rng.choice((b",", b";", b"\t"))
    cells = lines[index].rstrip(b"\r\n").split(separator)
    cells[rng.randrange(len(cells))] = rng.choice(_PLANTED_CELLS).encode()
    lines[index] = separator.join(cells) + b"\n"
    return b"".join(lines)


_LOG_MUTATIONS: tuple[Callable[[bytes, random.Random], bytes], ...] = (
    _flip_bytes, _cut_off, _drop_line, _repeat_line, _swap_lines, _plant_cell, _plant_cell, _change_number,
    _other_encoding,
)  # fmt: skip


# ------------------------------------------------------------------------------------------- values


def impossible_values(seed: int, count: int, home: Path) -> Outcome:
    """Set single values to zero or below zero: `check`, `figures` and the publish of the others go on."""
    outcome = Outcome()
    archive = home / "values"
    (archive / "builds").mkdir(parents=True)
    shutil.copy(DEMO / "shop.yaml", archive / "builds")
    shutil.copytree(DEMO / "irrigation-single", archive / "builds" / "untouched")
    places = _values_by_kind()
    for number in range(count):
        rng = random.Random(f"{seed}-value-{number}")
        path, match = rng.choice(places[rng.choice(sorted(places))])
        value = rng.choice(("0", "0.000", f"-{match[0]}", f"-{match[0]}", "1e30", "1e-30"))
        build = archive / "builds" / "poisoned"
        shutil.rmtree(build, ignore_errors=True)
        shutil.copytree(path.parent, build)
        text = path.read_text("utf-8")
        (build / path.name).write_text(text[: match.start()] + value + text[match.end() :], "utf-8")
        problem = None
        commands = [("check", "poisoned"), ("check",), ("figures", "poisoned")]
        commands += (
            [("publish",), ("handover", "--all", "--draft", "--out", str(home / "packs"))] if number % 2 == 0 else []
        )
        for command in commands:
            result = run(*command, "--archive", archive)
            crash = crash_of(result)
            if (
                crash
                or "Traceback" in result.output
                or "Error in " in result.output
                or "cannot be made" in result.output
            ):
                problem = f"{' '.join(command)}: {crash or result.output.strip().splitlines()[0]}"
                break
            if command[0] == "publish" and not (archive / "site" / "builds" / "untouched" / "index.html").is_file():
                problem = "the other build was not published"
                break
        outcome.record(f"value {number} ({path.parent.name}/{path.name}: {match[0]} -> {value})", problem)
    return outcome


_NUMBER = re.compile(r"(?<![\w.#-])\d+(?:\.\d+)?(?![\w.-])")
_VALUE_PLACES = {
    "single": re.compile(r"^ *[\w-]+: (?P<place>[\d.]+ [a-zA-Z%].*)$", re.MULTILINE),
    "single in braces": re.compile(r"[{,] *(?!listed|measured)[a-z_]+: (?P<place>[\d.]+ [a-zA-Z%][^,}\n]*)"),
    "listed": re.compile(r"listed: (?P<place>[^,}\n]+)"),
    "measured": re.compile(r"measured: (?P<place>[^,}\[\n]+)"),
    "list": re.compile(r"(?:measured|repeats|steps): \[(?P<place>[^\]]+)\]"),
    "entry": re.compile(r"^ *- \{(?P<place>[^}\n]+)\}", re.MULTILINE),
}
"""Where the records of the demo hold numbers: behind a name, inside the long form of a reading, in lists."""


def _values_by_kind() -> dict[str, list[tuple[Path, re.Match[str]]]]:
    """Return every number in the records of the demo, with its file, by the kind of its place."""
    places: dict[str, list[tuple[Path, re.Match[str]]]] = {kind: [] for kind in _VALUE_PLACES}
    for path in sorted(path for path in DEMO.rglob("*.yaml") if path.parent != DEMO):
        text = path.read_text("utf-8")
        for kind, pattern in _VALUE_PLACES.items():
            for place in pattern.finditer(text):
                numbers = _NUMBER.finditer(text, place.start("place"), place.end("place"))
                places[kind] += [(path, number) for number in numbers]
    return places


# ---------------------------------------------------------------------------------- kills and deaths


def _failure(check: Callable[[], object]) -> str | None:
    """Return what a check of the site finds wrong, or None."""
    try:
        check()
    except AssertionError as error:
        return str(error) or "the next publish does not make it right"
    return None


def kills(seed: int, count: int, home: Path) -> Outcome:
    """Kill a publish at random file operations, publish again after some of them."""
    outcome = Outcome()
    pair = TwoStates(home)
    operations = pair.operations()
    for number in range(count):
        rng = random.Random(f"{seed}-kill-{number}")
        pair.change_to(1 - pair.state)
        publish_with_fault(pair.archive, "kill", rng.randint(1, operations))
        problem = _failure(pair.site_state)
        if problem is None and rng.random() < 0.3:
            problem = _failure(pair.repair)
        outcome.record(f"kill {number}", problem)
    outcome.record("publish after the last kill", _failure(pair.repair))
    return outcome


def deaths(seed: int, count: int, home: Path) -> Outcome:
    """Kill a publish at each of its file operations in turn (at most `count` of them, spread evenly)."""
    outcome = Outcome()
    pair = TwoStates(home)
    pair.operations()  # the first creates the mirror, which those after it find
    operations = pair.operations()
    chosen = range(1, operations + 1)
    if count < operations:
        chosen = range(1 + seed % 3, operations + 1, -(-operations // count))
    for operation in chosen:
        pair.change_to(1 - pair.state)
        publish_with_fault(pair.archive, "kill", operation)
        problem = _failure(pair.site_state) or _failure(pair.repair)
        outcome.record(f"death at operation {operation} of {operations}", problem)
    return outcome


# ----------------------------------------------------------------------------------- planted folders


_WORKING_NAMES = (
    ".site.next", ".site.last", ".site.mirror", ".millbook", ".millbook/pages", ".millbook/pages/builds",
    ".millbook/bodies", ".millbook/charts", ".millbook/templates", "site", "site/builds", "site/assets",
)  # fmt: skip


def planted(seed: int, count: int, home: Path) -> Outcome:
    """Put links and foreign folders where the program works: nothing outside, and nothing foreign, is touched."""
    outcome = Outcome()
    for number in range(count):
        rng = random.Random(f"{seed}-planted-{number}")
        case = home / f"planted-{number}"
        archive, outside = case / "shop", case / "outside"
        tiny.use_short_pages(archive)
        tiny.write_build(archive, "ash")
        tiny.write_build(archive, "birch", number=2)
        outside.mkdir()
        (outside / "keep.txt").write_text("not ours")
        (outside / "inner").mkdir()
        (outside / "inner" / "index.html").write_text("not ours either")
        if rng.random() < 0.7:
            run("publish", "--archive", archive)
        name = _WORKING_NAMES[number % len(_WORKING_NAMES)]
        target = archive / name
        foreign = rng.random() < 0.4
        if target.is_dir() and not target.is_symlink():
            shutil.rmtree(target)
        target.parent.mkdir(parents=True, exist_ok=True)
        if foreign:
            shutil.copytree(outside, target)
        else:
            target.symlink_to(rng.choice((outside, Path(os.path.relpath(outside, target.parent)))))
        tiny.write_sheet(archive / "builds" / "ash", title="Changed")
        before = tiny.read_tree(outside)
        result = run("publish", "--archive", archive)
        problem = crash_of(result)
        if problem is None and tiny.read_tree(outside) != before:
            problem = "files outside the archive were changed"
        if problem is None and foreign and not (target / "keep.txt").is_file():
            problem = "a foreign file was deleted"
        kind = "foreign folder" if foreign else "link"
        outcome.record(f"planted {number} ({kind} at {name})", problem)
    return outcome


# --------------------------------------------------------------------------------------------- packs


def altered_packs(seed: int, count: int, home: Path) -> Outcome:
    """Alter packs, as folders and as ZIP files: every alteration shows, and nothing hangs."""
    outcome = Outcome()
    out = home / "packs"
    result = run("handover", "irrigation-single", "--draft", "--archive", ROOT, "--out", out)
    assert result.exit_code in (0, 1), result.output
    pack, archive = out / "irrigation-single", out / "irrigation-single.zip"
    digest = verify(pack).digest
    for number in range(count):
        rng = random.Random(f"{seed}-pack-{number}")
        alteration = rng.choice(_ZIP_ALTERATIONS if number % 3 == 0 else _FOLDER_ALTERATIONS)
        copy = home / f"copy-{number}"
        if alteration in _ZIP_ALTERATIONS:
            copy = copy.with_suffix(".zip")
            shutil.copy(archive, copy)
        else:
            shutil.copytree(pack, copy)
        alteration(copy, rng)
        verified = _verify_elsewhere(copy) if alteration in _MAY_HANG else run("handover", "--verify", copy)
        problem = "verifying hangs" if verified is None else crash_of(verified)
        # A new seal that fits is discovered by whoever compares the digest with the one in the binder.
        if verified is not None and verified.exit_code == 0 and digest in verified.output:
            problem = "the alteration does not show"
        outcome.record(f"pack {number} ({alteration.__name__.strip('_')})", problem)
        shutil.rmtree(copy) if copy.is_dir() else copy.unlink()
    return outcome


def _verify_elsewhere(pack: Path) -> Result | None:
    """Verify a pack in another process; None where it hangs."""
    command = [sys.executable, "-m", "builder", "handover", "--verify", str(pack)]
    try:
        done = subprocess.run(command, capture_output=True, cwd=ROOT, timeout=30, check=False)
    except subprocess.TimeoutExpired:
        return None
    crash = RuntimeError(done.stderr.decode().strip()[-300:]) if b"Traceback" in done.stderr else None
    return Result(CliRunner(), done.stdout, done.stderr, done.stdout + done.stderr, None, done.returncode, crash)


def _files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file() and not path.is_symlink())


def _change_byte(folder: Path, rng: random.Random) -> None:
    path = rng.choice([path for path in _files(folder) if path.stat().st_size])
    data = bytearray(path.read_bytes())
    data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    path.write_bytes(data)


def _remove_file(folder: Path, rng: random.Random) -> None:
    rng.choice(_files(folder)).unlink()


def _add_file(folder: Path, rng: random.Random) -> None:
    (rng.choice(_files(folder)).parent / "added.txt").write_text("added")


def _add_empty_folder(folder: Path, rng: random.Random) -> None:
    (rng.choice(_files(folder)).parent / "empty").mkdir()


def _add_pipe(folder: Path, rng: random.Random) -> None:
    os.mkfifo(rng.choice(_files(folder)).parent / "pipe")


def _replace_by_pipe(folder: Path, rng: random.Random) -> None:
    path = rng.choice(_files(folder))
    path.unlink()
    os.mkfifo(path)


def _replace_by_link(folder: Path, rng: random.Random) -> None:
    path = rng.choice(_files(folder))
    moved = folder.parent / f"{folder.name}-{path.name}"
    path.rename(moved)
    path.symlink_to(moved)


def _swap_files(folder: Path, rng: random.Random) -> None:
    first, second = rng.sample([path for path in _files(folder) if path.stat().st_size], 2)
    one, other = first.read_bytes(), second.read_bytes()
    if one == other:
        one += b" "
    first.write_bytes(other)
    second.write_bytes(one)


def _empty_file(folder: Path, rng: random.Random) -> None:
    rng.choice([path for path in _files(folder) if path.stat().st_size]).write_bytes(b"")


def _replace_by_device(folder: Path, rng: random.Random) -> None:
    path = rng.choice(_files(folder))
    path.unlink()
    path.symlink_to("/dev/zero")


def _replace_by_socket(folder: Path, rng: random.Random) -> None:
    path = rng.choice(_files(folder))
    path.unlink()
    with socket.socket(socket.AF_UNIX) as server, contextlib.chdir(path.parent):
        server.bind(path.name)  # the address of a socket has at most about 100 characters


def _claim_huge_size(folder: Path, rng: random.Random) -> None:
    """A file of 2 TB that takes no room on the disk."""
    path = rng.choice([*_files(folder), folder / "huge.bin"])
    with path.open("ab") as file:
        file.truncate(2_000_000_000_000)


def _write_new_seal(folder: Path, rng: random.Random) -> None:
    """Alter a file that the digest covers, and write a seal that fits."""
    files = {path.relative_to(folder).as_posix(): path.read_bytes() for path in _files(folder)}
    name = rng.choice([name for name in sorted(files) if name not in UNCOVERED])
    del files[CHECKSUM_FILE]
    files = add_checksums({**files, name: files[name] + b" "})
    for name, content in files.items():
        (folder / name).write_bytes(content)


_FOLDER_ALTERATIONS = (
    _change_byte, _remove_file, _add_file, _add_empty_folder, _add_pipe, _replace_by_pipe, _replace_by_link,
    _swap_files, _empty_file, _replace_by_device, _replace_by_socket, _claim_huge_size, _write_new_seal,
)  # fmt: skip
_MAY_HANG = (_add_pipe, _replace_by_pipe, _replace_by_device, _replace_by_socket, _claim_huge_size)


def _members(path: Path) -> Iterator[tuple[zipfile.ZipInfo, bytes]]:
    with zipfile.ZipFile(path) as archive:
        for entry in archive.infolist():
            yield entry, archive.read(entry)


def _rewrite(path: Path, members: list[tuple[str, bytes]], compression: int = zipfile.ZIP_STORED) -> None:
    with zipfile.ZipFile(path, "w", compression) as archive:
        for name, content in members:
            archive.writestr(zipfile.ZipInfo(name), content, compression)


def _zip_bit(path: Path, rng: random.Random) -> None:
    data = bytearray(path.read_bytes())
    data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    path.write_bytes(data)


def _zip_cut(path: Path, rng: random.Random) -> None:
    data = path.read_bytes()
    path.write_bytes(data[: rng.randrange(1, len(data))])


def _zip_compressed(path: Path, rng: random.Random) -> None:
    _rewrite(path, [(entry.filename, content) for entry, content in _members(path)], zipfile.ZIP_DEFLATED)


def _zip_bomb(path: Path, rng: random.Random) -> None:
    """A member of many zeros, compressed to next to nothing."""
    members = [(entry.filename, content) for entry, content in _members(path)]
    name = members[rng.randrange(len(members))][0]
    members = [(member, b"\0" * 100_000_000 if member == name else content) for member, content in members]
    _rewrite(path, members, zipfile.ZIP_DEFLATED)


def _zip_member_removed(path: Path, rng: random.Random) -> None:
    members = [(entry.filename, content) for entry, content in _members(path)]
    del members[rng.randrange(len(members))]
    _rewrite(path, members)


def _zip_leaves(path: Path, rng: random.Random) -> None:
    members = [(entry.filename, content) for entry, content in _members(path)]
    members.append((rng.choice(("../outside.txt", "/etc/outside.txt", "pack/../../outside.txt")), b"outside"))
    _rewrite(path, members)


def _zip_sizes(path: Path, rng: random.Random) -> None:
    """Claim another size of a member in the directory."""
    data = bytearray(path.read_bytes())
    places = [match.start() for match in re.finditer(b"PK\\x01\\x02", data)]
    place = rng.choice(places)
    data[place + 20 : place + 28] = rng.choice((0, 1, 2**20, 2**31, 2**32 - 2)).to_bytes(4, "little") * 2
    path.write_bytes(data)


def _zip_member_twice(path: Path, rng: random.Random) -> None:
    members = [(entry.filename, content) for entry, content in _members(path)]
    with warnings.catch_warnings(action="ignore"):
        _rewrite(path, [*members, (rng.choice(members)[0], b"another")])


_ZIP_ALTERATIONS = (
    _zip_bit, _zip_cut, _zip_compressed, _zip_bomb, _zip_member_removed, _zip_leaves, _zip_sizes, _zip_member_twice,
)  # fmt: skip

ATTACKS: dict[str, tuple[Attack, int, int]] = {
    "mutated records": (mutated_records, 40, 3000),
    "mutated logs": (mutated_logs, 150, 6000),
    "impossible values": (impossible_values, 6, 100),
    "kills": (kills, 4, 100),
    "deaths at file operations": (deaths, 6, 10_000),
    "planted links and folders": (planted, 12, 24),
    "altered packs": (altered_packs, 9, 100),
}
"""By name: the attack, how many cases the suite tries, and how many a full run."""
