"""The picture that goes with a link to a build: its name, its numbers, and its curves or its cover photo."""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from builder.draw.chart_cache import hash_values
from builder.draw.style import ACCENT, INK, PAPER, QUIET, RULE, SECOND
from builder.figures.core.types import FigureSheet
from builder.publish.pages.build.headline import Headline, engine_type_words, headline
from builder.record.models.build import Build

if TYPE_CHECKING:
    from PIL import Image, ImageDraw, ImageFont

Curve = NDArray[np.float64]

SIZE = (1200, 630)
"""What services that show link previews ask for."""

_SUPERSAMPLE = 2
"""Drawn at twice the size and brought down: smooth edges."""
_MARGIN = 60
_MIDDLE = 640
_FINGERPRINT_KEY = "made-of"


@dataclass(frozen=True)
class _CardData:
    """All that stands on a card."""

    title: str
    facts: str
    numbers: tuple[Headline, ...]
    curves: tuple[Curve, Curve, Curve] | None
    """Speed, torque and power of the best pull."""
    cover: str
    """The digest of the cover photo."""


def render_card(build: Build, sheet: FigureSheet, cover: bytes | None = None, stood: Path | None = None) -> bytes:
    """The picture of one build as PNG, the same bytes for the same build.

    The right half shows the best pull's torque and power, or else the cover photo (JPEG or PNG bytes).
    Give it a build without its private fields. The card in the file `stood` is taken where it says the same.
    """
    best = sheet.session.best if sheet.session else None
    of = _CardData(
        build.build.title,
        ", ".join(filter(None, (*engine_type_words(build), build.build.purpose))),
        tuple(headline(sheet)[:4]),
        None if best is None else (best.corrected.speed, best.corrected.torque, best.corrected.power),
        hashlib.sha256(cover or b"").hexdigest(),
    )
    digest = hash_values(of)
    if stood is not None and f"{_FINGERPRINT_KEY}\0{digest}".encode() in (png := stood.read_bytes()):
        return png
    return _paint(of, cover, digest)


def _paint(of: _CardData, cover: bytes | None, digest: str) -> bytes:
    from PIL import Image, ImageDraw, PngImagePlugin

    card = Image.new("RGB", (SIZE[0] * _SUPERSAMPLE, SIZE[1] * _SUPERSAMPLE), PAPER)
    draw = ImageDraw.Draw(card)
    if of.curves is not None:
        _curves(draw, *of.curves)
    elif cover is not None:
        _photo(card, cover)
    right = _MIDDLE - 20 if of.curves is not None or cover is not None else SIZE[0] - _MARGIN
    _words(draw, of, right - _MARGIN)
    _rule(draw)
    small = card.resize(SIZE, Image.Resampling.LANCZOS)
    colours = 128 if of.curves is None and cover is not None else 48
    out, note = io.BytesIO(), PngImagePlugin.PngInfo()
    note.add_text(_FINGERPRINT_KEY, digest)
    small.quantize(colours, dither=Image.Dither.NONE).save(out, "PNG", optimize=True, pnginfo=note)
    return out.getvalue()


def _font(size: float, serif: bool = False, bold: bool = False) -> ImageFont.FreeTypeFont:
    """The typefaces that come with matplotlib: the same on every machine."""
    from matplotlib import get_data_path
    from PIL import ImageFont

    name = f"DejaVu{'Serif' if serif else 'Sans'}{'-Bold' if bold else ''}.ttf"
    return ImageFont.truetype(f"{get_data_path()}/fonts/ttf/{name}", round(size * _SUPERSAMPLE))


def _text(
    draw: ImageDraw.ImageDraw, at: tuple[float, float], words: str, font: ImageFont.FreeTypeFont, colour: str
) -> float:
    """Set one line; returns its width in the card's own pixels."""
    draw.text((at[0] * _SUPERSAMPLE, at[1] * _SUPERSAMPLE), words, font=font, fill=colour, anchor="ls")
    return font.getlength(words) / _SUPERSAMPLE


def _lines(words: str, font: ImageFont.FreeTypeFont, width: float, most: int) -> list[str]:
    """Words broken into lines no wider than that; what is left after the last is cut."""
    lines: list[str] = []
    for word in words.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and font.getlength(longer) <= width * _SUPERSAMPLE:
            lines[-1] = longer
        else:
            lines.append(word)
    if len(lines) > most:
        lines = [*lines[: most - 1], f"{lines[most - 1]} …"]
    fitted = []
    for line in lines:
        while len(line) > 2 and font.getlength(line) > width * _SUPERSAMPLE:
            line = f"{line[:-2]}…"
        fitted.append(line)
    return fitted


def _words(draw: ImageDraw.ImageDraw, of: _CardData, width: float) -> None:
    title = _font(46, serif=True, bold=True)
    y = 120.0
    for line in _lines(of.title, title, width, 3):
        _text(draw, (_MARGIN, y), line, title, INK)
        y += 56
    quiet = _font(22)
    y += 2
    for line in _lines(of.facts, quiet, width, 2):
        _text(draw, (_MARGIN, y), line, quiet, QUIET)
        y += 31
    number, unit = _font(44, serif=True), _font(22)
    y = SIZE[1] - 84 - 96 * ((len(of.numbers) + 1) // 2 - 1)
    for index, item in enumerate(of.numbers):
        x, down = _MARGIN + (index % 2) * width / 2, y + 96 * (index // 2)
        _text(draw, (x, down - 46), item.title, _font(18), QUIET)
        wide = _text(draw, (x, down), item.number, number, ACCENT if index == 0 else INK)
        _text(draw, (x + wide + 8, down), item.unit, unit, INK)


def _curves(draw: ImageDraw.ImageDraw, speed: Curve, torque: Curve, power: Curve) -> None:
    """Torque and power over engine speed, each to its own height, as a sketch without scales."""
    left, right, top, bottom = _MIDDLE + 30.0, SIZE[0] - _MARGIN, 120.0, SIZE[1] - 96.0
    for line in range(5):
        y = top + (bottom - top) * line / 4
        draw.line(
            [(left * _SUPERSAMPLE, y * _SUPERSAMPLE), (right * _SUPERSAMPLE, y * _SUPERSAMPLE)],
            fill=RULE,
            width=_SUPERSAMPLE,
        )
    for name, values, colour, where in (("torque", torque, ACCENT, 0.0), ("power", power, SECOND, 1.0)):
        good = np.isfinite(speed) & np.isfinite(values)
        if good.sum() < 2 or np.ptp(speed[good]) <= 0 or np.nanmax(values[good]) <= 0:
            continue
        n, v = speed[good], values[good]
        x = left + (right - left) * (n - n.min()) / np.ptp(n)
        y = bottom - (bottom - top) * 0.94 * v / v.max()
        points = [(float(a) * _SUPERSAMPLE, float(b) * _SUPERSAMPLE) for a, b in zip(x, y, strict=True)]
        draw.line(points, fill=colour, width=5 * _SUPERSAMPLE, joint="curve")
        peak = points[int(np.argmax(v))]
        radius = 8 * _SUPERSAMPLE
        draw.ellipse(
            [peak[0] - radius, peak[1] - radius, peak[0] + radius, peak[1] + radius], fill=PAPER, outline=colour,
            width=4 * _SUPERSAMPLE,
        )  # fmt: skip
        font = _font(22)
        wide = font.getlength(name) / _SUPERSAMPLE
        at = left if where == 0 else right - wide
        _text(draw, (at, 96), name, font, colour)
    low, high = (f"{60 * float(end):,.0f} rpm" for end in (np.nanmin(speed), np.nanmax(speed)))
    small = _font(18)
    _text(draw, (left, SIZE[1] - 62), low, small, QUIET)
    _text(draw, (right - small.getlength(high) / _SUPERSAMPLE, SIZE[1] - 62), high, small, QUIET)


def _photo(card: Image.Image, cover: bytes) -> None:
    from PIL import Image, ImageOps

    room = ((SIZE[0] - _MIDDLE) * _SUPERSAMPLE, SIZE[1] * _SUPERSAMPLE)
    with Image.open(io.BytesIO(cover)) as photo:
        card.paste(ImageOps.fit(photo.convert("RGB"), room), (_MIDDLE * _SUPERSAMPLE, 0))


def _rule(draw: ImageDraw.ImageDraw) -> None:
    """The steel rule along the edge that the pages carry, too."""
    for tick in range(0, SIZE[0], 10):
        long = 16 if tick % 100 == 0 else 11 if tick % 50 == 0 else 6
        draw.line(
            [(tick * _SUPERSAMPLE, 0), (tick * _SUPERSAMPLE, long * _SUPERSAMPLE)], fill=QUIET, width=_SUPERSAMPLE
        )
