"""The preview picture of a link to a build: its title, its numbers, and its curves or its cover photo."""

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
from builder.publish.sheets.glyphs import font_folder
from builder.record.models.build import Build

if TYPE_CHECKING:
    from PIL import Image, ImageDraw, ImageFont

Curve = NDArray[np.float64]

SIZE = (1200, 630)
"""Width and height [px] that link previews use."""

_SUPERSAMPLE = 2
"""The card is painted this many times as large and scaled down, which smooths its edges."""
_MARGIN = 60
_MIDDLE = 640
"""Where the right half begins [px]."""
_FINGERPRINT_KEY = "made-of"
"""The PNG text chunk with the hash of the card's data."""


@dataclass(frozen=True)
class _CardData:
    """The contents of a card."""

    title: str
    facts: str
    numbers: tuple[Headline, ...]
    curves: tuple[Curve, Curve, Curve] | None
    """Speed, torque and power of the engine as delivered."""
    caption: str
    """What the curves show."""
    cover: str
    """The hash of the cover photo."""


def render_card(build: Build, sheet: FigureSheet, cover: bytes | None = None, previous: Path | None = None) -> bytes:
    """Return the card of a build as PNG; the same build gives the same bytes.

    The right half shows torque and power as delivered, or else the cover photo (JPEG or PNG bytes). The build
    must be without its private fields. The file `previous` is returned instead where it has the same contents.
    """
    session = sheet.session
    delivered = session.delivered if session else None
    standard = session.standard.name if session and session.is_corrected else "as logged"
    data = _CardData(
        build.build.title,
        ", ".join(filter(None, (*engine_type_words(build), build.build.purpose))),
        tuple(headline(sheet)[:4]),
        None
        if delivered is None
        else (delivered.corrected.speed, delivered.corrected.torque, delivered.corrected.power),
        f"as delivered, {standard}",
        hashlib.sha256(cover or b"").hexdigest(),
    )
    fingerprint = hash_values(data)
    if previous is not None and f"{_FINGERPRINT_KEY}\0{fingerprint}".encode() in (png := previous.read_bytes()):
        return png
    return _paint(data, cover, fingerprint)


def _paint(data: _CardData, cover: bytes | None, fingerprint: str) -> bytes:
    from PIL import Image, ImageDraw, PngImagePlugin

    card = Image.new("RGB", (SIZE[0] * _SUPERSAMPLE, SIZE[1] * _SUPERSAMPLE), PAPER)
    draw = ImageDraw.Draw(card)
    if data.curves is not None:
        _curves(draw, *data.curves, data.caption)
    elif cover is not None:
        _photo(card, cover)
    right = _MIDDLE - 20 if data.curves is not None or cover is not None else SIZE[0] - _MARGIN
    _texts(draw, data, right - _MARGIN)
    _rule(draw)
    small = card.resize(SIZE, Image.Resampling.LANCZOS)
    colours = 96 if data.curves is None and cover is not None else 48
    out, metadata = io.BytesIO(), PngImagePlugin.PngInfo()
    metadata.add_text(_FINGERPRINT_KEY, fingerprint)
    small.quantize(colours, dither=Image.Dither.NONE).save(out, "PNG", optimize=True, pnginfo=metadata)
    return out.getvalue()


def _font(size: float, serif: bool = False, bold: bool = False) -> ImageFont.FreeTypeFont:
    """Return a typeface that comes with matplotlib, so that every machine has the same."""
    from PIL import ImageFont

    name = f"DejaVu{'Serif' if serif else 'Sans'}{'-Bold' if bold else ''}.ttf"
    return ImageFont.truetype(f"{font_folder()}/{name}", round(size * _SUPERSAMPLE))


def _text(
    draw: ImageDraw.ImageDraw, position: tuple[float, float], text: str, font: ImageFont.FreeTypeFont, colour: str
) -> float:
    """Draw one line and return its width in pixels of the card."""
    draw.text((position[0] * _SUPERSAMPLE, position[1] * _SUPERSAMPLE), text, font=font, fill=colour, anchor="ls")
    return font.getlength(text) / _SUPERSAMPLE


def _lines(text: str, font: ImageFont.FreeTypeFont, width: float, max_lines: int) -> list[str]:
    """Return the text in lines of at most that width [px]; what does not fit into the last is cut."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and font.getlength(longer) <= width * _SUPERSAMPLE:
            lines[-1] = longer
        else:
            lines.append(word)
    if len(lines) > max_lines:
        lines = [*lines[: max_lines - 1], f"{lines[max_lines - 1]} …"]
    fitted = []
    for line in lines:
        while len(line) > 2 and font.getlength(line) > width * _SUPERSAMPLE:
            line = f"{line[:-2]}…"
        fitted.append(line)
    return fitted


def _texts(draw: ImageDraw.ImageDraw, data: _CardData, width: float) -> None:
    title = _font(46, serif=True, bold=True)
    y = 120.0
    for line in _lines(data.title, title, width, 3):
        _text(draw, (_MARGIN, y), line, title, INK)
        y += 56
    quiet = _font(22)
    y += 2
    for line in _lines(data.facts, quiet, width, 2):
        _text(draw, (_MARGIN, y), line, quiet, QUIET)
        y += 31
    number, unit = _font(44, serif=True), _font(22)
    y = SIZE[1] - 84 - 96 * ((len(data.numbers) + 1) // 2 - 1)
    for index, item in enumerate(data.numbers):
        x, baseline = _MARGIN + (index % 2) * width / 2, y + 96 * (index // 2)
        _text(draw, (x, baseline - 46), item.title, _font(18), QUIET)
        number_width = _text(draw, (x, baseline), item.number, number, ACCENT if index == 0 else INK)
        _text(draw, (x + number_width + 8, baseline), item.unit, unit, INK)


def _curves(draw: ImageDraw.ImageDraw, speed: Curve, torque: Curve, power: Curve, caption: str) -> None:
    """Draw torque and power over engine speed, each scaled to full height, without axes."""
    left, right, top, bottom = _MIDDLE + 30.0, SIZE[0] - _MARGIN, 120.0, SIZE[1] - 96.0
    for line in range(5):
        y = top + (bottom - top) * line / 4
        draw.line(
            [(left * _SUPERSAMPLE, y * _SUPERSAMPLE), (right * _SUPERSAMPLE, y * _SUPERSAMPLE)],
            fill=RULE,
            width=_SUPERSAMPLE,
        )
    for name, values, colour in (("torque", torque, ACCENT), ("power", power, SECOND)):
        finite = np.isfinite(speed) & np.isfinite(values)
        if finite.sum() < 2 or np.ptp(speed[finite]) <= 0 or np.nanmax(values[finite]) <= 0:
            continue
        n, v = speed[finite], values[finite]
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
        label_x = left if name == "torque" else right - font.getlength(name) / _SUPERSAMPLE
        _text(draw, (label_x, 96), name, font, colour)
    low, high = (f"{60 * float(end):,.0f} rpm" for end in (np.nanmin(speed), np.nanmax(speed)))
    small = _font(18)
    _text(draw, (left, SIZE[1] - 62), low, small, QUIET)
    middle = (left + right - small.getlength(caption) / _SUPERSAMPLE) / 2
    _text(draw, (middle, SIZE[1] - 32), caption, small, QUIET)
    _text(draw, (right - small.getlength(high) / _SUPERSAMPLE, SIZE[1] - 62), high, small, QUIET)


def _photo(card: Image.Image, cover: bytes) -> None:
    from PIL import Image, ImageOps

    size = ((SIZE[0] - _MIDDLE) * _SUPERSAMPLE, SIZE[1] * _SUPERSAMPLE)
    with Image.open(io.BytesIO(cover)) as photo:
        card.paste(ImageOps.fit(photo.convert("RGB"), size), (_MIDDLE * _SUPERSAMPLE, 0))


def _rule(draw: ImageDraw.ImageDraw) -> None:
    """Draw the ticks of a steel rule along the top edge, as on the pages."""
    for tick in range(0, SIZE[0], 10):
        length = 16 if tick % 100 == 0 else 11 if tick % 50 == 0 else 6
        draw.line(
            [(tick * _SUPERSAMPLE, 0), (tick * _SUPERSAMPLE, length * _SUPERSAMPLE)], fill=QUIET, width=_SUPERSAMPLE
        )
