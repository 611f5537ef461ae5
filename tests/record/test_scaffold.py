"""The files of a new build: read as they are, and with any or all of their examples taken up."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from PIL import Image

from builder.figures.evaluate import compute
from builder.figures.review.instruments import citations
from builder.record.load import read_build, read_shop
from builder.record.models.build import DOCUMENTS
from builder.record.models.fields import DescribedModel, RecordModel, notes_of
from builder.record.models.shop import Instrument
from builder.record.quantities.units import parse_quantity, parse_range
from builder.record.reference import document_models
from builder.record.scaffold import FIRST, WIDTH, scaffold, shop_scaffold, write_scaffold
from builder.record.schema import schema_file
from builder.record.schema_shape import shape_of
from builder.record.traversal import field_paths
from builder.record.yaml_loader import parse_yaml
from tests.support.record_samples import CSV, full_scaffold

_REMARK = re.compile(r"\s*##|# yaml-language-server")
_EXAMPLE = re.compile(r"^( *)#(.*)$")


def _uncommented(text: str, chosen: set[int] | None = None) -> str:
    """The text with the marks of examples taken away; of all, or of the chosen lines."""
    lines = text.splitlines()
    for index, line in enumerate(lines):
        if not _REMARK.match(line) and (chosen is None or index in chosen):
            lines[index] = _EXAMPLE.sub(r"\1\2", line)
    return "\n".join(lines) + "\n"


def _examples(text: str) -> list[int]:
    return [index for index, line in enumerate(text.splitlines()) if _EXAMPLE.match(line) and not _REMARK.match(line)]


def _indent(line: str) -> int:
    """How deep a line stands once its mark is taken away; what follows a dash stands deeper than the dash."""
    bare = _EXAMPLE.sub(r"\1\2", line)
    return len(bare) - len(bare.lstrip())


def _with_requirements(text: str, index: int) -> set[int]:
    """A line and those it cannot stand without: the ones it is indented below, and what is needed beside it."""
    lines, chosen = text.splitlines(), {index}
    examples = set(_examples(text))
    depth, above = _indent(lines[index]), index
    while above - 1 >= 0 and depth > 0:
        above -= 1
        if above in examples and _indent(lines[above]) < depth:
            chosen.add(above)
            depth = _indent(lines[above])
        elif above not in examples and not _REMARK.match(lines[above]) and lines[above].strip():
            break
    return chosen


def _requested_examples(text: str, chosen: set[int], messages: list[str]) -> set[int]:
    """The lines below the chosen ones that the reader's messages ask to be written."""
    lines, more = text.splitlines(), set()
    for name in re.findall(r"is missing: write (\w+):", " ".join(messages)):
        candidates = [at for at in _examples(text) if at not in chosen and re.match(rf"[-# ]*{name}:", lines[at])]
        more |= set(sorted(candidates, key=lambda at: min(abs(at - index) for index in chosen))[:1])
    return more


@pytest.fixture
def new(tmp_path: Path) -> Path:
    written, problems = write_scaffold(tmp_path, "pilot-four")
    assert not problems
    assert all(path.is_file() for path in written)
    folder = tmp_path / "builds" / "pilot-four"
    (folder / "dyno" / "pull-1.csv").write_text(CSV, encoding="utf-8")
    (folder / "dyno" / "pull-2.csv").write_text(
        "".join(f"{row},{cell}\n" for row, cell in zip(CSV.splitlines(), ["TQ2 (lb-ft)", *["190"] * 40], strict=True)),
        encoding="utf-8",
    )
    Image.new("RGB", (20, 10)).save(folder / "photos" / "deck.jpg")
    return folder


def test_every_document_is_there(new: Path) -> None:
    assert {path.name for path in new.glob("*.yaml")} == {
        f"{name}.yaml" for name in DOCUMENTS if name not in ("ports", "plan")
    }
    assert (new / "dyno").is_dir()
    assert (new / "photos").is_dir()


def test_an_unchanged_scaffold_reads_without_a_problem(new: Path) -> None:
    build, problems = read_build(new, new.parent.parent)
    assert [str(problem) for problem in problems] == []
    assert build is not None
    assert (build.build.title, build.build.status, build.cylinders) == ("Pilot four", "in progress", 4)
    _, problems = read_shop(new.parent.parent)
    assert problems == []


@pytest.mark.parametrize(("cylinders", "two_stroke"), [(1, False), (4, False), (4, True), (8, False), (16, False)])
def test_a_scaffold_with_every_example_reads_without_a_problem(new: Path, cylinders: int, two_stroke: bool) -> None:
    left_out = "cam" if two_stroke else "ports"
    (new / f"{left_out}.yaml").unlink(missing_ok=True)
    for name, text in scaffold("pilot-four", cylinders=cylinders, two_stroke=two_stroke).items():
        (new / name).write_text(_uncommented(text), encoding="utf-8")
    (new.parent / "shop.yaml").write_text(_uncommented(shop_scaffold()), encoding="utf-8")
    build, problems = read_build(new, new.parent.parent)
    assert [str(problem) for problem in problems] == []
    assert build is not None
    shop, problems = read_shop(new.parent.parent)
    assert [str(problem) for problem in problems] == []
    for model in (*(getattr(build, name) for name in DOCUMENTS if name not in (left_out, "plan")), shop):
        _assert_all_given(model)


@pytest.mark.parametrize(("cylinders", "two_stroke"), [(4, False), (6, False), (8, False), (2, True)])
def test_the_examples_are_one_engine_without_a_caution(new: Path, cylinders: int, two_stroke: bool) -> None:
    """Every example is consistent with the others: nothing differs, nothing is out of range, nothing is implausible."""
    for name, text in scaffold("pilot-four", cylinders=cylinders, two_stroke=two_stroke).items():
        (new / name).write_text(_uncommented(text), encoding="utf-8")
    if two_stroke:
        (new / "cam.yaml").unlink()
    (new.parent / "shop.yaml").write_text(_uncommented(shop_scaffold()), encoding="utf-8")
    torques = ((speed, cylinders / 4 * (200 - (speed - 4000) ** 2 / 1e5)) for speed in range(2500, 6000, 100))
    log = "RPM,Torque (lb-ft),TQ2 (lb-ft)\n" + "".join(f"{speed},{lb:.1f},{lb:.1f}\n" for speed, lb in torques)
    for number in (1, 2):
        (new / "dyno" / f"pull-{number}.csv").write_text(log, encoding="utf-8")
    build, problems = read_build(new, new.parent.parent)
    shop, more = read_shop(new.parent.parent)
    assert [str(problem) for problem in (*problems, *more)] == []
    assert build is not None
    # The example of the register is one instrument, and the session cites several: list them all.
    (barometer,) = shop.instruments
    cited = sorted({cited.id for cited in citations(build)})
    others = tuple(Instrument(id=name, kind="other") for name in cited if name != barometer.id)
    shop = shop.model_copy(update={"instruments": (barometer, *others)})
    sheet = compute(build, shop)
    assert [str(problem) for problem in sheet.problems] == []
    assert [caution.sentence for caution in sheet.cautions] == []
    assert [(found.title, found.values) for found in sheet.discrepancies] == []
    assert [check.title for check in sheet.clearances if not check.passes] == []
    assert sheet.value("compression_ratio")
    assert len(sheet.figures) >= 60


def test_what_makes_a_page_comes_first() -> None:
    files = scaffold("pilot-four")
    for name, paths in FIRST.items():
        if name == "shop":
            continue
        model = document_models()[name]
        assert {path.strip() for path in paths.split(",")} <= set(field_paths(model)), name
        assert "## Further, where you have it:" in files[f"{name}.yaml"] or name == "parts", name
    top = files["build.yaml"].partition("## Further")[0]
    assert [name for name in ("title", "status", "summary", "price") if f"{name}:" in top] == [
        "title",
        "status",
        "summary",
    ]
    assert files["bottom_end.yaml"].index("bores:") < files["bottom_end.yaml"].index("casting:")


def test_a_field_that_the_example_engine_has_not_is_a_remark() -> None:
    top_end = scaffold("pilot-four")["top_end.yaml"]
    assert re.search(r"^ *## where the engine is turbocharged or supercharged: .*\n *##boost: 8 psi$", top_end, re.M)
    assert re.search(r"^ *##injectors:\n *##  maker: ", top_end, re.M)


def test_layout_and_firing_order_follow_the_cylinders() -> None:
    for cylinders, layout, order in ((1, "single", "1"), (4, "inline", "1-3-4-2"), (8, "V", "1-8-4-3-6-5-7-2")):
        text = scaffold("x", cylinders=cylinders)["build.yaml"]
        assert f"#layout: {layout}\n" in text
        assert re.search(rf"#firing_order: '?{order}'? ", text)


def _assert_all_given(model: RecordModel) -> None:
    """Every field that has an example was really in the text, and so was read; but for those in place of others."""
    for name, info in type(model).model_fields.items():
        notes, value = notes_of(info), getattr(model, name)
        if notes.only_where or notes.alternative_to or notes.refers_to or _refers_to_earlier_entries(type(model)):
            continue
        if notes.rare or (isinstance(model, DescribedModel) and model.is_one_line):
            continue
        assert name in model.model_fields_set, f"{type(model).__name__}.{name}"
        for inner in value if isinstance(value, tuple) else (value,):
            if isinstance(inner, RecordModel):
                _assert_all_given(inner)


def _refers_to_earlier_entries(model: type[RecordModel]) -> bool:
    return any(notes_of(info).refers_to for info in model.model_fields.values())


@pytest.mark.parametrize("name", [name for name in document_models() if name != "plan"])
def test_any_single_example_reads(new: Path, name: str) -> None:
    """Each by itself, with no more than the lines it is indented below and those marked as needed."""
    archive = new.parent.parent
    text = shop_scaffold() if name == "shop" else full_scaffold("pilot-four")[f"{name}.yaml"]
    if name == "ports":
        (new / "build.yaml").write_text(scaffold("pilot-four", two_stroke=True)["build.yaml"], encoding="utf-8")
    path = new.parent / "shop.yaml" if name == "shop" else new / f"{name}.yaml"
    for index in _examples(text):
        chosen = _with_requirements(text, index)
        for _ in range(3):
            path.write_text(_uncommented(text, chosen), encoding="utf-8")
            problems = read_shop(archive)[1] if name == "shop" else read_build(new, archive)[1]
            messages = [problem.message for problem in problems]
            asked = _requested_examples(text, chosen, messages)
            if not asked:
                break
            chosen |= asked
        # A name of a pull needs that pull; a barometer has to say where it hangs.
        expected = ("no earlier pull", "no pull is called", "barometer_is")
        left = [message for message in messages if not any(text in message for text in expected)]
        assert left == [], text.splitlines()[index]


def test_every_alternative_reads_in_place_of_the_other() -> None:
    text = scaffold("x")["dyno.yaml"]
    offers = re.findall(r"^( *)## or, in place of (\w+): (\w+): (.*)$", text, re.MULTILINE)
    assert len(offers) >= 4
    for _, other, name, value in offers:
        document, problems = parse_yaml(f"{name}: {value}".encode(), Path("x"))
        assert not problems
        assert document is not None
        assert re.search(rf"\b{other}: ", text)


def test_examples_are_commented_out() -> None:
    for name, text in scaffold("x").items():
        document, problems = parse_yaml(text.encode(), Path(name))
        assert not problems
        assert document is not None
        if name == "build.yaml":
            assert document.value["title"] == "X"
        else:
            assert "public" not in str(document.value)
            assert not _leaves(document.value)


def _leaves(value: object) -> list[object]:
    if isinstance(value, dict):
        return [leaf for inner in value.values() for leaf in _leaves(inner)]
    return [] if value is None else [value]


def test_lines_are_short_enough() -> None:
    for text in (*scaffold("x", cylinders=4).values(), shop_scaffold()):
        for line in text.splitlines():
            assert len(line) <= WIDTH + 40, line
            assert line == line.rstrip()
        remarks = [line for line in text.splitlines() if line.lstrip().startswith("##")]
        assert all(len(line) <= WIDTH + 6 for line in remarks)


def test_an_editor_is_pointed_to_the_schema(new: Path) -> None:
    for path in (*new.glob("*.yaml"), new.parent / "shop.yaml"):
        first = path.read_text(encoding="utf-8").splitlines()[0]
        match = re.fullmatch(r"# yaml-language-server: \$schema=(\S+)", first)
        assert match is not None
        schema = (path.parent / match[1]).resolve()
        assert schema.name == schema_file(path.stem)
        assert schema.is_file()


@pytest.mark.parametrize(
    "title", ['O\'Hara: the "big" one', "yes", "0142", "# 1", "[x]", "a: b", "- dash", "*star", "null"]
)
def test_any_title_is_written_so_that_it_reads_back(title: str) -> None:
    document, problems = parse_yaml(scaffold("x", title=title)["build.yaml"].encode(), Path("x"))
    assert not problems
    assert document is not None
    value = document.value["title"]
    assert getattr(value, "text", value) == title


def test_existing_files_are_never_overwritten(new: Path) -> None:
    archive = new.parent.parent
    (new / "build.yaml").write_text("title: Mine\n", encoding="utf-8")
    (archive / "builds" / "shop.yaml").write_text("name: Mine\n", encoding="utf-8")
    written, (problem,) = write_scaffold(archive, "pilot-four")
    assert written == []
    assert str(problem).startswith("builds/pilot-four:1: error: is there already")
    assert (new / "build.yaml").read_text(encoding="utf-8") == "title: Mine\n"
    written, problems = write_scaffold(archive, "second")
    assert problems == []
    assert (archive / "builds" / "shop.yaml").read_text(encoding="utf-8") == "name: Mine\n"


def test_a_link_with_the_builds_name_is_not_followed(tmp_path: Path) -> None:
    (tmp_path / "builds").mkdir()
    (tmp_path / "builds" / "linked").symlink_to(tmp_path / "nowhere")
    written, (problem,) = write_scaffold(tmp_path, "linked")
    assert written == []
    assert "is there already" in problem.message
    assert not (tmp_path / "nowhere").exists()


@pytest.mark.parametrize("slug", ["../x", "A B", "", "a/b", "x\n", "."])
def test_a_name_that_is_no_address_is_refused(tmp_path: Path, slug: str) -> None:
    written, (problem,) = write_scaffold(tmp_path, slug)
    assert written == []
    assert "use small letters" in problem.message
    assert list(tmp_path.iterdir()) == []


def test_a_count_no_engine_has_is_refused(tmp_path: Path) -> None:
    assert "1 to 48" in write_scaffold(tmp_path, "x", cylinders=0)[1][0].message


def test_a_folder_that_cannot_be_written_to_is_a_message(tmp_path: Path) -> None:
    (tmp_path / "builds").write_text("a file where the folder should be", encoding="utf-8")
    written, (problem,) = write_scaffold(tmp_path, "x")
    assert written == []
    assert "cannot be written" in problem.message


def _all_fields(model: type[RecordModel], at: str) -> list[tuple[str, str, str]]:
    fields = []
    for name, info in model.model_fields.items():
        shape = shape_of(info)
        fields.append((f"{at}.{name}", shape.kind, notes_of(info).example))
        if shape.model is not None:
            fields += _all_fields(shape.model, f"{at}.{name}")
    return fields


def test_every_field_but_a_section_has_an_example() -> None:
    fields = [item for name, model in document_models().items() for item in _all_fields(model, name)]
    assert [path for path, kind, example in fields if not example and kind not in ("section", "entries")] == []


def test_examples_of_quantities_are_read_as_what_they_are() -> None:
    for name, model in document_models().items():
        for path, kind, example in _all_fields(model, name):
            if kind == "quantity":
                assert parse_quantity(example, None).si == parse_quantity(example, None).si, path
            elif kind == "range":
                assert parse_range(example, None).minimum.si < parse_range(example, None).maximum.si, path
