"""YAML as plain values with lines, and the problems with YAML that is wrong or hostile."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from builder.record import yaml_loader
from builder.record.problem import Problem
from builder.record.yaml_loader import Document, parse_yaml, read_yaml

SHOWN = Path("builds/x/build.yaml")


def _read(text: str | bytes) -> Document:
    document, problems = parse_yaml(text.encode() if isinstance(text, str) else text, SHOWN)
    assert not problems
    assert document is not None
    return document


def _problem(raw: str | bytes) -> Problem:
    document, problems = parse_yaml(raw.encode() if isinstance(raw, str) else raw, SHOWN)
    assert document is None
    (problem,) = problems
    assert problem.path == SHOWN
    return problem


def test_plain_values() -> None:
    document = _read("a: 1\nb: 4.0300\nc: yes\nd: ~\ne: 'no'\nf: 0142\ng: [1, two]\nh: {i: -.5}\nj:\n")
    assert document.value == {
        "a": 1, "b": 4.03, "c": True, "d": None, "e": "no", "f": "0142", "g": [1, "two"], "h": {"i": -0.5}, "j": None,
    }  # fmt: skip


def test_numbers_keep_the_digits_they_were_written_with() -> None:
    value = _read("a: 4.0300\nb: 007\nc: 100\nd: 1.50e3").value
    assert (value["a"].text, value["b"], value["c"].text, value["d"].text) == ("4.0300", "007", "100", "1.50e3")


def test_every_value_keeps_its_line() -> None:
    document = _read("a: 1\nb:\n  - c: 2\n    d:\n      - 3\n      - [4,\n         5]\n")
    lines = document.lines
    assert lines[("a",)] == 1
    assert lines[("b", 0, "c")] == 3
    assert lines[("b", 0, "d", 0)] == 5
    assert lines[("b", 0, "d", 1, 1)] == 7


def test_the_line_of_a_missing_value_is_that_of_what_is_around_it() -> None:
    document = _read("a:\n  b:\n    - 1\n    - 2\n")
    assert document.line(("a", "b", "measured", 1)) == 4
    assert document.line(("a", "c")) == 1
    assert document.line(("z",)) == 1


def test_utf8_with_and_without_mark_and_utf16() -> None:
    for raw in ("a: µm".encode(), "a: µm".encode("utf-8-sig"), "a: µm".encode("utf-16")):
        assert _read(raw).value == {"a": "µm"}


def test_an_empty_file_and_one_of_comments_hold_nothing() -> None:
    assert _read("").value is None
    assert _read("# later\n").value is None


@pytest.mark.parametrize(
    ("raw", "line", "message"),
    [
        ("a: 1\nb: c: d\n", 2, "second colon"),
        ('note: he said "yes": fine\n', 1, "second colon"),
        ("a:\n\tb: 1\n", 2, "tab"),
        ("a: 1\nno colon here\n", 2, "no colon after its name"),
        ("a 1\nb: 2\n", 2, "below a line that has no colon"),
        ("a: 1\n  b: 2\n", 2, "indented further than the line above"),
        ("a:\n  - 1\n - 2\n", 3, "does not line up"),
        ("a: - b\n", 1, "line of its own"),
        ("a: 1\nb: [1,\nc: 2\n", 2, "bracket here that is not closed"),
        ("a: {b: 1\nc: 2\n", 1, "bracket here that is not closed"),
        ("a: 1\nb: 'open\nc: 2\n", 2, "quote here that is not closed"),
        ('a: "C:\\dyno"\n', 1, "single quotes"),
        ("a: @home\n", 1, "starts with @"),
        ("a: `x`\n", 1, "starts with `"),
        ("a: %5\n", 1, "starts with %"),
        ("a: 1\na: 2\n", 2, "'a' is there twice, first on line 1"),
        ("a: 1\n---\nb: 2\n", 2, "second document"),
        ("a: 1e999\n", 1, "too large"),
        ("[1]: 2\n", 1, "cannot be a name"),
        (b"a: 1\ncaf\xe9: 2\n", 2, "not UTF-8"),
        (b"\xff\xfea\x00:", 1, "not UTF-8"),
    ],
)
def test_typing_mistakes(raw: str | bytes, line: int, message: str) -> None:
    problem = _problem(raw)
    assert message in problem.message
    assert problem.line == line


@pytest.mark.parametrize(
    ("raw", "line", "message"),
    [
        ("a: &x [1]\nb: *x\n", 2, "alias"),
        ("a: &x {b: 1}\nc:\n  <<: *x\n", 3, "merge key"),
        ("a: !!python/object/apply:os.system ['true']\n", 1, "tag"),
        ("a: !!binary aGk=\n", 1, "tag"),
        ("a: !thing x\n", 1, "tag"),
        ("a: 1\n%TAG ! tag:x,2000:\n", 2, "starts a line with %"),
        ("a: 1\nb: \x00\n", 2, "U+0000"),
        ('a: "\\0"\n', 1, "U+0000"),
        ('a: "\\x1b[2J"\n', 1, "U+001B"),
        ("a: 1\nb: x\u202ey\n", 2, "U+202E"),
        ('a: "\\u202e"\n', 1, "U+202E"),
        ("? |\n  two\n  lines\n: 1\n", 1, "several lines"),
        (f"{'k' * 300}: 1\n", 1, "name of 300 characters"),
        (f"a: {'x' * 70_000}\n", 1, "70000 characters"),
        ("a: " + "[" * 30 + "]" * 30 + "\n", 1, "nested more than 24 deep"),
        ("- " * 5000 + "x\n", 1, "nested more than 24 deep"),
        ("{a: " * 3000, 1, "deep"),
        ("a: [" + "1, " * 30_001 + "1]\n", 1, "more than 30000 values"),
    ],
)
def test_hostile_files_are_refused(raw: str, line: int, message: str) -> None:
    problem = _problem(raw)
    assert message in problem.message
    assert problem.line == line
    assert str(problem).isprintable()


def test_an_alias_bomb_costs_nothing() -> None:
    bomb = "a: &a [x, x, x, x, x, x, x, x, x]\n"
    for name, before in zip("bcdefghi", "abcdefgh", strict=True):
        bomb += f"{name}: &{name} [{', '.join([f'*{before}'] * 9)}]\n"
    assert _problem(bomb).line == 2


def test_a_file_of_a_hundred_megabytes_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "build.yaml"
    with path.open("wb") as file:
        file.truncate(100_000_000)
    document, (problem,) = read_yaml(path, SHOWN)
    assert document is None
    assert "is 100 MB" in problem.message


def test_many_directives_do_not_keep_the_parser_busy() -> None:
    raw = "".join(f"%TAG !a{index}! tag:example.org,2000:\n" for index in range(50_000)) + "---\na: 1\n"
    assert "starts a line with %" in _problem(raw).message


def test_a_path_that_is_no_ordinary_file(tmp_path: Path) -> None:
    _, (problem,) = read_yaml(tmp_path, SHOWN)
    assert "not an ordinary file" in problem.message
    _, (problem,) = read_yaml(tmp_path / "gone.yaml", SHOWN)
    assert "not an ordinary file" in problem.message
    device = Path("/dev/zero")
    if device.exists():
        _, (problem,) = read_yaml(device, SHOWN)
        assert "not an ordinary file" in problem.message


def test_a_problem_is_one_printable_line_whatever_the_file_is_called() -> None:
    text = str(Problem(Path("builds/a\nb\udcff.yaml"), 3, "is wrong"))
    assert text == "builds/a\\nb\\udcff.yaml:3: error: is wrong"


@pytest.mark.parametrize("loader", ["C", "Python"])
def test_both_parsers_give_the_same_values_and_refuse_the_same(loader: str, monkeypatch: pytest.MonkeyPatch) -> None:
    chosen = getattr(yaml, "CSafeLoader", None) if loader == "C" else yaml.SafeLoader
    if chosen is None:
        pytest.skip("this PyYAML was built without its C parser")
    monkeypatch.setattr(yaml_loader, "_Loader", chosen)
    document = _read("a:\n  - {b: 1.50 in}\n  - c\n")
    assert document.value == {"a": [{"b": "1.50 in"}, "c"]}
    assert document.lines[("a", 1)] == 3
    for raw, line in (
        ("a: *x\n", 1),
        ("a: [1,\nb: 2\n", 1),
        ("x: 1\na: 'open\n", 2),
        ('a: "\\ud800"\n', 1),
        ('a: "\\U00110000"', 1),
    ):
        assert _problem(raw).line == line


@given(st.binary(max_size=400))
def test_no_bytes_make_it_raise(raw: bytes) -> None:
    document, problems = parse_yaml(raw, SHOWN)
    assert (document is None) == bool(problems)


@given(st.text(alphabet=st.sampled_from(":-[]{}'\"#&*!|>%@`,?\n\t abc01.~<=\\xu\0é\u202e"), max_size=200))
def test_no_text_of_yaml_characters_makes_it_raise(text: str) -> None:
    document, problems = parse_yaml(text.encode(), SHOWN)
    assert (document is None) == bool(problems)
    for problem in problems:
        assert 1 <= problem.line <= text.count("\n") + 2
        assert str(problem).isprintable()


@pytest.mark.parametrize(
    ("text", "line", "message"),
    [
        ("fasteners:\n  - {joint: main caps, inner, size: 1/2-13}\n", 2, "'inner' is between braces"),
        ("a: {why: 🔧 four tenths over, bronze guide, by: IV}\n", 1, "put a text that holds a comma between quotes"),
        ("a:\n  {note: new bolts,\n   washers under heads}\n", 3, "'washers under heads'"),
        ("a: {note: fits, [sic], by: RT}\n", 1, "text that starts with a bracket between quotes"),
        ("a: {note: see below: page 3}\n", 1, "a comma, a colon or a bracket between quotes"),
        ("a: {note: tight, *really*}\n", 1, "starts with *: put it between quotes"),
        ("a: {note:, by: RT}\n", 1, "write a value behind it"),
    ],
)
def test_a_text_that_braces_would_split_needs_quotes(text: str, line: int, message: str) -> None:
    document, problems = parse_yaml(text.encode(), Path("assembly.yaml"))
    assert document is None
    (problem,) = problems
    assert problem.line == line
    assert message in problem.message


def test_quotes_hold_a_comma_and_an_entry_may_be_empty() -> None:
    text = "a: {what: \"bored, honed\", on: , 'who, when': RT, 🔧: 3}\n"
    document, problems = parse_yaml(text.encode(), Path("work.yaml"))
    assert not problems
    assert document is not None
    assert document.value == {"a": {"what": "bored, honed", "on": None, "who, when": "RT", "🔧": 3}}
