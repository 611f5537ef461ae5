"""One hostile build among good ones: it is told and left out, and the others are published."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from builder.publish.pipeline import publish
from tests.support import tiny_archive as tiny
from tests.support.security_policy import allowed_scripts

BOMB = "a: &a [x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"{name}: &{name} [{', '.join([f'*{before}'] * 9)}]\n" for before, name in zip("abcdefgh", "bcdefghi", strict=True)
)


def sparse(path: Path) -> None:
    """A file of 100 MB that takes no room on the disk."""
    with path.open("wb") as file:
        file.truncate(100_000_000)


def instead(path: Path, what: Callable[[Path], object]) -> None:
    """Put something else where a file was."""
    path.unlink(missing_ok=True)
    what(path)


HOSTILE: dict[str, Callable[[Path], object]] = {
    "alias bomb": lambda f: (f / "build.yaml").write_text(BOMB),
    "deep nesting": lambda f: (f / "build.yaml").write_text("title: " + "[" * 20_000),
    "deep nesting of sections": lambda f: (f / "bottom_end.yaml").write_text(
        "".join(f"{' ' * depth}a:\n" for depth in range(2_000))
    ),
    "huge scalar": lambda f: (f / "bottom_end.yaml").write_text(f"block: {{casting: {'x' * 5_000_000}}}\n"),
    "huge file": lambda f: instead(f / "bottom_end.yaml", sparse),
    "huge log": lambda f: instead(f / "dyno" / "first.csv", lambda path: path.write_bytes(b"\0" * 2_000_000)),
    "NUL": lambda f: (f / "build.yaml").write_bytes(b"title: A\0B\nstatus: finished\nengine: {cylinders: 4}\n"),
    "no text": lambda f: (f / "build.yaml").write_bytes(os.urandom(4000)),
    "an object of Python": lambda f: (f / "build.yaml").write_text("title: !!python/object/apply:os.system [true]\n"),
    "a folder for a file": lambda f: instead(f / "build.yaml", Path.mkdir),
    "a log that leaves by dots": lambda f: (f / "dyno.yaml").write_text(
        tiny.SESSION.replace("dyno/first.csv", "../../../../etc/passwd")
    ),
    "a photo with a newline in its name": lambda f: (f / "photos.yaml").write_text(
        'photos: [{file: "photos/a\\nb.jpg", alt: a}]\n'
    ),
}
LINKS: dict[str, Callable[[Path], object]] = {
    "a record that leaves by a link": lambda f: instead(f / "bottom_end.yaml", lambda p: p.symlink_to("/etc/passwd")),
    "a log that leaves by a link": lambda f: instead(f / "dyno" / "first.csv", lambda p: p.symlink_to("/etc/passwd")),
    "a record that never ends": lambda f: instead(f / "bottom_end.yaml", lambda p: p.symlink_to("/dev/zero")),
    "a log that never ends": lambda f: instead(f / "dyno" / "first.csv", lambda p: p.symlink_to("/dev/zero")),
    "a link to itself": lambda f: instead(f / "build.yaml", lambda p: p.symlink_to("build.yaml")),
    "a pipe for a record": lambda f: instead(f / "bottom_end.yaml", os.mkfifo),
    "a pipe for a log": lambda f: instead(f / "dyno" / "first.csv", os.mkfifo),
}


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    archive = tmp_path / "shop"
    tiny.use_short_pages(archive)
    tiny.write_build(archive, "ash", torque=140.0)
    tiny.write_build(archive, "larch", number=2, torque=150.0)
    return archive


@pytest.mark.parametrize("what", [*HOSTILE, *LINKS])
def test_it_is_told_and_the_others_are_published(archive: Path, what: str) -> None:
    if what in LINKS and os.name == "nt":
        pytest.skip("links and pipes of this kind are not for everybody there")
    (HOSTILE | LINKS)[what](archive / "builds" / "larch")
    report = publish(archive, archive / "site")
    assert "ash" in report.published
    about = [problem for problem in report.problems if "larch" in problem.path.as_posix()]
    assert about, report.lines
    assert all("\n" not in str(problem) and len(str(problem)) < 600 for problem in about)
    assert "cannot be made" not in " ".join(map(str, about))
    assert "larch" in dict(report.left_out) or not report.ok
    assert not [
        name for name, content in tiny.read_tree(archive / "site").items() if content and b"root:x:0" in content
    ]
    again = publish(archive, archive / "site")
    assert again.ok == report.ok


@pytest.mark.skipif(os.name == "nt", reason="such names are refused there")
@pytest.mark.parametrize("name", ["a\nb", "a<script>", "..a", "\udcff\udcfe", "CON", "-rf", "a b"])
def test_odd_names_of_folders_and_files(archive: Path, name: str) -> None:
    """A folder of such a name is refused; beside a record, a file of such a name harms nothing."""
    (archive / "builds" / "larch").rename(archive / "builds" / name)
    (archive / "builds" / "ash" / f"{name}.txt").write_text("odd")
    report = publish(archive, archive / "site")
    assert report.published == ("ash",)
    assert all("\n" not in str(problem) for problem in report.problems)
    assert not [made for made in tiny.read_tree(archive / "site") if name in made]


def test_a_build_that_the_program_fails_on_stops_no_other(archive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from builder.publish.pages.build import worker

    usual = worker.compute

    def failing(build: worker.Build, shop: worker.Shop) -> object:  # type: ignore[name-defined]
        if build.slug == "larch":
            raise ZeroDivisionError("nobody thought of this")
        return usual(build, shop)

    monkeypatch.setattr(worker, "compute", failing)
    report = publish(archive, archive / "site")
    assert report.published == ("ash",)
    assert not report.ok
    assert "nobody thought of this" in str(report.problems[-1])


def test_a_template_at_fault_is_named_with_its_line(archive: Path) -> None:
    from builder.publish.errors import PublishError

    own = archive / "site_templates" / "pages"
    (own / "home.md.j2").write_text("# Home\n\n{{ shop.nonsense.more }}\n")
    with pytest.raises(PublishError, match=r"home\.md\.j2:3: .*nonsense"):
        publish(archive, archive / "site")
    (own / "home.md.j2").write_text("# Home\n\n{% if %}\n")
    with pytest.raises(PublishError, match=r"home\.md\.j2:3: "):
        publish(archive, archive / "site")
    (own / "home.md.j2").unlink()
    (own / "build.md.j2").write_text("{% for %}\n")
    with pytest.raises(PublishError, match=r"build\.md\.j2:1: "):
        publish(archive, archive / "site")
    (own / "build.md.j2").write_text("# {{ build.slug }}\n\n{{ 1 / (build.slug == 'ash') }}\n")
    report = publish(archive, archive / "site")
    assert report.published == ("ash",)
    assert "build.md.j2:3" in str(report.problems[-1])


@pytest.mark.parametrize(
    "address", ['https://a.example/"),alert(1),("', "https://a.example/</script><script>alert(1)//"]
)
def test_no_page_allows_a_script_in_a_text_of_the_shop_or_of_a_record(archive: Path, address: str) -> None:
    publish(archive, archive / "site")
    templates = set().union(*map(allowed_scripts, _pages(archive / "site")))
    assert len(templates) >= 2
    payload = "\"'></title></style></script><script>alert(1)</script>"
    texts = dict.fromkeys(("name", "tagline", "about", "place", "contact", "invented"), payload)
    (archive / "builds" / "shop.yaml").write_text(json.dumps(texts | {"site_address": address}))
    record = {"title": payload, "status": "finished", "family": payload, "summary": payload, "engine": {"cylinders": 4}}
    (archive / "builds" / "ash" / "build.yaml").write_text(json.dumps(record))
    report = publish(archive, archive / "site")
    assert "ash" in report.published
    assert [problem.line for problem in report.problems if "site_address" in problem.message] == [1]
    for page in _pages(archive / "site"):
        assert "alert(1)" in page
        assert allowed_scripts(page) <= templates


def _pages(site: Path) -> list[str]:
    return [path.read_text(encoding="utf-8") for path in sorted(site.rglob("*.html"))]
