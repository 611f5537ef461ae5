"""Nothing private gets out: canaries in every private place of an archive, looked for in every byte of what is made.

The private fields are found by walking the models, so that a field added later is looked after as well.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, ClassVar

import pytest
import yaml
from PIL import ExifTags, Image, PngImagePlugin

from builder.publish import workers
from builder.publish.edition import Edition
from builder.publish.pipeline import publish
from builder.record.models.build import DOCUMENTS
from builder.record.redaction import private_fields
from builder.record.scaffold import scaffold
from tests.support import tiny_archive as tiny

CANARY = "Canary"
PRIVATE = {name: private_fields(model) for name, model in DOCUMENTS.items()}


class Reader(yaml.SafeLoader):
    """Reads every scalar as the text it is."""

    yaml_implicit_resolvers: ClassVar[dict[str, Any]] = {}


class Writer(yaml.SafeDumper):
    """Writes every scalar bare."""

    yaml_implicit_resolvers: ClassVar[dict[str, Any]] = {}


def canaries(word: str) -> str:
    """A word that no page has of itself."""
    return f"{CANARY}{''.join(part.capitalize() for part in re.split('[^a-z]+', word))}"


def taken_up(text: str) -> Any:
    """A document of the scaffold with every example in it taken up."""
    lines = [line for line in text.splitlines() if not re.match(r"\s*##|# yaml-language-server", line)]
    lines = [re.sub(r"\s+## .*$", "", re.sub(r"^( *)# ", r"\1", line)) for line in lines]
    return yaml.load("\n".join(lines), Loader=Reader)


def hidden(document: Any, path: list[str], word: str) -> Iterator[str]:
    """Put a canary at a path of the document, in every entry of the lists on the way."""
    for entry in document if isinstance(document, list) else [document]:
        if len(path) > 1:
            yield from hidden(entry.setdefault(path[0], {}), path[1:], word)
        else:
            entry[path[0]] = canaries(word)
            yield entry[path[0]]


def write_private_build(archive: Path, slug: str) -> list[str]:
    """A build with a canary in every private field, in remarks, in names of files and in pictures; returns them."""
    folder = archive / "builds" / slug
    (folder / "dyno").mkdir(parents=True)
    (folder / "photos").mkdir()
    put: list[str] = []
    for name, model in DOCUMENTS.items():
        document = taken_up(scaffold(slug)[f"{name}.yaml"])
        for path in private_fields(model):
            put += hidden(document, path.split("."), f"{name}.{path}")
        if name == "build":
            document |= {"status": "finished", "title": f"Engine {slug}"}
        if name == "photos":
            document = {"photos": [{"file": f"photos/{file}", "alt": "A deck"} for file in write_pictures(folder)]}
        text = yaml.dump(document, Dumper=Writer, sort_keys=False, allow_unicode=True)
        remark = canaries(f"remark.{name}")
        (folder / f"{name}.yaml").write_text(f"# {remark}\n{text}# and {remark} again\n", encoding="utf-8")
    rows = [f"{rpm},{200 - (rpm - 4000) ** 2 / 1e5:.1f}" for rpm in range(2500, 6500, 100)]
    above = f"Customer:,{canaries('csv.above')}"
    for file, column in (("pull-1.csv", "Torque (lb-ft)"), ("pull-2.csv", "TQ2 (lb-ft)")):
        (folder / "dyno" / file).write_text("\n".join([above, f"RPM,{column}", *rows]) + "\n")
    return put


def write_pictures(folder: Path) -> list[str]:
    """Pictures that carry all that a camera or a program may write into one."""
    picture = Image.linear_gradient("L").convert("RGB").resize((48, 32))
    exif = Image.Exif()
    exif[ExifTags.Base.ImageDescription] = canaries("exif.words")
    exif[ExifTags.Base.Artist] = canaries("exif.artist")
    exif.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSAreaInformation] = canaries("exif.place")
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.UserComment] = canaries("exif.remark").encode()
    xmp = f"<x:xmpmeta xmlns:x='adobe:ns:meta/'>{canaries('xmp.packet')}</x:xmpmeta>".encode()
    names = [f"{canaries('name.jpeg')}.jpg", f"{canaries('name.png')}.png"]
    picture.save(folder / "photos" / names[0], "JPEG", exif=exif, comment=canaries("jpeg.remark"), xmp=xmp)
    words = PngImagePlugin.PngInfo()
    words.add_text("Author", canaries("png.author"))
    words.add_itxt("XML:com.adobe.xmp", canaries("png.packet"), zip=True)
    picture.save(folder / "photos" / names[1], "PNG", exif=exif, pnginfo=words)
    # What was written is there to be found.
    assert canaries("exif.words").encode() in (folder / "photos" / names[0]).read_bytes()
    assert canaries("png.author").encode() in (folder / "photos" / names[1]).read_bytes()
    return names


def found(archive: Path, word: str = CANARY) -> list[str]:
    """Where a word stands in what was made of an archive: in names, in content, in what pictures carry."""
    places = []
    for top in ("site", ".millbook", ".site.mirror"):
        for name, content in tiny.read_tree(archive / top).items():
            if word.lower() in name.lower():
                places.append(f"{top}/{name} (its name)")
            if content is not None and any(
                word.encode(code) in content for code in ("utf-8", "utf-16-le", "utf-16-be")
            ):
                places.append(f"{top}/{name}")
            if name.endswith((".jpg", ".png")):
                with Image.open(io.BytesIO(content or b"")) as picture:
                    if word in repr(picture.info) or picture.getexif():
                        places.append(f"{top}/{name} (beside the picture)")
    return places


@pytest.fixture(autouse=True)
def _one_hand(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workers, "_available_cpus", lambda: 1)


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    archive = tmp_path / "shop"
    tiny.use_short_pages(archive)
    return archive


def test_nothing_private_is_anywhere(archive: Path) -> None:
    put = write_private_build(archive, "larch")
    assert len(set(put)) >= 12
    assert {canaries(f"{name}.{path}") for name, paths in PRIVATE.items() for path in paths} == set(put)
    tiny.write_build(archive, "ash", torque=140.0)
    report = publish(archive, archive / "site")
    assert "larch" in report.published, [str(problem) for problem in report.problems]
    assert len(list((archive / "site/builds/larch/photos").iterdir())) == 2
    assert (archive / "site/builds/larch/data/pulls.csv").is_file()
    assert "Engine larch" in (archive / "site/assets/finder-data.js").read_text()
    assert found(archive) == []


def test_nor_in_what_is_for_the_shops_eyes(archive: Path) -> None:
    """The shop's own view is a web page as well, open on the bench for everybody who walks by."""
    write_private_build(archive, "larch")
    report = publish(archive, archive / ".millbook" / "shop" / "site", edition=Edition.SHOP)
    assert "larch" in report.published
    assert found(archive) == []


def test_nor_where_a_record_has_errors(archive: Path) -> None:
    """What the terminal is told of a build with errors is not kept."""
    write_private_build(archive, "larch")
    for name in ("build", "parts"):
        path = archive / "builds" / "larch" / f"{name}.yaml"
        path.write_text(path.read_text() + "nonsense: {}\n")
    tiny.write_build(archive, "ash")
    report = publish(archive, archive / "site")
    assert "larch" in dict(report.left_out)
    assert found(archive) == []


def test_what_was_public_and_became_private_is_gone(archive: Path) -> None:
    folder = tiny.write_build(archive, "larch", torque=150.0)
    parts = "parts: [{part: pistons, maker: Larkmoor, %s: PublicWord}]\n"
    (folder / "parts.yaml").write_text(parts % "note")
    sheet = (folder / "build.yaml").read_text()
    (folder / "build.yaml").write_text(f"{sheet}number: PublicWord\n")
    publish(archive, archive / "site")
    assert len([place for place in found(archive, "PublicWord") if place.startswith("site/")]) >= 2
    (folder / "parts.yaml").write_text(parts % "private_note")
    (folder / "build.yaml").write_text(f"{sheet}registration: PublicWord\n")
    report = publish(archive, archive / "site")
    assert report.published == ("larch",)
    assert found(archive, "PublicWord") == []


@pytest.mark.parametrize("how", ["withdrawn", "in progress", "removed", "renamed", "broken"])
def test_a_build_that_is_withdrawn_is_gone_with_all_that_was_made_of_it(archive: Path, how: str) -> None:
    folder = tiny.write_build(archive, "larch", torque=150.0, picture=True)
    tiny.write_sheet(folder, title="PublicWord")
    for number, slug in enumerate(("ash", "birch")):
        tiny.write_build(archive, slug, number=number, torque=140.0 + number)
    publish(archive, archive / "site")
    assert len([place for place in found(archive, "PublicWord") if place.startswith("site/")]) >= 5
    match how:
        case "removed":
            folder.rename(archive / "elsewhere")
        case "renamed":
            folder.rename(archive / "builds" / "alder")
            tiny.write_sheet(archive / "builds" / "alder", title="Alder")
        case "broken":
            tiny.write_sheet(folder, title="PublicWord\nnonsense: 1")
        case _:
            tiny.write_sheet(folder, title="PublicWord", status=how)
    report = publish(archive, archive / "site")
    assert "larch" not in report.published
    assert found(archive, "PublicWord") == []
    # The state may know the name of a folder that is there and why it is left out; no page does.
    left = [place for place in found(archive, "larch") if not place.startswith(".millbook/state.json")]
    assert left == []


def test_what_was_published_with_all_is_gone_without(archive: Path) -> None:
    folder = tiny.write_build(archive, "larch", torque=150.0)
    tiny.write_sheet(folder, title="PublicWord", status="in progress")
    tiny.write_build(archive, "ash", torque=140.0)
    publish(archive, archive / "site", edition=Edition.PUBLIC_ALL)
    assert found(archive, "PublicWord")
    publish(archive, archive / "site")
    assert found(archive, "PublicWord") == []
