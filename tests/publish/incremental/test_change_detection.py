"""What is built again, and what is not, for each kind of change."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from builder.publish import workers
from builder.publish.deploy.working_folder import MARK
from builder.publish.edition import Edition
from builder.publish.incremental import change_detection
from builder.publish.incremental.change_detection import ChangeSet, begin_page_check, detect_changes
from builder.publish.incremental.state import load_state
from builder.publish.pipeline import publish
from builder.publish.report import PublishReport
from builder.publish.workers import INLINE
from builder.publish.workspace import Workspace
from tests.support import tiny_archive as tiny


@pytest.fixture(scope="module")
def published(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive of two builds, published."""
    archive = tmp_path_factory.mktemp("published") / "shop"
    tiny.use_short_pages(archive)
    tiny.write_build(archive, "ash", number=1, torque=140.0)
    tiny.write_build(archive, "birch", number=2, torque=150.0)
    (archive / "builds" / "shop.yaml").write_text("name: Fern Engines\npaper: A4\n")
    publish(archive, archive / "site")
    return archive


@pytest.fixture
def archive(published: Path, tmp_path: Path) -> Path:
    """A copy of that archive."""
    return shutil.copytree(published, tmp_path / "shop", symlinks=True)


def changes_of(archive: Path, edition: Edition = Edition.PUBLIC) -> ChangeSet:
    """Return what the next publish finds."""
    workspace = Workspace(archive, edition)
    page_check = begin_page_check(workspace, INLINE, full=False)
    previous = load_state(workspace.state_file)
    return detect_changes(workspace, previous, archive / "site", page_check, lambda: None)


def again(archive: Path) -> PublishReport:
    """Publish again."""
    return publish(archive, archive / "site")


def test_nothing_changed(archive: Path) -> None:
    assert not changes_of(archive).any


@pytest.mark.parametrize(
    "shop",
    [
        "name: Fern Engines\ntag: {width: 90 mm}\n",
        "name: Fern Engines\nwarranty: Twelve months.\n",
        "name: Fern Engines\nhandover_holds: [registration]\n",
        "name: Fern Engines\nbreak_in: {roller: [prime the oil]}\n",
        "# of the shop\nname: Fern Engines\n",
    ],
)
def test_what_only_deliveries_show_of_the_shop_rebuilds_no_page(archive: Path, shop: str) -> None:
    (archive / "builds" / "shop.yaml").write_text(shop)
    assert not changes_of(archive).any


@pytest.mark.parametrize(
    "shop",
    [
        "name: Ferry Engines\n",
        "name: Fern Engines\nunits: inch\n",
        "name: Fern Engines\nenglish: uk\n",
        "name: Fern Engines\npaper: Letter\n",
        "name: Fern Engines\nguidelines: {least_quench: 0.9 mm}\n",
    ],
)
def test_what_pages_show_of_the_shop_rebuilds_every_page(archive: Path, shop: str) -> None:
    (archive / "builds" / "shop.yaml").write_text(shop)
    assert changes_of(archive).global_changed


def test_the_new_shop_is_the_one_that_counts_next_time(archive: Path) -> None:
    for shop, rebuilt in (("name: Fern Engines\nwarranty: No.\n", 0), ("name: Ferry Engines\nwarranty: No.\n", 2)):
        (archive / "builds" / "shop.yaml").write_text(shop)
        assert again(archive).changed == rebuilt
        assert not changes_of(archive).any
        assert changes_of(archive).shop_hash == load_state(archive / ".millbook" / "state.json").shop_hash


def test_problems_of_the_shop_are_reported_each_time(archive: Path) -> None:
    (archive / "builds" / "shop.yaml").write_text("name: Fern Engines\npaper: A4\nlikeness_weights: {nonsense: 2}\n")
    for _ in range(2):
        assert any("nonsense" in str(problem) for problem in again(archive).problems)
    (archive / "builds" / "shop.yaml").write_text("name: Fern Engines\npaper: A9\n")
    for _ in range(2):
        report = again(archive)
        assert any("paper" in str(problem) for problem in report.problems)
        assert not report.ok
    (archive / "builds" / "shop.yaml").write_text("name: Fern Engines\npaper: A4\n")
    assert again(archive).problems == ()


def test_another_edition_builds_again_what_it_shows(archive: Path) -> None:
    assert changes_of(archive, Edition.PUBLIC_ALL).modified == {"ash", "birch"}


def test_one_record_makes_one_build_stale(archive: Path) -> None:
    tiny.write_sheet(archive / "builds" / "ash", title="Another name")
    changes = changes_of(archive)
    assert [folder.name for folder in changes.stale_folders] == ["ash"]
    assert changes.output_valid
    assert changes.site_reusable


def test_a_deleted_build_takes_its_charts_with_it(archive: Path) -> None:
    charts = archive / ".millbook" / "charts"
    before = set(charts.iterdir())
    shutil.rmtree(archive / "builds" / "birch")
    assert changes_of(archive).deleted == ("birch",)
    again(archive)
    assert len(list(charts.iterdir())) < len(before)
    assert set(load_state(archive / ".millbook" / "state.json").builds) == {"ash"}


@pytest.mark.parametrize("name", ["bodies/ash.md", "pages/builds/ash/index.md", "pages/builds/ash/card.png"])
def test_damaged_output_makes_its_build_stale(archive: Path, name: str) -> None:
    (archive / ".millbook" / name).write_bytes(b"damaged")
    changes = changes_of(archive)
    assert changes.corrupted == {"ash"}
    assert [folder.name for folder in changes.stale_folders] == ["ash"]
    assert not changes.output_valid


def test_a_damaged_index_makes_every_build_stale(archive: Path) -> None:
    (archive / ".millbook" / "index.json").write_bytes(b"damaged")
    assert changes_of(archive).corrupted == {"ash", "birch"}


def test_a_damaged_site_is_built_again_from_the_same_pages(archive: Path) -> None:
    expected = tiny.read_tree(archive / "site")
    (archive / "site" / "builds" / "ash" / "index.html").write_text("damaged")
    changes = changes_of(archive)
    assert changes.any
    assert not changes.site_intact
    assert changes.stale_folders == ()
    assert again(archive).changed == 0
    assert tiny.read_tree(archive / "site") == expected


def test_compiled_templates_are_used_only_as_they_were_left(archive: Path) -> None:
    """Byte code that somebody damaged is never run: it is deleted, and the templates are compiled again."""
    templates = archive / ".millbook" / "templates"
    (folder,) = (path for path in templates.iterdir() if path.name != MARK)
    for path in folder.iterdir():
        content = path.read_bytes()
        path.write_bytes(content[:-1] + bytes([content[-1] ^ 1]))
    tiny.write_sheet(archive / "builds" / "ash", title="Another name")
    again(archive)
    assert "Another name" in (archive / "site" / "builds" / "ash" / "index.html").read_text(encoding="utf-8")
    (archive / "site_templates" / "pages" / "glossary.md.j2").write_text("# Words\n")
    again(archive)
    assert {path.name for path in templates.iterdir()} == {MARK, changes_of(archive).global_hash}
    assert not folder.exists()


def test_a_large_archive_is_checked_in_another_process(archive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With many builds, the files of the last publish are checked and the overviews drawn in the background process."""
    monkeypatch.setattr(workers, "_available_cpus", lambda: 2)
    monkeypatch.setattr(change_detection, "_PARALLEL_CHECK_FROM", 0)
    assert again(archive).changed == 0
    (archive / ".millbook" / "bodies" / "ash.md").write_bytes(b"damaged")
    tiny.write_sheet(archive / "builds" / "birch", title="Another name")
    assert again(archive).changed == 2
    publish(archive, archive / "elsewhere", full=True)
    assert tiny.read_tree(archive / "site") == tiny.read_tree(archive / "elsewhere")


def test_another_term_rebuilds_every_page(archive: Path) -> None:
    own = archive / "site_templates" / "english.yaml"
    own.parent.mkdir(exist_ok=True)
    own.write_text("gasoline: motor spirit\n")
    assert changes_of(archive).global_changed
