"""Faces for the pictures: a dial, a rule, a degree wheel, drawn flat and laid on the parts."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from tests.demo.renderer import Points


def texture(image: Image.Image, across: float, pick: tuple[int, int]) -> Callable[[Points], Points]:
    """Colour from a square picture laid on the plane of two axes, its middle at the origin."""
    pixels = (np.asarray(image.convert("RGB"), dtype=np.float32) / 255) ** 2.2
    size = pixels.shape[0]

    def colour(p: Points) -> Points:
        u = np.clip(((p[:, pick[0]] / across) + 0.5) * size, 0, size - 1).astype(int)
        v = np.clip((0.5 - (p[:, pick[1]] / across)) * size, 0, size - 1).astype(int)
        return pixels[v, u]

    return colour


def _font(size: int) -> ImageFont.ImageFont | ImageFont.FreeTypeFont:
    return ImageFont.load_default(size)


def dial(hand: float, marks: int = 100, numbers: int = 10) -> Image.Image:
    """The face of a dial gauge, its hand so many divisions round."""
    size = 900
    face = Image.new("RGB", (size, size), (244, 241, 232))
    draw = ImageDraw.Draw(face)
    middle = size / 2
    for mark in range(marks):
        angle = np.radians(mark * 360 / marks - 90)
        long = mark % (marks // numbers) == 0
        inner = 330 if long else (352 if mark % 5 == 0 else 368)
        draw.line(
            [
                (middle + inner * np.cos(angle), middle + inner * np.sin(angle)),
                (middle + 400 * np.cos(angle), middle + 400 * np.sin(angle)),
            ],
            fill=(25, 25, 30),
            width=9 if long else 4,
        )
        if long:
            place = (middle + 278 * np.cos(angle), middle + 278 * np.sin(angle))
            draw.text(place, str(mark), fill=(25, 25, 30), font=_font(62), anchor="mm")
    angle = np.radians(hand * 360 / marks - 90)
    tip = (middle + 385 * np.cos(angle), middle + 385 * np.sin(angle))
    tail = (middle - 110 * np.cos(angle), middle - 110 * np.sin(angle))
    draw.line([tail, tip], fill=(150, 30, 20), width=13)
    draw.ellipse([middle - 30, middle - 30, middle + 30, middle + 30], fill=(40, 40, 45))
    return face


def rule() -> Image.Image:
    """A steel rule, 90 mm of it."""
    rule_face = Image.new("RGB", (900, 900), (205, 205, 208))
    draw = ImageDraw.Draw(rule_face)
    for mark in range(91):
        y = 900 - mark * 10
        long = mark % 10 == 0
        draw.line([(470 if long else (500 if mark % 5 == 0 else 520), y), (560, y)], fill=(20, 20, 22), width=3)
        if long:
            draw.text((415, y), str(mark), fill=(20, 20, 22), font=_font(34), anchor="mm")
    return rule_face


def degree_face(turn: float) -> Image.Image:
    """A degree wheel's face, counted 0 to 180 both ways, turned so many degrees."""
    size = 1800
    face = Image.new("RGB", (size, size), (225, 226, 228))
    draw = ImageDraw.Draw(face)
    middle = size / 2
    for mark in range(360):
        angle = np.radians(mark + turn)
        long = mark % 10 == 0
        inner = 760 if long else (790 if mark % 5 == 0 else 812)
        draw.line(
            [
                (middle + inner * np.sin(angle), middle - inner * np.cos(angle)),
                (middle + 850 * np.sin(angle), middle - 850 * np.cos(angle)),
            ],
            fill=(18, 20, 24),
            width=6 if long else 3,
        )
        if mark % 10 == 0:
            shown = mark if mark <= 180 else 360 - mark
            label = Image.new("L", (160, 70), 0)
            ImageDraw.Draw(label).text((80, 35), str(shown), fill=255, font=_font(44), anchor="mm")
            label = label.rotate(-(mark + turn), expand=True, resample=Image.Resampling.BICUBIC)
            place = (
                int(middle + 705 * np.sin(angle) - label.width / 2),
                int(middle - 705 * np.cos(angle) - label.height / 2),
            )
            face.paste((150, 25, 20) if mark in (0, 180) else (18, 20, 24), place, label)
    for radius in (640, 860):
        draw.ellipse(
            [middle - radius, middle - radius, middle + radius, middle + radius], outline=(18, 20, 24), width=4
        )
    return face
