"""Archives that publish in a moment, with small records and short pages; and the comparison of two folders."""

from __future__ import annotations

import io
from pathlib import Path

SHEET = """\
title: {title}
status: {status}
finished: 2021-0{month}-12
family: Pennant
engine: {{layout: inline, cylinders: 4, fuel: petrol, red_line: 6500 rpm}}
"""
BOTTOM_END = """\
block: {{deck_height: {{listed: 9.025 in, measured: 9.018 in}}, bores: {bore} in}}
crankshaft: {{stroke: 3.480 in}}
rods: {{length: 5.700 in}}
pistons: {{compression_height: 1.558 in, dish: 6.2 cc}}
"""
SESSION = """\
readings: observed
conditions: {barometer: 29.61 inHg, barometer_is: station, temperature: 72 degF, relative_humidity: 45 %}
pulls: [{name: first, file: dyno/first.csv}]
"""
SHORT = dict.fromkeys(("methods", "fields", "glossary"), "# Short\n\nA page that is not tested.\n")
"""Pages that do not depend on any build, and take longest."""


def write_build(
    archive: Path, slug: str, *, number: int = 1, torque: float | None = None, picture: bool = False
) -> Path:
    """Write a finished build; with a pull where `torque` [N m] is given, with a photo where `picture` is set."""
    folder = archive / "builds" / slug
    folder.mkdir(parents=True)
    write_sheet(folder, title=f"Engine {slug}", month=number % 9 + 1)
    (folder / "bottom_end.yaml").write_text(BOTTOM_END.format(bore=4.0 + number / 1000))
    if torque is not None:
        (folder / "dyno").mkdir()
        (folder / "dyno.yaml").write_text(SESSION)
        write_log(folder, torque)
    if picture:
        write_photo(folder, number)
    return folder


def write_sheet(folder: Path, *, title: str, status: str = "finished", month: int = 1) -> None:
    """Write the build's first document."""
    (folder / "build.yaml").write_text(SHEET.format(title=title, status=status, month=month))


def write_log(folder: Path, torque: float) -> None:
    """Write the log of one pull that peaks at 4000 rpm."""
    rows = [f"{speed},{torque * (1 - ((speed - 4000) / 6000) ** 2):.2f}\n" for speed in range(2500, 6001, 250)]
    (folder / "dyno" / "first.csv").write_text("RPM,Torque (N m)\n" + "".join(rows))


def write_photo(folder: Path, colour: int) -> None:
    """Write a small photo that the record names."""
    from PIL import Image

    out = io.BytesIO()
    Image.new("RGB", (24, 16), (colour * 40 % 256, 90, 160)).save(out, "PNG")
    (folder / "photos").mkdir(exist_ok=True)
    (folder / "photos" / "deck.png").write_bytes(out.getvalue())
    (folder / "photos.yaml").write_text("photos: [{file: photos/deck.png, alt: A deck, caption: The deck}]\n")


def use_short_pages(archive: Path) -> None:
    """Give the archive short templates of its own for the pages that take longest."""
    own = archive / "site_templates" / "pages"
    own.mkdir(parents=True)
    for name, page in SHORT.items():
        (own / f"{name}.md.j2").write_text(page)


def read_tree(folder: Path) -> dict[str, bytes | None]:
    """Return every file below a folder with its content, and every folder with None."""
    return {
        path.relative_to(folder).as_posix(): None if path.is_dir() else path.read_bytes()
        for path in sorted(folder.rglob("*"))
    }


def differing_files(one: Path, other: Path) -> list[str]:
    """Return the names of files and folders that differ between two folders, byte for byte."""
    a, b = read_tree(one), read_tree(other)
    return sorted(name for name in a.keys() | b.keys() if a.get(name, 0) != b.get(name, 0))
