"""Making again only what changed gives the very site that making everything gives, whatever was edited between.

Random edits are made to a small archive, one after the other; now and then it is published, and beside it a copy
of its records from nothing. `MILLBOOK_EDITS=100 pytest tests/publish/incremental/test_incremental.py` makes a hundred
courses of edits.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule

from builder.publish import workers
from builder.publish.deploy.working_folder import is_marked
from builder.publish.edition import Edition
from builder.publish.pipeline import publish
from tests.support import tiny_archive as tiny

COURSES = int(os.environ.get("MILLBOOK_EDITS", "5"))
SLUGS = st.sampled_from(["ash", "birch", "cedar", "dogwood", "elm"])
WORKING_FOLDERS = (
    ".millbook/pages/builds", ".millbook/pages", ".millbook/bodies", ".millbook/charts", ".millbook/templates",
    ".millbook",
)  # fmt: skip
SHOPS = [
    "name: Fern Engines\nunits: inch\n",
    "name: Fern Engines\nunits: metric\nsite_address: https://fern.example\n",
    "name: Fern & Daughter\nlikeness_weights: {displacement: 3}\n",
    "name: [broken\n",
]
TEMPLATES = {
    "pages/home.md.j2": "# {{ shop.name }}\n\n"
    "{% for build in builds %}\n[{{ build.title }}](builds/{{ build.slug }}/index.md)\n\n{% endfor %}\n",
    "pages/glossary.md.j2": "# Words\n\nOf the shop's own.\n",
    "assets/millbook.css": "/* of the shop's own */\n",
    "assets/more.txt": "another file\n",
    "theme/partials/footer.html": "<footer>Of the shop's own</footer>\n",
}


class Edits(RuleBasedStateMachine):
    """One archive, edited by hand and published in between."""

    def __init__(self) -> None:
        super().__init__()
        self.home = Path(tempfile.mkdtemp(prefix="millbook-edits-"))
        self.archive = self.home / "shop"
        self.changed = 0

    def teardown(self) -> None:
        try:
            if (self.archive / "builds").is_dir():
                self.publish(edition=Edition.PUBLIC)
        finally:
            shutil.rmtree(self.home)

    def folder(self, slug: str) -> Path:
        return self.archive / "builds" / slug

    def folder_of(self, data: Any) -> Path:
        folders = sorted(path for path in (self.archive / "builds").iterdir() if path.is_dir())
        return data.draw(st.sampled_from(folders))

    @property
    def any_build(self) -> bool:
        return any(path.is_dir() for path in (self.archive / "builds").iterdir())

    @initialize()
    def begin(self) -> None:
        tiny.use_short_pages(self.archive)
        tiny.write_build(self.archive, "ash", number=1, torque=140.0)
        tiny.write_build(self.archive, "birch", number=2, torque=150.0, picture=True)
        tiny.write_build(self.archive, "cedar", number=3)
        publish(self.archive, self.archive / "site")

    # ------------------------------------------------------------------------------------- the records

    @rule(slug=SLUGS, number=st.integers(1, 9), torque=st.none() | st.sampled_from([120.0, 180.0]))
    def add_or_remove(self, slug: str, number: int, torque: float | None) -> None:
        if self.folder(slug).exists():
            shutil.rmtree(self.folder(slug))
        else:
            tiny.write_build(self.archive, slug, number=number, torque=torque, picture=number > 6)

    @precondition(lambda self: self.any_build)
    @rule(data=st.data(), slug=SLUGS)
    def rename(self, data: Any, slug: str) -> None:
        folder = self.folder_of(data)
        if not self.folder(slug).exists():
            folder.rename(self.folder(slug))

    @precondition(lambda self: self.any_build)
    @rule(
        data=st.data(),
        title=st.sampled_from(["Tall", "Short", "<b>Odd & end"]),
        status=st.sampled_from(["finished", "in progress", "withdrawn"]),
    )
    def rewrite(self, data: Any, title: str, status: str) -> None:
        tiny.write_sheet(self.folder_of(data), title=title, status=status)

    @precondition(lambda self: self.any_build)
    @rule(
        data=st.data(),
        text=st.sampled_from(
            [
                *(tiny.BOTTOM_END.format(bore=b) for b in ("4.010", "4.020")),
                "block: {bores: [4.0]}\n",
                "{",
                "block: {bores: 40.1 in}\n",
                "# nothing\n",
            ]
        ),
    )
    def break_or_repair(self, data: Any, text: str) -> None:
        (self.folder_of(data) / "bottom_end.yaml").write_text(text)

    @precondition(lambda self: self.any_build)
    @rule(data=st.data(), colour=st.integers(0, 3))
    def picture(self, data: Any, colour: int) -> None:
        folder = self.folder_of(data)
        if colour:
            tiny.write_photo(folder, colour)
        elif (folder / "photos" / "deck.png").exists():
            (folder / "photos" / "deck.png").unlink()  # and the record still names it

    @precondition(lambda self: self.any_build)
    @rule(data=st.data())
    def touch_everything(self, data: Any) -> None:
        for path in self.folder_of(data).rglob("*"):
            os.utime(path)

    @rule(text=st.none() | st.sampled_from(SHOPS))
    def shop(self, text: str | None) -> None:
        path = self.archive / "builds" / "shop.yaml"
        path.unlink(missing_ok=True)
        if text is not None:
            path.write_text(text)

    @rule(name=st.sampled_from(sorted(TEMPLATES)))
    def template(self, name: str) -> None:
        path = self.archive / "site_templates" / name
        if path.exists() and path.stem.partition(".")[0] not in tiny.SHORT:
            path.unlink()
        else:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(TEMPLATES[name])

    # ------------------------------------------------------------------------ what a publish left behind

    @rule(
        data=st.data(),
        where=st.sampled_from([".millbook", "site", ".site.mirror"]),
        how=st.sampled_from(["cut", "flip", "remove", "folder", "stray", "link"]),
    )
    def damage(self, data: Any, where: str, how: str) -> None:
        files = sorted(path for path in (self.archive / where).rglob("*") if path.is_file() and path.name != "lock")
        if not files:
            return
        path = data.draw(st.sampled_from(files))
        content = path.read_bytes()
        match how:
            case "cut":
                path.write_bytes(content[: len(content) // 2])
            case "flip":
                path.write_bytes(content[:-1] + bytes([content[-1] ^ 1]) if content else b"x")
            case "remove":
                path.unlink()
            case "folder":
                path.unlink()
                path.mkdir()
            case "stray":
                (path.parent / "stray.txt").write_text("left here by hand")
            case _:
                path.unlink()
                path.symlink_to("/dev/null")

    @rule(where=st.sampled_from([".millbook", "site", ".site.mirror", ".millbook/pages", ".millbook/bodies"]))
    def sweep_away(self, where: str) -> None:
        shutil.rmtree(self.archive / where, ignore_errors=True)

    # --------------------------------------------------------------------------------------- the check

    @rule(edition=st.sampled_from([Edition.PUBLIC, Edition.PUBLIC_ALL]))
    def publish(self, edition: Edition) -> None:
        for name in ("site", ".site.mirror", *WORKING_FOLDERS):
            folder = self.archive / name
            if folder.is_dir() and not is_marked(folder):
                shutil.rmtree(folder)  # no longer known for the program's own, and so left alone
        for stray in (self.archive / "site").rglob("stray.txt"):
            stray.unlink()  # not ours to delete: it would stop the publish
        report = publish(self.archive, self.archive / "site", edition=edition, allow_removals=True)
        copy = self.home / "full"
        shutil.rmtree(copy, ignore_errors=True)
        shutil.copytree(self.archive, copy, ignore=shutil.ignore_patterns("site", ".millbook", ".site.*"))
        full = publish(copy, copy / "site", edition=edition, full=True)
        assert tiny.differing_files(self.archive / "site", copy / "site") == []
        mirror = self.archive / ".site.mirror"
        assert not report.changed or not mirror.exists() or tiny.differing_files(self.archive / "site", mirror) == []
        assert (report.published, report.left_out, report.ok) == (full.published, full.left_out, full.ok)
        again = publish(self.archive, self.archive / "site", edition=edition)
        assert again.changed == 0
        assert again.ok == report.ok
        pages = {
            name: content
            for name, content in tiny.read_tree(self.archive / ".millbook").items()
            if name.startswith("pages/")
        }
        assert pages == {name: c for name, c in tiny.read_tree(copy / ".millbook").items() if name.startswith("pages/")}


@pytest.mark.slow
def test_any_course_of_edits_ends_in_the_site_that_making_everything_gives() -> None:
    Edits.TestCase.settings = settings(
        max_examples=COURSES,
        stateful_step_count=12,
        deadline=None,
        derandomize=COURSES <= 5,
        database=None,
        suppress_health_check=list(HealthCheck),
        phases=(Phase.generate,),  # to make a course that failed shorter would take longer than to read it
    )
    Edits.TestCase("runTest").runTest()


def test_one_process_or_many_give_the_same_bytes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """So many builds that pages are built in several batches, in other processes; then all at one go, here."""
    sites = []
    for cores in (2, 1):
        archive = tmp_path / f"by{cores}"
        tiny.use_short_pages(archive)
        for number in range(7):
            tiny.write_build(archive, f"engine-{number}", number=number, torque=100.0 + 7 * number)
        with monkeypatch.context() as patch:
            patch.setattr(workers, "_available_cpus", lambda cores=cores: cores)
            publish(archive, archive / "site")
        sites.append(archive / "site")
    assert tiny.differing_files(*sites) == []


def edited(archive: Path) -> None:
    """Change one record so that its page and the lists change."""
    tiny.write_sheet(archive / "builds" / "ash", title="Another name")


@pytest.fixture(scope="module")
def published(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive of three builds, published."""
    archive = tmp_path_factory.mktemp("published") / "shop"
    tiny.use_short_pages(archive)
    for number, slug in enumerate(("ash", "birch", "cedar")):
        tiny.write_build(archive, slug, number=number, torque=140.0 + number)
    publish(archive, archive / "site")
    return archive


@pytest.fixture
def archive(published: Path, tmp_path: Path) -> Path:
    """A copy of that archive."""
    return shutil.copytree(published, tmp_path / "shop", symlinks=True)


def stamps(folder: Path) -> dict[str, tuple[int, int]]:
    found = {path.relative_to(folder).as_posix(): path.stat() for path in folder.rglob("*") if path.is_file()}
    return {name: (status.st_ino, status.st_mtime_ns) for name, status in found.items()}


def test_nothing_changed_and_nothing_is_touched(archive: Path) -> None:
    before = stamps(archive / "site")
    report = publish(archive, archive / "site")
    assert report.changed == 0
    assert stamps(archive / "site") == before


def test_a_remark_in_a_record_changes_no_page_and_so_no_site(archive: Path) -> None:
    before = stamps(archive / "site")
    with (archive / "builds" / "ash" / "bottom_end.yaml").open("a") as record:
        record.write("# measured twice\n")
    report = publish(archive, archive / "site")
    assert report.changed == 1
    assert stamps(archive / "site") == before


def test_one_record_changed_and_only_what_shows_it_is_made(archive: Path) -> None:
    before, content = stamps(archive / "site"), tiny.read_tree(archive / "site")
    edited(archive)
    report = publish(archive, archive / "site")
    assert report.changed == 1
    after = stamps(archive / "site")
    written = {name for name in after if after[name] != before.get(name)}
    differs = {
        name for name, now in tiny.read_tree(archive / "site").items() if now != content.get(name) and now is not None
    }
    # What bears the title differs; beside that only what is written with every site was written again.
    assert "builds/ash/index.html" in differs
    assert "builds/ash/power_curves.svg" not in written
    assert written - differs <= {"made-by-millbook.txt", "search/search_index.json", "search/search_index.js"}


def test_problems_of_unchanged_records_are_counted(archive: Path) -> None:
    """A warning that was reported once does not vanish from the report of the next publish."""
    (archive / "builds" / "ash" / "bottom_end.yaml").write_text(
        tiny.BOTTOM_END.format(bore="4.010").replace("9.018", "5.018")
    )
    first = publish(archive, archive / "site")
    assert any("ash" in str(problem.path) for problem in first.problems)
    again = publish(archive, archive / "site")
    assert not again.problems
    assert "run `millbook check`" in again.lines[-1]


def test_the_shop_edition_keeps_the_last_good_page_of_a_record_that_is_being_edited(tmp_path: Path) -> None:
    folder = tmp_path / "builds" / "one"
    folder.mkdir(parents=True)
    good = "title: One\nstatus: finished\nengine: {cylinders: 4}\n"
    (folder / "build.yaml").write_text(good)
    out = tmp_path / ".millbook" / "shop" / "site"
    page = out / "builds" / "one" / "index.html"
    assert publish(tmp_path, out, edition=Edition.SHOP).published == ("one",)
    published_page = page.read_bytes()
    (folder / "build.yaml").write_text(good + "finished: yesterday\n")
    for _ in range(2):
        report = publish(tmp_path, out, edition=Edition.SHOP)
        assert not report.ok
        assert page.read_bytes() == published_page
        assert any("kept the previous page" in line for line in report.lines)
    (folder / "build.yaml").write_text(good.replace("One", "Another"))
    assert publish(tmp_path, out, edition=Edition.SHOP).ok
    assert b"Another" in page.read_bytes()
    assert not any("last good" in line for line in publish(tmp_path, out, edition=Edition.SHOP).lines)
