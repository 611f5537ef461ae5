"""No private field of the record is in any file of the pack, except those that the shop allows the customer."""

from __future__ import annotations

import dataclasses
import io
import zipfile
from pathlib import Path
from typing import Any

import pytest
import yaml
from PIL import Image, PngImagePlugin

from builder.figures.core.types import FigureSheet
from builder.handover.binder_content import binder_of
from builder.handover.pack import customer_view
from builder.handover.packs import handover
from builder.handover.redacted_record import delivered_record
from builder.record.load import errors_in, read_build, read_shop
from builder.record.models.build import DOCUMENTS, Build
from builder.record.models.fields import RecordModel, notes_of
from builder.record.models.parts import Part, Parts
from builder.record.models.shop import Shop
from builder.record.redaction import private_fields, without_private
from builder.record.schema_shape import shape_of
from builder.record.traversal import field_at
from tests.support.handover_samples import (
    FULL,
    archive_with,
    change_everywhere,
    load_yaml,
    unpacked_pdf,
    write_yaml,
)

CANARY = "QZXCANARY"


def _kind(path: str) -> str:
    document, *steps = path.split(".")
    return shape_of(field_at(DOCUMENTS[document], tuple(steps))).kind  # type: ignore[arg-type]


PRIVATE = {f"{name}.{path}": who for name, model in DOCUMENTS.items() for path, who in private_fields(model).items()}
PRIVATE_TEXTS = [path for path in PRIVATE if _kind(path) in ("text", "prose")]
KEPT = ("build.customer.name", "build.registration", "build.engine_serial")


def _mark(path: str) -> str:
    return f"{CANARY}-{path.replace('.', '-').replace('_', '-')}-END"


def _marked(path: str, value: Any, model: type[RecordModel], name: str) -> Any:
    """Return a canary for a private text; a private number stays, and a private list has its canary in its entries."""
    info = model.model_fields[name]
    return _mark(path) if notes_of(info).private and shape_of(info).kind in ("text", "prose") else value


@pytest.fixture(scope="module")
def pack(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A pack of a build with a canary in every private field, every comment, every photo, and in another build."""
    archive = archive_with(tmp_path_factory.mktemp("canary"))
    home = archive / "builds" / FULL

    sheet = load_yaml(archive, FULL, "build")
    write_yaml(home / "build.yaml", {"customer": {}, "imported_from": {}, **sheet})
    (home / "photos.yaml").unlink(missing_ok=True)
    change_everywhere(archive, FULL, _marked)
    for path in home.glob("*.yaml"):
        path.write_text(f"# {_mark('comment')}\n{path.read_text(encoding='utf-8')}", encoding="utf-8")
    _photos(home)
    _mark_logs(home)
    other = archive / "builds" / "other-engine"
    other.mkdir()
    theirs = {"title": _mark("other title"), "number": _mark("other"), "customer": {"name": _mark("other customer")}}
    write_yaml(other / "build.yaml", {**theirs, "status": "finished", "engine": {"cylinders": 4}})
    build, problems = read_build(home, archive)
    assert build is not None
    assert not errors_in(problems), problems
    outcome = handover(archive, (FULL,), out=archive / "packs")
    assert outcome.ok, outcome.lines
    return archive / "packs" / FULL


def _mark_logs(home: Path) -> None:
    """Put a canary into the name of every log, above its header and below its rows."""
    text = (home / "dyno.yaml").read_text(encoding="utf-8")
    for number, path in enumerate(sorted((home / "dyno").glob("*.csv"))):
        name = f"{_mark('log name')}-{number}.csv"
        words = path.read_text(encoding="utf-8-sig")
        path.with_name(name).write_text(f"{_mark('log head')}\n{words}{_mark('log foot')}\n", encoding="utf-8")
        path.unlink()
        text = text.replace(path.name, name)
    (home / "dyno.yaml").write_text(text, encoding="utf-8")


def _photos(home: Path) -> None:
    (home / "photos").mkdir(exist_ok=True)
    exif = Image.Exif()
    exif[0x010E], exif[0x9286], exif[0x013B] = _mark("description"), _mark("comment"), _mark("artist")
    Image.new("RGB", (300, 200), "#8a3b12").save(
        home / "photos" / f"{_mark('photo name')}.jpg", exif=exif, comment=_mark("jpeg").encode()
    )
    info = PngImagePlugin.PngInfo()
    info.add_text("Comment", _mark("png"))
    Image.new("RGB", (300, 200), "#1f5a73").save(home / "photos" / "screen.png", pnginfo=info)
    write_yaml(home / "photos.yaml", {"photos": [
        {"file": f"photos/{_mark('photo name')}.jpg", "alt": "a brown field", "section": "cover"},
        {"file": "photos/screen.png", "alt": "a blue field", "caption": "blue"},
    ]})  # fmt: skip


def _bytes_of(pack: Path) -> dict[str, bytes]:
    found = {}
    for path in sorted(pack.rglob("*")):
        if path.is_file():
            content = path.read_bytes()
            found[path.relative_to(pack).as_posix()] = unpacked_pdf(content) if path.suffix == ".pdf" else content
    with zipfile.ZipFile(pack.with_name(f"{pack.name}.zip")) as archive:
        found["the zip itself"] = pack.with_name(f"{pack.name}.zip").read_bytes()
        for name in archive.namelist():
            found[f"zip:{name}"] = unpacked_pdf(archive.read(name)) if name.endswith(".pdf") else archive.read(name)
    return found


def _forms(mark: str) -> list[bytes]:
    return [
        form
        for coding in ("utf-8", "utf-16-be", "utf-16-le")
        for form in (mark.encode(coding), mark.lower().encode(coding))
    ]


def test_every_private_field_carries_a_canary(pack: Path) -> None:
    home = pack.parents[1] / "builds" / FULL
    written = {p.name: p.read_text(encoding="utf-8") for p in home.glob("*.yaml")}
    there = [path for path in PRIVATE_TEXTS if f"{path.partition('.')[0]}.yaml" in written]
    assert len(there) >= 12
    for path in there:
        assert _mark(path) in written[f"{path.partition('.')[0]}.yaml"], path


def test_no_private_text_is_in_the_pack(pack: Path) -> None:
    allowed = {_mark(path) for path in KEPT}
    for name, content in _bytes_of(pack).items():
        for mark in allowed:
            for form in _forms(mark):
                content = content.replace(form, b"")
        for form in _forms(CANARY):
            at = content.find(form)
            assert at < 0, f"{name}: {content[max(0, at - 40) : at + 80]!r}"


def test_what_the_shop_allows_is_in_the_pack(pack: Path) -> None:
    """Else the test above would pass on an empty pack, or on one that cannot be searched."""
    inside = unpacked_pdf((pack / "binder.pdf").read_bytes())
    delivered = yaml.safe_load((pack / "data" / "record" / "build.yaml").read_text(encoding="utf-8"))
    for path in KEPT:
        assert _mark(path).encode() in inside
    assert delivered["customer"] == {"name": _mark("build.customer.name")}
    assert delivered["registration"] == _mark("build.registration")
    assert "price" not in delivered


def test_what_the_shop_does_not_allow_is_not_in_the_pack(tmp_path: Path) -> None:
    archive = archive_with(tmp_path, "irrigation-single", shop={"handover_holds": []})
    sheet = load_yaml(archive, "irrigation-single", "build")
    sheet |= {"customer": {"name": _mark("name")}, "registration": _mark("registration")}
    write_yaml(archive / "builds" / "irrigation-single" / "build.yaml", sheet)
    assert handover(archive, ("irrigation-single",)).ok
    for name, content in _bytes_of(archive / "handover" / "irrigation-single").items():
        assert CANARY.encode() not in content, name


CUSTOMER_FIELDS = sorted(path for path in PRIVATE_TEXTS if PRIVATE[path] == "customer")


@pytest.mark.parametrize("field", sorted(path for path, who in PRIVATE.items() if who == "shop"))
def test_no_field_private_to_the_shop_can_be_allowed(tmp_path: Path, field: str) -> None:
    archive = archive_with(tmp_path, "irrigation-single", shop={"handover_holds": [field]})
    _, (problem,) = read_shop(archive)
    assert "for the shop alone" in problem.message
    build, _ = read_build(archive / "builds" / "irrigation-single", archive)
    assert build is not None
    parts = Parts(parts=(Part(part="piston", price="260", supplier="A", private_note="B"),))
    part = (without_private(dataclasses.replace(build, parts=parts), [field]).parts or parts).parts[0]
    assert (part.price, part.supplier, part.private_note) == (None, None, None)


@pytest.mark.parametrize("field", CUSTOMER_FIELDS)
def test_every_field_private_to_the_customer_can_be_allowed(tmp_path: Path, field: str) -> None:
    archive = archive_with(tmp_path, "irrigation-single", shop={"handover_holds": [field]})
    home = archive / "builds" / "irrigation-single"
    if load_yaml(archive, "irrigation-single", "parts") is None:
        write_yaml(home / "parts.yaml", {"parts": [{"part": "piston", "serial": "1"}]})
    sheet = load_yaml(archive, "irrigation-single", "build")
    write_yaml(home / "build.yaml", {"customer": {}, **sheet})
    bottom = load_yaml(archive, "irrigation-single", "bottom_end")
    write_yaml(home / "bottom_end.yaml", {**bottom, "deck_clearance": "0.090 in"})
    write_yaml(home / "top_end.yaml", {"gasket": {"thickness": "0.040 in"}})
    service = {"when": "2100-01-01", "what": "oil", "oil_analysis": {"fuel": "1 %"}}
    write_yaml(home / "service.yaml", {"entries": [service]})
    accepted = [{"caution": "quench", "why": "seen and accepted", "by": "BT"}]
    write_yaml(home / "delivery.yaml", {**load_yaml(archive, "irrigation-single", "delivery"), "accepted": accepted})

    change_everywhere(archive, "irrigation-single", _marked)
    assert read_shop(archive)[1] == []
    build, problems = read_build(home, archive)
    assert build is not None, problems
    shop = read_shop(archive)[0]
    record = delivered_record(build, shop.handover_holds, (), {})
    binder = str(binder_of(*_view(build, shop), shop, archive))
    for path in CUSTOMER_FIELDS:
        shown = path == field
        assert (_mark(path) in b"".join(record.files.values()).decode()) == shown, path
        # What was done after delivery is in the record of the pack alone.
        assert (_mark(path) in binder) == (shown and not path.startswith("service.")), path


def _view(build: Build, shop: Shop) -> tuple[Build, FigureSheet]:
    view = customer_view(build, shop)
    return view.build, view.sheet


def test_photos_are_encoded_again(pack: Path) -> None:
    for path in pack.rglob("*"):
        if path.suffix in (".jpg", ".png"):
            with Image.open(io.BytesIO(path.read_bytes())) as picture:
                assert not picture.getexif()
                assert not {"comment", "Comment"} & set(picture.info)
