"""Nothing private is published: canaries in all private fields of an archive, searched for in every byte published.

The private fields come from the models, so that a field added later is covered too.
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

from builder.publish.edition import Edition
from builder.publish.pipeline import publish
from builder.record.models.build import DOCUMENTS
from builder.record.redaction import private_fields
from builder.record.scaffold import scaffold
from tests.support import tiny_archive as tiny
from tests.support.handover_samples import unpacked_pdf

CANARY = "Canary"
HOURS = "387.61 h"
PRIVATE = {name: private_fields(model) for name, model in DOCUMENTS.items()}


class Reader(yaml.SafeLoader):
    """Reads every scalar as the text it is."""

    yaml_implicit_resolvers: ClassVar[dict[str, Any]] = {}


class Writer(yaml.SafeDumper):
    """Writes every scalar bare."""

    yaml_implicit_resolvers: ClassVar[dict[str, Any]] = {}


def canaries(word: str) -> str:
    """Return a word that no page contains by itself; for a number of hours, a number that none contains."""
    if word.endswith(".hours"):
        return HOURS
    return f"{CANARY}{''.join(part.capitalize() for part in re.split('[^a-z]+', word))}"


def uncomment(text: str) -> Any:
    """Return a document of the scaffold with its examples as values."""
    lines = [line for line in text.splitlines() if not re.match(r"\s*##|# yaml-language-server", line)]
    lines = [re.sub(r"\s+## .*$", "", re.sub(r"^( *)#", r"\1", line)) for line in lines]
    return yaml.load("\n".join(lines), Loader=Reader)


def insert_canaries(document: Any, path: list[str], word: str) -> Iterator[str]:
    """Write a canary at a path of the document, in every entry of the lists along it, and yield each canary."""
    for entry in document if isinstance(document, list) else [document]:
        if len(path) > 1:
            yield from insert_canaries(entry.setdefault(path[0], {}), path[1:], word)
        else:
            entry[path[0]] = canaries(word)
            yield entry[path[0]]


def write_private_build(archive: Path, slug: str) -> list[str]:
    """Write a build with a canary in every private field, comment, file name and picture; return the fields' ones."""
    folder = archive / "builds" / slug
    (folder / "dyno").mkdir(parents=True)
    (folder / "photos").mkdir()
    inserted: list[str] = []
    files = scaffold(slug)
    for name, model in DOCUMENTS.items():
        if name == "plan":  # not in the scaffold
            inserted.append(canaries("plan.alternatives"))
            plan = {"alternatives": {"pistons": {inserted[-1]: {"pistons.dish": "6 cc"}}}}
            (folder / "plan.yaml").write_text(yaml.dump(plan), encoding="utf-8")
            continue
        if f"{name}.yaml" not in files:  # a file that only other engines have
            assert not private_fields(model)
            continue
        document = uncomment(files[f"{name}.yaml"])
        if name == "delivery":  # in the scaffold only as a remark
            document["accepted"] = [{"caution": "quench", "by": "JB"}]
        for path in private_fields(model):
            # A list of entries that is private as a whole has its canary in what an entry says.
            is_list = any(other.startswith(f"{path}.") for other in private_fields(model))
            steps = [*path.split("."), *(["what"] if is_list else [])]
            inserted += insert_canaries(document, steps, f"{name}.{path}")
        if name == "build":
            document["imported_from"]["cells"] = {"Job": document["imported_from"]["cells"]}
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
    return inserted


def write_pictures(folder: Path) -> list[str]:
    """Write pictures with all the metadata that a camera or a program may add; return their names."""
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
    # The canaries are in the source files.
    assert canaries("exif.words").encode() in (folder / "photos" / names[0]).read_bytes()
    assert canaries("png.author").encode() in (folder / "photos" / names[1]).read_bytes()
    return names


def occurrences_of_all(archive: Path) -> list[str]:
    """Return where any canary occurs in the output of an archive."""
    return [*occurrences(archive), *occurrences(archive, HOURS.removesuffix(" h"))]


def occurrences(archive: Path, word: str = CANARY) -> list[str]:
    """Return where a word occurs in the output of an archive: in file names, contents and picture metadata."""
    places = []
    for top in ("site", ".millbook", ".site.mirror"):
        for name, content in tiny.read_tree(archive / top).items():
            if word.lower() in name.lower():
                places.append(f"{top}/{name} (its name)")
            if content is not None and any(
                word.encode(code) in content for code in ("utf-8", "utf-16-le", "utf-16-be")
            ):
                places.append(f"{top}/{name}")
            if name.endswith(".pdf") and word.encode() in unpacked_pdf(content or b""):
                places.append(f"{top}/{name} (unpacked)")
            if name.endswith((".jpg", ".png")):
                with Image.open(io.BytesIO(content or b"")) as picture:
                    if word in repr(picture.info) or picture.getexif():
                        places.append(f"{top}/{name} (metadata)")
    return places


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    archive = tmp_path / "shop"
    tiny.use_short_pages(archive)
    return archive


def test_nothing_private_is_published(archive: Path) -> None:
    inserted = write_private_build(archive, "larch")
    assert len(set(inserted)) >= 12
    assert {canaries(f"{name}.{path}") for name, paths in PRIVATE.items() for path in paths} == set(inserted)
    tiny.write_build(archive, "ash", torque=140.0)
    report = publish(archive, archive / "site")
    assert "larch" in report.published, [str(problem) for problem in report.problems]
    assert len(list((archive / "site/builds/larch/photos").iterdir())) == 2
    assert (archive / "site/builds/larch/data/pulls.csv").is_file()
    for kind in ("dyno", "build"):
        assert b"Enginelarch" in unpacked_pdf((archive / f"site/builds/larch/{kind}-sheet.pdf").read_bytes())
    assert "Engine larch" in (archive / "site/assets/finder-data.js").read_text()
    assert occurrences_of_all(archive) == []


def test_nothing_private_is_in_the_shops_edition(archive: Path) -> None:
    """The shop's edition is a web page too, which visitors of the shop may see; its own lessons are all it adds."""
    write_private_build(archive, "larch")
    path = archive / "builds" / "larch" / "build.yaml"
    sheet = path.read_text()
    path.write_text(sheet.replace(canaries("build.lessons"), "OwnLesson"))
    report = publish(archive, archive / ".millbook" / "shop" / "site", edition=Edition.SHOP)
    assert "larch" in report.published
    assert occurrences_of_all(archive) == []
    assert any(place.endswith("larch/index.html") for place in occurrences(archive, "OwnLesson"))


def test_nothing_private_is_stored_of_a_build_with_errors(archive: Path) -> None:
    """Messages about a build with errors are printed, not stored."""
    write_private_build(archive, "larch")
    for name in ("build", "parts"):
        path = archive / "builds" / "larch" / f"{name}.yaml"
        path.write_text(path.read_text() + "nonsense: {}\n")
    tiny.write_build(archive, "ash")
    report = publish(archive, archive / "site")
    assert "larch" in dict(report.left_out)
    assert occurrences(archive) == []


def test_a_value_that_becomes_private_is_removed(archive: Path) -> None:
    folder = tiny.write_build(archive, "larch", torque=150.0)
    parts = "parts: [{part: pistons, maker: Larkmoor, %s: PublicWord}]\n"
    (folder / "parts.yaml").write_text(parts % "note")
    sheet = (folder / "build.yaml").read_text()
    (folder / "build.yaml").write_text(f"{sheet}number: PublicWord\n")
    publish(archive, archive / "site")
    assert len([place for place in occurrences(archive, "PublicWord") if place.startswith("site/")]) >= 2
    (folder / "parts.yaml").write_text(parts % "private_note")
    (folder / "build.yaml").write_text(f"{sheet}registration: PublicWord\n")
    report = publish(archive, archive / "site")
    assert report.published == ("larch",)
    assert occurrences(archive, "PublicWord") == []


@pytest.mark.parametrize("change", ["withdrawn", "in progress", "removed", "renamed", "broken"])
def test_a_withdrawn_build_is_removed_with_all_its_output(archive: Path, change: str) -> None:
    folder = tiny.write_build(archive, "larch", torque=150.0, picture=True)
    tiny.write_sheet(folder, title="PublicWord")
    for number, slug in enumerate(("ash", "birch")):
        tiny.write_build(archive, slug, number=number, torque=140.0 + number)
    publish(archive, archive / "site")
    assert len([place for place in occurrences(archive, "PublicWord") if place.startswith("site/")]) >= 5
    match change:
        case "removed":
            folder.rename(archive / "elsewhere")
        case "renamed":
            folder.rename(archive / "builds" / "alder")
            tiny.write_sheet(archive / "builds" / "alder", title="Alder")
        case "broken":
            tiny.write_sheet(folder, title="PublicWord\nnonsense: 1")
        case _:
            tiny.write_sheet(folder, title="PublicWord", status=change)
    report = publish(archive, archive / "site")
    assert "larch" not in report.published
    assert occurrences(archive, "PublicWord") == []
    # The state may have the name of an existing folder and why it is left out; no page has.
    remaining = [place for place in occurrences(archive, "larch") if not place.startswith(".millbook/state.json")]
    assert remaining == []


def test_an_unfinished_build_is_removed_from_the_public_edition(archive: Path) -> None:
    folder = tiny.write_build(archive, "larch", torque=150.0)
    tiny.write_sheet(folder, title="PublicWord", status="in progress")
    tiny.write_build(archive, "ash", torque=140.0)
    publish(archive, archive / "site", edition=Edition.PUBLIC_ALL)
    assert occurrences(archive, "PublicWord")
    publish(archive, archive / "site")
    assert occurrences(archive, "PublicWord") == []
