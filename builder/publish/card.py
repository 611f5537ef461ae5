"""The picture that goes with a link to a build: its name, its numbers, and its curves or its cover photo."""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from builder.draw.picture import digest_of_values
from builder.draw.style import ACCENT, INK, PAPER, QUIET, RULE, SECOND
from builder.figures.figure import FigureSheet
from builder.publish.headline import Headline, headline, kinds
from builder.record.build import Build

if TYPE_CHECKING:
    from PIL import Image, ImageDraw, ImageFont

Curve = NDArray[np.float64]

SIZE = (1200, 630)
"""What services that show link previews ask for."""

_TWICE = 2
"""Drawn at twice the size and brought down: smooth edges."""
_EDGE = 60
_MIDDLE = 640
_MADE_OF = "made-of"


@dataclass(frozen=True)
class _Card:
    """All that stands on a card."""

    title: str
    facts: str
    numbers: tuple[Headline, ...]
    curves: tuple[Curve, Curve, Curve] | None
    """Speed, torque and power of the best pull."""
    cover: str
    """The digest of the cover photo."""


def card_png(build: Build, sheet: FigureSheet, cover: bytes | None = None, stood: Path | None = None) -> bytes:
    """The picture of one build as PNG, the same bytes for the same build.

    The right half shows the best pull's torque and power, or else the cover photo (JPEG or PNG bytes).
    Give it a build without its private fields. The card in the file `stood` is taken where it says the same.
    """
    best = sheet.session.best if sheet.session else None
    of = _Card(
        build.build.title,
        ", ".join(filter(None, (*kinds(build), build.build.purpose))),
        tuple(headline(build, sheet)[:4]),
        None if best is None else (best.speed, best.torque, best.power),
        hashlib.sha256(cover or b"").hexdigest(),
    )
    digest = digest_of_values(of)
    if stood is not None and f"{_MADE_OF}\0{digest}".encode() in (png := stood.read_bytes()):
        return png
    return _drawn(of, cover, digest)


def _drawn(of: _Card, cover: bytes | None, digest: str) -> bytes:
    from PIL import Image, ImageDraw, PngImagePlugin

    card = Image.new("RGB", (SIZE[0] * _TWICE, SIZE[1] * _TWICE), PAPER)
    draw = ImageDraw.Draw(card)
    if of.curves is not None:
        _curves(draw, *of.curves)
    elif cover is not None:
        _photo(card, cover)
    right = _MIDDLE - 20 if of.curves is not None or cover is not None else SIZE[0] - _EDGE
    _words(draw, of, right - _EDGE)
    _rule(draw)
    small = card.resize(SIZE, Image.Resampling.LANCZOS)
    colours = 128 if of.curves is None and cover is not None else 48
    out, note = io.BytesIO(), PngImagePlugin.PngInfo()
    note.add_text(_MADE_OF, digest)
    small.quantize(colours, dither=Image.Dither.NONE).save(out, "PNG", optimize=True, pnginfo=note)
    return out.getvalue()


def _font(size: float, serif: bool = False, bold: bool = False) -> ImageFont.FreeTypeFont:
    """The typefaces that come with matplotlib: the same on every machine."""
    from matplotlib import get_data_path
    from PIL import ImageFont

    name = f"DejaVu{'Serif' if serif else 'Sans'}{'-Bold' if bold else ''}.ttf"
    return ImageFont.truetype(f"{get_data_path()}/fonts/ttf/{name}", round(size * _TWICE))


def _text(
    draw: ImageDraw.ImageDraw, at: tuple[float, float], words: str, font: ImageFont.FreeTypeFont, colour: str
) -> float:
    """Set one line; returns its width in the card's own pixels."""
    draw.text((at[0] * _TWICE, at[1] * _TWICE), words, font=font, fill=colour, anchor="ls")
    return font.getlength(words) / _TWICE


def _lines(words: str, font: ImageFont.FreeTypeFont, width: float, most: int) -> list[str]:
    """Words broken into lines no wider than that; what is left after the last is cut."""
    lines: list[str] = []
    for word in words.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and font.getlength(longer) <= width * _TWICE:
            lines[-1] = longer
        else:
            lines.append(word)
    if len(lines) > most:
        lines = [*lines[: most - 1], f"{lines[most - 1]} …"]
    fitted = []
    for line in lines:
        while len(line) > 2 and font.getlength(line) > width * _TWICE:
            line = f"{line[:-2]}…"
        fitted.append(line)
    return fitted


def _words(draw: ImageDraw.ImageDraw, of: _Card, width: float) -> None:
    title = _font(46, serif=True, bold=True)
    y = 120.0
    for line in _lines(of.title, title, width, 3):
        _text(draw, (_EDGE, y), line, title, INK)
        y += 56
    quiet = _font(22)
    y += 2
    for line in _lines(of.facts, quiet, width, 2):
        _text(draw, (_EDGE, y), line, quiet, QUIET)
        y += 31
    number, unit = _font(44, serif=True), _font(22)
    y = SIZE[1] - 84 - 96 * ((len(of.numbers) + 1) // 2 - 1)
    for index, item in enumerate(of.numbers):
        x, down = _EDGE + (index % 2) * width / 2, y + 96 * (index // 2)
        _text(draw, (x, down - 46), item.title, _font(18), QUIET)
        wide = _text(draw, (x, down), item.number, number, ACCENT if index == 0 else INK)
        _text(draw, (x + wide + 8, down), item.unit, unit, INK)


def _curves(draw: ImageDraw.ImageDraw, speed: Curve, torque: Curve, power: Curve) -> None:
    """Torque and power over engine speed, each to its own height, as a sketch without scales."""
    left, right, top, bottom = _MIDDLE + 30.0, SIZE[0] - _EDGE, 120.0, SIZE[1] - 96.0
    for line in range(5):
        y = top + (bottom - top) * line / 4
        draw.line([(left * _TWICE, y * _TWICE), (right * _TWICE, y * _TWICE)], fill=RULE, width=_TWICE)
    for name, values, colour, where in (("torque", torque, ACCENT, 0.0), ("power", power, SECOND, 1.0)):
        good = np.isfinite(speed) & np.isfinite(values)
        if good.sum() < 2 or np.ptp(speed[good]) <= 0 or np.nanmax(values[good]) <= 0:
            continue
        n, v = speed[good], values[good]
        x = left + (right - left) * (n - n.min()) / np.ptp(n)
        y = bottom - (bottom - top) * 0.94 * v / v.max()
        points = [(float(a) * _TWICE, float(b) * _TWICE) for a, b in zip(x, y, strict=True)]
        draw.line(points, fill=colour, width=5 * _TWICE, joint="curve")
        peak = points[int(np.argmax(v))]
        radius = 8 * _TWICE
        draw.ellipse(
            [peak[0] - radius, peak[1] - radius, peak[0] + radius, peak[1] + radius], fill=PAPER, outline=colour,
            width=4 * _TWICE,
        )  # fmt: skip
        font = _font(22)
        wide = font.getlength(name) / _TWICE
        at = left if where == 0 else right - wide
        _text(draw, (at, 96), name, font, colour)
    low, high = (f"{60 * float(end):,.0f} rpm" for end in (np.nanmin(speed), np.nanmax(speed)))
    small = _font(18)
    _text(draw, (left, SIZE[1] - 62), low, small, QUIET)
    _text(draw, (right - small.getlength(high) / _TWICE, SIZE[1] - 62), high, small, QUIET)


def _photo(card: Image.Image, cover: bytes) -> None:
    from PIL import Image, ImageOps

    room = ((SIZE[0] - _MIDDLE) * _TWICE, SIZE[1] * _TWICE)
    with Image.open(io.BytesIO(cover)) as photo:
        card.paste(ImageOps.fit(photo.convert("RGB"), room), (_MIDDLE * _TWICE, 0))


def _rule(draw: ImageDraw.ImageDraw) -> None:
    """The steel rule along the edge that the pages carry, too."""
    for tick in range(0, SIZE[0], 10):
        long = 16 if tick % 100 == 0 else 11 if tick % 50 == 0 else 6
        draw.line([(tick * _TWICE, 0), (tick * _TWICE, long * _TWICE)], fill=QUIET, width=_TWICE)
