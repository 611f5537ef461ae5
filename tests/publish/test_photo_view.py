"""The photos of a build, placed on its page."""

from __future__ import annotations

from pathlib import Path

from PIL import Image

from builder.publish.photo_view import cover_of, photos_of
from tests.support import view_samples as samples


def test_every_photo_is_placed_with_its_files_and_the_cover_is_found() -> None:
    build, _ = samples.build_and_sheet("pilot-launch-four")
    placed, files, problems = photos_of(build)
    assert not problems
    assert [item.photo.section for item in placed] == ["cover", "parts", "top end"]
    assert {size.name for item in placed for size in item.published.sizes} == set(files)
    cover = cover_of(placed, files)
    assert cover == files[placed[0].published.largest.name]


def test_a_build_without_photos_has_none_and_no_cover() -> None:
    build, _ = samples.build_and_sheet("irrigation-single")
    placed, files, problems = photos_of(build)
    assert (placed, files, problems, cover_of(placed, files)) == ((), {}, [], None)


def test_a_file_that_is_no_picture_is_told_with_its_line_and_the_others_stay(tmp_path: Path) -> None:
    home = tmp_path / "builds" / "one" / "photos"
    home.mkdir(parents=True)
    (home / "bad.jpg").write_text("not a picture")
    Image.new("RGB", (40, 30), "grey").save(home / "good.png")
    build, _ = samples.written(
        tmp_path,
        build="title: T\nengine: {cylinders: 1}\n",
        photos="photos:\n  - {file: photos/bad.jpg, alt: a picture}\n  - {file: photos/good.png, alt: grey}\n",
    )
    placed, _, problems = photos_of(build)
    assert [item.photo.file for item in placed] == ["photos/good.png"]
    (problem,) = problems
    assert problem.path.name == "photos.yaml"
    assert problem.line == 2
