"""Reading build folders: problems with file, line and fix; no file that can crash or mislead."""
# ruff: noqa: E501  (one case, one line)

from __future__ import annotations

import os
from pathlib import Path

import pytest

from builder.record.files import ArchiveError, file_in, path_problem
from builder.record.load import build_folders, errors_in, read_build, read_shop, slug_problem
from builder.record.problem import Problem
from tests.support.record_samples import CSV, SHEET, ReadWith


def _only(problems: list[Problem], file: str, line: int, message: str, severity: str = "error") -> None:
    """Exactly one problem, at this file and line, saying this."""
    assert len(problems) == 1, [str(problem) for problem in problems]
    (problem,) = problems
    assert (problem.path, problem.line, problem.severity) == (Path("builds/test-engine") / file, line, severity)
    assert message in problem.message


def test_a_build_needs_only_build_yaml(read: ReadWith) -> None:
    build, problems = read()
    assert not problems
    assert build is not None
    assert (build.slug, build.cylinders, build.revolutions_per_cycle, build.pulls) == ("test-engine", 4, 2, ())
    assert build.get("bottom_end.crankshaft.stroke") is None
    assert build.where("bottom_end.crankshaft") == (Path("test-engine/bottom_end.yaml"), 1)


def test_a_file_of_comments_and_an_empty_section_are_not_yet_recorded(read: ReadWith) -> None:
    build, problems = read(bottom_end="# later\n", assembly="fits:\nfasteners:\nby:\n", dyno="pulls:\n")
    assert not problems
    assert build is not None
    assert build.bottom_end is None
    assert build.assembly is not None
    assert build.assembly.fasteners == ()


@pytest.mark.parametrize(
    ("name", "text", "line", "message"),
    [
        ("build", "engine: {cylinders: 4}\n", 1, "title: is missing: write title: Launch engine for the harbour pilot"),
        ("build", "title: X\nengine:\n", 2, "engine: is missing: write engine: and what belongs to it"),
        ("build", "title: X\nengine:\n  layout: inline\n", 2, "engine.cylinders: is missing: write cylinders: 4"),
        ("build", "title: X\nengine: four\n", 2, "engine: is 'four'; entries of the form name: value are wanted"),
        ("build", "title: X\nengine:\n  cylinders: yes\n", 3, "engine.cylinders: yes/no was read as a switch: write a number"),
        ("build", "title: X\nengine:\n  cylinders: four\n", 3, "'four' is not a whole number"),
        ("build", "title: X\nengine:\n  cylinders: 0\n", 3, "0 is too small: 1 is the limit"),
        ("build", "title: X\nengine:\n  cylinders: 60\n", 3, "60 cylinders: write how many the engine has, 1 to 48"),
        ("build", "title: X\nengine:\n  cylinders: 4\n  layout: inlien\n", 4, "'inlien' is not known here: did you mean 'inline'?"),
        ("build", "title: X\nengine:\n  cylinders: 4\n  year: 68\n", 4, "write four digits"),
        ("build", f"{SHEET}finished: 17.5.2024\n", 5, "'17.5.2024' is not a day: write year-month-day"),
        ("build", f"{SHEET}finished: 2024-02-31\n", 5, "is not a day of the calendar"),
        ("build", f"{SHEET}finished: 20240517\n", 5, "is not a day"),
        ("build", f"{SHEET}purpose: yes\n", 5, "put the text between quotes"),
        ("build", f"{SHEET}purpose: [a]\n", 5, "purpose: is a list; a few words of text are wanted"),
        ("build", f"{SHEET}purpose: {'x' * 401}\n", 5, "longer than 400 characters"),
        ("build", f"{SHEET}purpose: ''\n", 5, "is empty"),
        ("build", f"{SHEET}tilte: Y\n", 5, "tilte: unknown name: did you mean 'title'?"),
        ("build", f"{SHEET}compression_height: 1.5 in\n", 5, "it belongs to bottom_end.yaml, pistons.compression_height"),
        ("build", f"{SHEET}wombat: 1\n", 5, "unknown name: known here are title, number"),
        ("build", "- a\n- b\n", 1, "holds a list and no names"),
        ("build", "just words\n", 1, "no names"),
        ("build", "", 1, "is empty: write entries such as title: ..."),
        ("bottom_end", "block:\n  bores:\n    unit: in\n    measured:\n      - 4.03\n      - 4,03\n      - 4.03\n      - 4.03\n",
         6, "block.bores.measured.2: '4,03' has a comma in its number"),
        ("bottom_end", "block:\n  bores:\n    unit: in\n    measured: [4.03, 4.03,\n      4.03 cc, 4.03]\n", 5,
         "block.bores.measured.3: 'cc' is a unit of volume"),
        ("bottom_end", "block:\n  bores: [4.03 in, 4.03 in, 4.03 in, ~]\n", 2, "block.bores.measured.4: is empty"),
        ("bottom_end", "block:\n  deck_height: 9.025\n", 2, "9.025 has no unit: write 9.025 in"),
        ("bottom_end", "pistons:\n  deck_height: 9 in\n", 2, "it belongs to block.deck_height"),
        ("bottom_end", "block:\n  bors: 4 in\n", 2, "did you mean 'bores'?"),
        ("bottom_end", "crankshaft:\n  material: unobtainium\n", 2, "write one of cast iron, nodular iron"),
        ("bottom_end", "balance:\n  rods_per_pin: 0\n", 2, "0 is too small: 1 is the limit"),
        ("bottom_end", "balance:\n  rods_per_pin: 1.5\n", 2, "is not a whole number"),
        ("cam", "card:\n  intake:\n    durations:\n      - {at: 0.05, duration: 230 deg}\n", 4, "0.05 has no unit"),
        ("cam", "card:\n  intake:\n    durations:\n      - at: seat\n", 4, "card.intake.durations.1.duration: is missing: write duration: 230 deg"),
        ("cam", "lifters:\n  preload_turns: half\n", 2, "is not a plain number"),
        ("cam", "lifters:\n  preload_turns: .nan\n", 2, "is not a plain number"),
        ("cam", "degreeing:\n  intake: 5\n", 2, "a list is wanted: start each entry with '- '"),
        ("parts", "parts:\n  - pistons\n", 2, "parts.1: is 'pistons'; entries of the form name: value"),
        ("parts", "parts:\n  - part: pistons\n    source: stolen\n", 3, "write one of new, used, customer's own"),
        ("work", "bore_gauging:\n  unit: cc\n", 2, "'cc' is a unit of volume, but this is a length"),
        ("assembly", "fasteners:\n  - joint: rod bolts\n    steps: [30 lbf.ft, 50]\n", 3, "fasteners.1.steps.2: 50 has no unit"),
        ("assembly", "checks:\n  leak_down: {unit: '%', measured: [6, 7, 6], note: x}\n", 2, "3 readings for 4 cylinders"),
        ("dyno", "conditions:\n  barometer: 29.6 inHg\n", 1, "add barometer_is: station"),
        ("dyno", "conditions:\n  barometer: 29.6 inHg\n  barometer_is: sea level\n", 1, "needs the altitude"),
        ("dyno", "conditions:\n  wet_bulb: 61 degF\n  relative_humidity: 45 %\n", 1, "humidity is given 2 ways"),
        ("dyno", "range: 3000-6000 rpm\n", 1, "write 3000..6000 rpm"),
        ("dyno", "pulls:\n  - name: a\n    columns: {torque: [1]}\n", 3, "columns.torque: is a list"),
    ],
)  # fmt: skip
def test_a_typing_mistake_is_reported_at_its_line_with_a_fix(
    read: ReadWith, name: str, text: str, line: int, message: str
) -> None:
    build, problems = read(**{name: text})
    assert build is None
    _only(problems, f"{name}.yaml", line, message)


@pytest.mark.parametrize("count", [2, 3, 5, 9])
def test_a_reading_for_every_cylinder_or_one_for_all(read: ReadWith, count: int) -> None:
    readings = ", ".join(["4.03"] * count)
    build, problems = read(bottom_end=f"block:\n  bores:\n    unit: in\n    measured: [{readings}]\n")
    assert build is None
    _only(problems, "bottom_end.yaml", 4, f"block.bores: {count} readings for 4 cylinders")


def test_one_reading_for_all_and_one_for_each_are_both_right(read: ReadWith) -> None:
    for readings in ("4.03", "[4.03]", "[4.03, 4.03, 4.03, 4.03]"):
        build, problems = read(bottom_end=f"block:\n  bores: {{unit: in, measured: {readings}}}\n")
        assert build is not None
        assert not problems


def test_valves_are_counted_by_cylinder_and_by_how_many_each_has(read: ReadWith) -> None:
    heads = "heads:\n  intake_valve: {diameter: 31 mm, per_cylinder: 2}\n"
    for count, fine in ((8, True), (4, False)):
        lash = ", ".join(["0.20"] * count)
        build, problems = read(top_end=heads, assembly=f"checks:\n  intake_lash: {{unit: mm, measured: [{lash}]}}\n")
        assert (build is not None) == fine
        if not fine:
            _only(problems, "assembly.yaml", 2, "4 readings for 8 intake valves")


@pytest.mark.parametrize(
    ("cylinders", "line", "message"),
    [
        ("  - cylinder: 5\n    depths: [{across: 4.03, along: 4.03}]\n", 5, "cylinder 5 of an engine with 4"),
        ("  - cylinder: 1\n    depths: [{across: 4.03, along: 4.03}]\n  - cylinder: 1\n    depths: [{across: 4.03, along: 4.03}]\n",
         7, "on the card twice"),
        ("  - cylinder: 1\n    depths: [{across: 4.03, along: 4.03}, {across: 4.03, along: 4.03}]\n", 6, "has 2 depths, the card names 1"),
    ],
)  # fmt: skip
def test_the_bore_gauge_card_fits_the_engine(read: ReadWith, cylinders: str, line: int, message: str) -> None:
    build, problems = read(work=f"bore_gauging:\n  unit: in\n  depths: [top]\n  cylinders:\n{cylinders}")
    assert build is None
    _only(problems, "work.yaml", line, message)


def test_pulls_name_earlier_pulls_and_have_names_of_their_own(read: ReadWith) -> None:
    text = "pulls:\n  - name: first\n    since: second\n  - name: second\n    repeat_of: frist\n  - name: second\n"
    build, problems = read(dyno=text)
    assert build is None
    assert [(problem.line, problem.message) for problem in problems] == [
        (3, "since: no earlier pull is called 'second': name a pull above this one"),
        (5, "repeat_of: no earlier pull is called 'frist': did you mean 'first'?"),
        (6, "two pulls are called 'second': give each its own name"),
    ]


@pytest.mark.parametrize(
    ("named", "message"),
    [
        ("secnd", "delivered: no pull is called 'secnd': did you mean 'second'?"),
        ("x", "delivered: no pull is called 'x': name one of the pulls, or remove the line"),
        ("out", "delivered: 'out' is left out (plug lead): name a pull that counts, or remove the line"),
        ("first", "delivered: 'first' has no log: add its file, name a pull that has one, or remove the line"),
    ],
)
def test_the_delivered_pull_is_one_with_a_log_that_counts(read: ReadWith, named: str, message: str) -> None:
    text = (
        "pulls:\n  - name: first\n  - {name: second, file: dyno/second.csv}\n"
        f"  - {{name: out, file: dyno/out.csv, left_out: plug lead}}\ndelivered: {named}\n"
    )
    _, problems = read(dyno=text)
    assert (5, message) in [(problem.line, problem.message) for problem in problems]


def test_a_repeat_in_which_something_was_changed(read: ReadWith) -> None:
    build, problems = read(dyno="pulls:\n  - name: a\n  - name: b\n    repeat_of: a\n    changed: jets\n")
    assert build is not None
    _only(problems, "dyno.yaml", 5, "keep one of them", "warning")


def test_a_log_is_found_by_the_name_of_its_pull(read: ReadWith) -> None:
    build, problems = read(dyno="pulls:\n  - {name: first, file: dyno/pull-1.csv}\n")
    assert not problems
    assert build is not None
    assert set(build.logs) == {"first"}


def test_a_problem_in_a_log_names_the_log(read: ReadWith, folder: Path) -> None:
    (folder / "dyno" / "pull-1.csv").write_text(CSV + "6500,oops\n", encoding="utf-8")
    build, problems = read(dyno="pulls:\n  - {name: first, file: dyno/pull-1.csv}\n")
    assert build is None
    assert problems[0].path == Path("builds/test-engine/dyno/pull-1.csv")
    assert problems[0].line == CSV.count("\n") + 1


@pytest.mark.parametrize(
    ("file", "message"),
    [
        ("dyno/pull-2.csv", "'dyno/pull-2.csv' is not there: did you mean 'dyno/pull-1.csv'?"),
        ("dyno\\pull-1.csv", "did you mean 'dyno/pull-1.csv'?"),
        ("/etc/passwd", "leaves the build's folder"),
        ("../other/dyno/pull-1.csv", "leaves the build's folder"),
        ("dyno/../../secret.csv", "leaves the build's folder"),
        ("..\\secret.csv", "leaves the build's folder"),
        ("dyno", "is not an ordinary file"),
        ("x" * 390, "cannot be followed"),
        ("dyno/out.csv", "leaves the build's folder"),
        ("dyno/loop.csv", "dyno/loop.csv"),
        ("dyno/device.csv", "is not an ordinary file"),
    ],
)
def test_files_stay_in_the_builds_folder(read: ReadWith, archive: Path, folder: Path, file: str, message: str) -> None:
    (archive / "secret.csv").write_text(CSV, encoding="utf-8")
    (folder / "dyno" / "out.csv").symlink_to(archive / "secret.csv")
    (folder / "dyno" / "loop.csv").symlink_to(folder / "dyno" / "loop.csv")
    (folder / "dyno" / "device.csv").symlink_to("/dev/zero")
    build, problems = read(dyno=f"pulls:\n  - name: first\n    file: '{file}'\n")
    assert build is None
    _only(problems, "dyno.yaml", 3, message)


@pytest.mark.parametrize(
    ("file", "message"),
    [
        ("photos/dekc.jpg", "did you mean 'photos/deck.jpg'?"),
        ("../deck.jpg", "leaves the build's folder"),
        ("photos/home.jpg", "leaves the build's folder"),
        ("dyno/pull-1.csv", "is not a JPEG or PNG picture"),
        ("photos", "is not an ordinary file"),
    ],
)
def test_photos_stay_in_the_builds_folder(read: ReadWith, archive: Path, folder: Path, file: str, message: str) -> None:
    (archive / "home.jpg").write_bytes(b"\xff\xd8")
    (folder / "photos" / "home.jpg").symlink_to(archive / "home.jpg")
    build, problems = read(photos=f"photos:\n  - file: {file}\n    alt: x\n")
    assert build is None
    _only(problems, "photos.yaml", 2, message)


def test_a_photo_needs_its_description(read: ReadWith) -> None:
    build, problems = read(photos="photos:\n  - file: photos/deck.jpg\n")
    assert build is None
    _only(problems, "photos.yaml", 2, "photos.1.alt: is missing: write alt: Dial indicator")


def test_a_document_that_is_a_link_out_of_the_folder(read: ReadWith, archive: Path, folder: Path) -> None:
    (archive / "elsewhere.yaml").write_text("deck_clearance: 0.005 in\n", encoding="utf-8")
    (folder / "bottom_end.yaml").symlink_to(archive / "elsewhere.yaml")
    build, problems = read()
    assert build is None
    _only(problems, "bottom_end.yaml", 1, "leaves the build's folder")


def test_a_document_that_is_a_folder_or_a_pipe(read: ReadWith, folder: Path) -> None:
    (folder / "cam.yaml").mkdir()
    build, problems = read()
    assert build is None
    _only(problems, "cam.yaml", 1, "is not an ordinary file")
    (folder / "cam.yaml").rmdir()
    if hasattr(os, "mkfifo"):
        os.mkfifo(folder / "cam.yaml")
        build, problems = read()
        assert build is None
        _only(problems, "cam.yaml", 1, "is not an ordinary file")


@pytest.mark.parametrize(
    ("name", "message"),
    [("dynos.yaml", "did you mean dyno.yaml?"), ("build.yml", "did you mean build.yaml?"), ("Cam.YAML", "did you mean cam.yaml?"),
     ("wombat.yaml", "known are build, plan")],
)  # fmt: skip
def test_a_file_that_is_not_read_is_a_warning(read: ReadWith, folder: Path, name: str, message: str) -> None:
    (folder / name).write_text("x: 1\n", encoding="utf-8")
    build, problems = read()
    assert build is not None
    _only(problems, name, 1, message, "warning")


def test_a_file_with_a_newline_in_its_name_is_one_line_of_problem(read: ReadWith, folder: Path) -> None:
    (folder / "cam\nerror: x.yaml").write_text("x: 1\n", encoding="utf-8")
    _, (problem,) = read()
    assert "\n" not in str(problem)


def test_all_problems_are_reported_at_once_in_order(read: ReadWith) -> None:
    build, problems = read(
        bottom_end="block:\n  bores: 4.03\n  deck: 9\ncrankshaft:\n  stroke: 3 cc\n",
        cam="card:\n  lobe_separation: 110\n",
    )
    assert build is None
    assert [(problem.path.name, problem.line) for problem in problems] == [
        ("bottom_end.yaml", 2), ("bottom_end.yaml", 3), ("bottom_end.yaml", 5), ("cam.yaml", 2),
    ]  # fmt: skip


def test_a_long_list_of_problems_is_cut_short(read: ReadWith) -> None:
    text = "".join(f"wombat{index}: 1\n" for index in range(10_000))
    build, problems = read(cam=text)
    assert build is None
    assert len(problems) == 51
    assert "and 9950 more from here on" in problems[-1].message


def test_a_folder_without_a_build(archive: Path, folder: Path) -> None:
    (folder / "build.yaml").unlink()
    build, problems = read_build(folder, archive)
    assert build is None
    _only(problems, "build.yaml", 1, "start one with `millbook new test-engine`")
    build, problems = read_build(archive / "builds" / "gone", archive)
    assert build is None
    assert "is missing" in problems[0].message


@pytest.mark.parametrize("name", ["Big Block", "-a", "a-", "ä", "x" * 81, "a_b", "a.b", "a\nb", ".."])
def test_names_that_are_no_addresses(archive: Path, name: str) -> None:
    build, problems = read_build(archive / "builds" / name, archive)
    assert build is None
    assert "use small letters, digits and hyphens" in problems[0].message
    assert "\n" not in str(problems[0])
    message = slug_problem(name)
    assert message is not None
    assert slug_problem(message.rsplit(" ", 1)[-1]) is None


def test_a_build_folder_that_is_a_link_out_of_the_archive(
    archive: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    outside = tmp_path_factory.mktemp("outside")
    (outside / "build.yaml").write_text(SHEET, encoding="utf-8")
    link = archive / "builds" / "linked"
    link.symlink_to(outside, target_is_directory=True)
    build, problems = read_build(link, archive)
    assert build is None
    assert "leaves the archive" in problems[0].message


def test_the_folders_of_an_archive(archive: Path, tmp_path: Path) -> None:
    for name in (".hidden", "_schema", "another"):
        (archive / "builds" / name).mkdir()
    (archive / "builds" / "note.txt").write_text("x", encoding="utf-8")
    assert [folder.name for folder in build_folders(archive)] == ["another", "test-engine"]


def test_a_missing_folder_of_builds_is_an_error(tmp_path: Path) -> None:
    """A share that is not mounted must not look like an archive without builds."""
    with pytest.raises(ArchiveError, match=r"nowhere.builds does not exist"):
        build_folders(tmp_path / "nowhere")
    (tmp_path / "builds").write_text("a file")
    with pytest.raises(ArchiveError, match="cannot be read"):
        build_folders(tmp_path)


def test_one_broken_build_leaves_the_others_alone(archive: Path, folder: Path) -> None:
    broken = archive / "builds" / "broken"
    broken.mkdir()
    (broken / "build.yaml").write_text("title: [\n", encoding="utf-8")
    read = {build.name: read_build(build, archive) for build in build_folders(archive)}
    assert read["broken"][0] is None
    assert errors_in(read["broken"][1])
    assert read["test-engine"][0] is not None


def test_the_shop(archive: Path) -> None:
    shop, problems = read_shop(archive)
    assert (shop.name, problems) == ("Engine shop", [])
    path = archive / "builds" / "shop.yaml"
    path.write_text("# later\n", encoding="utf-8")
    assert read_shop(archive)[1] == []
    path.write_text("name: Test shop\nguidelines:\n", encoding="utf-8")
    shop, problems = read_shop(archive)
    assert (shop.name, problems) == ("Test shop", [])


@pytest.mark.parametrize(
    ("text", "line", "message"),
    [
        ("unit: inch\n", 1, "did you mean 'units'?"),
        ("name: [\n", 1, "bracket"),
        ("name: A\nlikeness_weights: {displacement: much}\n", 2, "is not a plain number"),
        ("delivery_requires:\n  - assembly.fits.main_oil_clearance\n  - assembly.fits.main_oil\n", 3,
         "did you mean 'assembly.fits.main_oil_clearance'?"),
        ("handover_holds:\n  - price\n", 2, "for the shop alone"),
        ("handover_holds:\n  - customer.nmae\n", 2, "did you mean 'customer.name'?"),
        ("handover_holds:\n  - parts.serial\n", 2, "did you mean 'parts.parts.serial'?"),
        ("handover_holds:\n  - parts.parts.supplier\n", 2, "for the shop alone"),
        ("tag:\n  width: 90 mm\n  height: 4 in\n", 3, "height 4 in cannot be printed: write 35 to 100 mm"),
        ("tag:\n  width: 1 in\n", 2, "width 1 in cannot be printed: write 70 to 200 mm"),
    ],
)  # fmt: skip
def test_problems_in_shop_yaml(archive: Path, text: str, line: int, message: str) -> None:
    (archive / "builds" / "shop.yaml").write_text(text, encoding="utf-8")
    _, (problem,) = read_shop(archive)
    assert (problem.path, problem.line) == (Path("builds/shop.yaml"), line)
    assert message in problem.message


@pytest.mark.parametrize(
    "address",
    ["archive.example", "ftp://archive.example", "//archive.example", "https://", "https:///engines",
     "https://archive.example/a b", "https://archive.example/'x'", 'https://archive.example/");alert(1);("',
     "https://archive.example/<script>alert(1)</script>", "https://me@archive.example",
     "javascript:alert(1)//https://archive.example", "https://archive.example\\nhttps://other.example",
     "https://archive.example/?q=1", "https://archive.example/#x"],
)  # fmt: skip
def test_an_address_that_no_site_can_have_is_reported_and_not_used(archive: Path, address: str) -> None:
    quoted = address.replace('"', '\\"')
    (archive / "builds" / "shop.yaml").write_text(f'name: A\nsite_address: "{quoted}"\n', encoding="utf-8")
    shop, (problem,) = read_shop(archive)
    assert (problem.path, problem.line, problem.severity) == (Path("builds/shop.yaml"), 2, "error")
    assert "e.g. https://archive.example/engines" in problem.message
    assert problem.message.isprintable()
    assert (shop.name, shop.site_address) == ("A", None)


@pytest.mark.parametrize(
    "address",
    ["https://archive.example", "http://archive.example/", "https://archive.example:8443/engines/of-ours/",
     "https://m\u00fcller.example", "http://192.0.2.1/a%20b", "http://[2001:db8::1]:80/~shop", "HTTPS://Archive.Example"],
)  # fmt: skip
def test_addresses_that_a_site_can_have(archive: Path, address: str) -> None:
    (archive / "builds" / "shop.yaml").write_text(f'site_address: "{address}"\n', encoding="utf-8")
    shop, problems = read_shop(archive)
    assert (shop.site_address, problems) == (address, [])


def test_a_shop_file_that_is_a_link_out_of_the_archive(archive: Path) -> None:
    (archive / "secret.yaml").write_text("name: Secret\n", encoding="utf-8")
    (archive / "builds" / "shop.yaml").symlink_to(archive / "secret.yaml")
    shop, (problem,) = read_shop(archive)
    assert shop.name == "Engine shop"
    assert "leaves the builds folder" in problem.message


def test_a_folder_or_file_that_may_not_be_read_is_a_message(
    archive: Path, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def forbidden(self: Path, *_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied", str(self))

    monkeypatch.setattr(Path, "read_bytes", forbidden)
    build, problems = read_build(folder, archive)
    assert build is None
    _only(problems, "build.yaml", 1, "cannot be read: Permission denied")
    monkeypatch.setattr(Path, "iterdir", forbidden)
    build, problems = read_build(folder, archive)
    assert build is None
    assert [problem.message for problem in problems] == ["cannot be read: Permission denied"]
    with pytest.raises(ArchiveError, match="cannot be read: Permission denied"):
        build_folders(archive)
    monkeypatch.setattr(Path, "exists", forbidden)
    _, (problem,) = read_shop(archive)
    assert problem.message == "cannot be read: Permission denied"


def test_a_file_name_with_an_unprintable_character(folder: Path) -> None:
    assert file_in(folder, "dyno/pull\u00ad-1.csv") == (None, "holds a character that no file name may have")
    assert file_in(folder, "dyno/pull-1.csv") == (folder / "dyno" / "pull-1.csv", "")


def test_a_path_that_cannot_be_followed_is_none(tmp_path: Path) -> None:
    assert path_problem(tmp_path, tmp_path / "pull\0.csv") == "is not a path that can be followed"
    assert path_problem(tmp_path, tmp_path / "dyno" / ".." / "pull.csv") is None
    assert path_problem(tmp_path / "a", tmp_path / "b") == "leaves the build's folder: copy the file into it"


def test_no_name_outside_the_builds_folder_is_suggested(tmp_path: Path) -> None:
    outside, folder = tmp_path / "outside", tmp_path / "build"
    outside.mkdir()
    folder.mkdir()
    (outside / "engine-2.jpg").touch()
    (folder / "photos").symlink_to(outside)
    assert file_in(folder, "photos/engine-1.jpg") == (None, "'photos/engine-1.jpg' is not there")


def test_a_folder_that_cannot_be_listed_gives_no_suggestion(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "pull-1.csv").touch()
    assert file_in(tmp_path, "pull-2.csv") == (None, "'pull-2.csv' is not there: did you mean 'pull-1.csv'?")

    def refused(folder: Path, pattern: str) -> list[Path]:
        raise PermissionError(13, "Permission denied", str(folder))

    monkeypatch.setattr(Path, "glob", refused)
    assert file_in(tmp_path, "pull-2.csv") == (None, "'pull-2.csv' is not there")


@pytest.mark.parametrize("name", ["build", "parts", "dyno"])
def test_a_link_that_leads_nowhere_is_an_error_with_its_target(archive: Path, folder: Path, name: str) -> None:
    (folder / f"{name}.yaml").unlink(missing_ok=True)
    (folder / f"{name}.yaml").symlink_to("elsewhere/old.yaml")
    build, problems = read_build(folder, archive)
    assert build is None
    _only(
        problems, f"{name}.yaml", 1, "is a link to 'elsewhere/old.yaml', which is not there: put the file itself here"
    )


def test_a_log_and_a_photo_behind_a_link_that_leads_nowhere(read: ReadWith, folder: Path) -> None:
    for link in ("dyno/gone.csv", "photos/gone.jpg"):
        (folder / link).symlink_to("/media/stick/old")
    _, problems = read(
        dyno="pulls: [{name: a, file: dyno/gone.csv}]\n", photos="photos: [{file: photos/gone.jpg, alt: A}]\n"
    )
    for problem, link in zip(problems, ("dyno/gone.csv", "photos/gone.jpg"), strict=True):
        assert f"'{link}' is a link to '/media/stick/old', which is not there" in problem.message


def test_a_shop_behind_a_link_that_leads_nowhere_is_an_error(archive: Path) -> None:
    (archive / "builds" / "shop.yaml").symlink_to("old-shop.yaml")
    _, (problem,) = read_shop(archive)
    assert (problem.path.as_posix(), problem.severity) == ("builds/shop.yaml", "error")
    assert "is a link to 'old-shop.yaml', which is not there" in problem.message


def test_links_in_a_circle_are_an_error(archive: Path, folder: Path) -> None:
    (folder / "parts.yaml").symlink_to("cam.yaml")
    (folder / "cam.yaml").symlink_to("parts.yaml")
    build, problems = read_build(folder, archive)
    assert build is None
    assert len(problems) == 2


def test_an_engine_has_a_cam_card_or_ports(read: ReadWith) -> None:
    two_stroke = SHEET.replace("cylinders: 4", "cylinders: 4\n  cycle: two-stroke")
    _, problems = read(ports="premix: 25\n")
    _only(problems, "ports.yaml", 1, "is for a two-stroke")
    card = "card: {number: HC-2104}\n"
    _, problems = read(build=two_stroke, ports="premix: 25\n", cam=card)
    _only(problems, "cam.yaml", 1, "has no cam card: record the ports in ports.yaml")
    build, problems = read(build=two_stroke, ports="", cam=card, top_end="heads: {exhaust_valve: {diameter: 40 mm}}\n")
    assert (build is not None, problems) == (True, [])
