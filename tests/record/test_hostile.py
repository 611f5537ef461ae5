"""Thousands of damaged records: each is read or rejected, and never with a traceback."""
# ruff: noqa: E501  (scraps side by side)

from __future__ import annotations

import random
import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from builder.record.models.build import DOCUMENTS, Build
from builder.record.redaction import without_private
from builder.record.reference import document_models
from builder.record.scaffold import shop_scaffold
from builder.record.validation_errors import validate
from builder.record.yaml_loader import parse_yaml
from tests.support.record_samples import SHEET, ReadWith, full_scaffold

MUTATIONS = 3_000

_REMARK = re.compile(r"\s*##|# yaml-language-server")


def _uncommented(text: str) -> str:
    """A scaffold with its examples uncommented, without its remarks."""
    lines = [re.sub(r"^( *)#", r"\1", line) for line in text.splitlines() if not _REMARK.match(line)]
    return "\n".join(re.sub(r"\s+## .*$", "", line) for line in lines if line.strip()) + "\n"


SEEDS = {name.removesuffix(".yaml"): _uncommented(text) for name, text in full_scaffold("x").items()}
SEEDS["shop"] = _uncommented(shop_scaffold())

_SCRAPS = [
    "'", '"', "[", "]", "{", "}", ":", ": ", "- ", "\n", "\t", "#", "&a ", "*a", "!!str ", "!x ", "<<: ", "%", "|\n", ">\n",
    "---\n", "...\n", "? ", "~", "null", "yes", ".nan", ".inf", "1e999", "0x10", "-", "\0", "\x1b", "\u202e", "é", "\U0001f527",
    "\ud800", "in", " mm", " cc", "..", "1,5", "1/0 in", "9" * 50, "2024-02-30", "unit: ", "listed: ", "measured: [", "=",
    "../../etc/passwd", "<script>", "  ", "    ", "\r\n", "\x85",
]  # fmt: skip


def _mutated(text: str, rng: random.Random) -> bytes:
    for _ in range(rng.randint(1, 6)):
        at = rng.randrange(len(text) + 1)
        to = min(len(text), at + rng.choice((0, 1, 2, 5, 20, 80)))
        match rng.randrange(6):
            case 0:
                text = text[:at] + text[to:]
            case 1:
                text = text[:at] + rng.choice(_SCRAPS) + text[at:]
            case 2:
                text = text[:at] + rng.choice(_SCRAPS) + text[to:]
            case 3:
                text = text[:at] + text[at:to] * rng.randint(2, 5) + text[to:]
            case 4:
                lines = text.split("\n")
                one, other = rng.randrange(len(lines)), rng.randrange(len(lines))
                lines[one], lines[other] = lines[other], lines[one]
                text = "\n".join(lines)
            case _:
                lines = text.split("\n")
                one = rng.randrange(len(lines))
                lines[one] = " " * rng.randrange(8) + lines[one].strip()
                text = "\n".join(lines)
    raw = bytearray(text.encode("utf-8", "surrogatepass"))
    if raw and rng.random() < 0.1:
        raw[rng.randrange(len(raw))] = rng.randrange(256)
    return bytes(raw)


def test_the_undamaged_records_are_valid() -> None:
    for name, text in SEEDS.items():
        document, problems = parse_yaml(text.encode(), Path(f"{name}.yaml"))
        assert not problems
        assert document is not None
        assert validate(document, document_models()[name])[1] == []


@pytest.mark.slow
def test_damaged_records_are_read_or_rejected() -> None:
    rng = random.Random(20240517)
    names = list(SEEDS)
    outcomes = {"rejected": 0, "invalid": 0, "read": 0}
    for _ in range(MUTATIONS):
        name = rng.choice(names)
        raw = _mutated(SEEDS[name], rng)
        document, problems = parse_yaml(raw, Path(f"{name}.yaml"))
        if document is None:
            outcomes["rejected"] += 1
        else:
            part, problems = validate(document, document_models()[name])
            assert (part is None) == bool(problems)
            outcomes["invalid" if problems else "read"] += 1
        last = raw.count(b"\n") + raw.count(b"\r") + raw.count(b"\xc2\x85") + 1
        for problem in problems:
            assert 1 <= problem.line <= last
            assert problem.message
            assert str(problem).isprintable()
            assert len(str(problem)) < 2000
    assert min(outcomes.values()) > MUTATIONS / 20, outcomes


def test_the_largest_file_that_is_read_is_refused_for_its_many_values() -> None:
    """Two megabytes of what costs the reader most for each byte: many short values."""
    raw = ("a: [" + "1," * 999_990 + "]\n").encode()
    assert len(raw) < 2_000_000
    document, problems = parse_yaml(raw, Path("x.yaml"))
    assert document is None
    assert "more than 30000 values" in problems[0].message


_scalars = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=30),
    st.sampled_from(["4.03 in", "1..2 mm", "72 degF", "yes", "2024-05-17", "seat", "petrol", "x" * 500, "1e999 in", "\0", "in"]),
)  # fmt: skip
_names = st.one_of(
    st.sampled_from(sorted({name for model in document_models().values() for name in model.model_fields})),
    st.sampled_from(["listed", "measured", "allowed", "unit", "at_least", "accepted", "repeats", "why", "wombat", ""]),
)
_values = st.recursive(
    _scalars,
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(_names, inner, max_size=4)),
    max_leaves=12,
)


@settings(max_examples=300, deadline=None)
@given(name=st.sampled_from(list(document_models())), data=st.data())
def test_any_shape_of_values_is_a_record_or_problems(name: str, data: st.DataObject) -> None:
    """Well-formed YAML with the right names and any values."""
    import json

    model = document_models()[name]
    given_values = data.draw(
        st.dictionaries(st.sampled_from(list(model.model_fields)), _values, min_size=1, max_size=5)
    )
    raw = json.dumps(given_values, allow_nan=False, default=str) if _finite(given_values) else "a: .nan"
    document, problems = parse_yaml(raw.encode(), Path(f"{name}.yaml"))
    if document is not None:
        part, problems = validate(document, model)
        assert (part is None) == bool(problems)
    for problem in problems:
        assert problem.line >= 1
        assert str(problem).isprintable()


def _finite(value: object) -> bool:
    if isinstance(value, float):
        return value == value and abs(value) != float("inf")
    if isinstance(value, dict):
        return all(map(_finite, value.values()))
    return all(map(_finite, value)) if isinstance(value, list) else True


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(raw=st.one_of(st.binary(max_size=200), st.text(max_size=200).map(lambda text: text.encode("utf-8", "replace"))))
@pytest.mark.parametrize("name", ["build", "assembly", "dyno"])
def test_any_bytes_in_a_builds_folder_are_a_build_or_problems(
    read: ReadWith, folder: Path, name: str, raw: bytes
) -> None:
    (folder / "build.yaml").write_text(SHEET, encoding="utf-8")
    (folder / f"{name}.yaml").write_bytes(raw)
    build, problems = read()
    assert build is not None or problems
    if build is not None:
        assert isinstance(without_private(build), Build)


def test_a_document_with_the_content_of_another_is_rejected(read: ReadWith) -> None:
    for name in DOCUMENTS:
        build, problems = read(**{name: SEEDS["cam" if name != "cam" else "top_end"]})
        assert build is None
        assert problems
        read(**{name: "# nothing\n" if name != "build" else SHEET})
