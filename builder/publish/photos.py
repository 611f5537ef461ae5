"""Photos for the pages: two widths, turned the right way, and nothing in them but the picture.

A phone writes into a photo where it was taken, when, and with what. What is published is drawn anew from the
pixels, under a name made from its own bytes, so that nothing of the original travels along.
"""

from __future__ import annotations

import hashlib
import io
import warnings
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from builder.record.problem import Problem

if TYPE_CHECKING:
    from PIL.Image import Image, Transpose

WIDTHS = (640, 1600)
LARGEST_FILE = 40_000_000
MOST_PIXELS = 50_000_000
_QUALITY = 82
_ORIENTATION = 0x0112


@dataclass(frozen=True, slots=True)
class PhotoSize:
    """One size of a photo: its file's name, and its width and height in pixels."""

    name: str
    width: int
    height: int


Sizes = Mapping[str, Sequence[Sequence[Any]]]
"""By the digest of a photo's file: name, width and height of each size in which it was published."""


@dataclass(frozen=True, slots=True)
class PublishedPhoto:
    """A photo as published, smallest size first; `of` is the digest of the file it was made from."""

    sizes: tuple[PhotoSize, ...]
    source_hash: str = ""

    @property
    def largest(self) -> PhotoSize:
        """The size to show where only one is wanted."""
        return self.sizes[-1]

    def srcset(self, folder: str = "") -> str:
        """The value of an image's srcset attribute, with the folder's address before each name."""
        return ", ".join(f"{folder}{size.name} {size.width}w" for size in self.sizes)


def publish_photo(
    source: Path, at: tuple[Path, int], stood: Path | None = None, known: Sizes | None = None
) -> tuple[PublishedPhoto | None, dict[str, bytes], list[Problem]]:
    """The sizes of a photo, and their files by name.

    ``at`` is the file and line of the record that name the photo. Returns None and no files with what is wrong
    with the picture. Where the ``known`` sizes of the same file stand in the folder ``stood``, they are not made
    again.
    """
    data = _read(source)
    if isinstance(data, str):
        return None, {}, [Problem(*at, f"{source.name!r} {data}")]
    of = hashlib.sha256(data).hexdigest()[:24]
    if stood is not None and known and of in known:
        sizes = tuple(PhotoSize(*size) for size in known[of])
        return PublishedPhoto(sizes, of), {size.name: (stood / size.name).read_bytes() for size in sizes}, []
    drawn = _open_image(data, _sizes)
    if isinstance(drawn, str):
        return None, {}, [Problem(*at, f"{source.name!r} {drawn}")]
    made = [
        (PhotoSize(f"{hashlib.sha256(content).hexdigest()[:24]}{suffix}", width, height), content)
        for content, suffix, width, height in drawn
    ]
    return PublishedPhoto(tuple(size for size, _ in made), of), {size.name: content for size, content in made}, []


def validate_photo(source: Path, at: tuple[Path, int]) -> list[Problem]:
    """What `publish_photo` would have against a picture, without the work of making its sizes."""
    data = _read(source)
    seen = data if isinstance(data, str) else _open_image(data, _decoded)
    return [Problem(*at, f"{source.name!r} {seen}")] if isinstance(seen, str) else []


def _read(source: Path) -> bytes | str:
    """The bytes of a photo's file; or what is wrong with it."""
    try:
        if not source.is_file():
            return "is not an ordinary file"
        if (length := source.stat().st_size) > LARGEST_FILE:
            return f"is {length / 1e6:.0f} MB; at most {LARGEST_FILE // 1_000_000} MB are read: save a smaller copy"
        return source.read_bytes()
    except OSError as error:
        return f"cannot be read: {error.strerror or error}"


_Drawn = list[tuple[bytes, str, int, int]]


def _open_image(data: bytes, draw: Callable[[Image], _Drawn]) -> _Drawn | str:
    """Every size of a photo as bytes, with its suffix, width and height; or what is wrong with it."""
    if not data.startswith((b"\xff\xd8", b"\x89PNG\r\n\x1a\n")):
        return _other_kind(data)
    from PIL import Image

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of sizes, which are judged here, and of odd metadata, which is dropped
            with Image.open(io.BytesIO(data), formats=("JPEG", "PNG")) as opened:
                if opened.width * opened.height > MOST_PIXELS:
                    return _too_large(opened.width, opened.height)
                return draw(opened)
    except Image.DecompressionBombError:
        return f"has far more than {MOST_PIXELS // 1_000_000} million pixels: save a smaller copy"
    except MemoryError:
        return "needs more memory than there is: save a smaller copy"
    except Exception:  # a damaged picture makes the decoders raise almost anything
        return "is damaged or cut short: copy it from the camera again"


def _too_large(width: int, height: int) -> str:
    return (
        f"is {width} x {height} pixels; at most {MOST_PIXELS // 1_000_000} million in all are read: save a smaller copy"
    )


def _other_kind(data: bytes) -> str:
    if not data:
        return "is empty: copy it from the camera again"
    if data[4:8] == b"ftyp":
        return "is a picture in the phone's own format: save or send it as JPEG"
    return "is not a JPEG or PNG picture, whatever its name says: save it as one"


def _decoded(opened: Image) -> _Drawn:
    """Nothing drawn, but every byte read, so that a file cut short is found."""
    if opened.format == "JPEG":
        opened.draft(None, (1, 1))
    opened.load()
    return []


def _sizes(opened: Image) -> _Drawn:
    suffix = ".png" if opened.format == "PNG" else ".jpg"
    turn = _turn(opened)
    # A JPEG can be decoded at a half, a quarter or an eighth at little cost; twice the pixels wanted are enough.
    widest = 2 * WIDTHS[-1]
    if suffix == ".jpg":
        opened.draft(None, (widest, widest))
    picture = _in_screen_colours(opened)
    if turn is not None:
        picture = picture.transpose(turn)
    sizes: _Drawn = []
    # The draft may have made it smaller than it was, never below what is wanted.
    for width in dict.fromkeys(min(width, picture.width) for width in WIDTHS):
        height = max(1, round(picture.height * width / picture.width))
        sizes.append((_encoded(_resized(picture, width, height), suffix), suffix, width, height))
    return sizes


def _turn(opened: Image) -> Transpose | None:
    """How the picture has to be turned or mirrored to stand upright, as the camera noted it."""
    from PIL.Image import Transpose as To

    turns = {
        2: To.FLIP_LEFT_RIGHT, 3: To.ROTATE_180, 4: To.FLIP_TOP_BOTTOM, 5: To.TRANSPOSE, 6: To.ROTATE_270,
        7: To.TRANSVERSE, 8: To.ROTATE_90,
    }  # fmt: skip
    try:
        return turns.get(opened.getexif().get(_ORIENTATION, 1))
    except Exception:  # a note that cannot be read is no note
        return None


def _in_screen_colours(opened: Image) -> Image:
    """The pixels in sRGB: RGB, or RGBA where something shows through."""
    profile = opened.info.get("icc_profile")
    see_through = opened.mode in ("RGBA", "LA", "PA") or "transparency" in opened.info
    picture: Image = opened
    if opened.mode.startswith("I"):
        picture = opened.convert("I").point(lambda value: value / 256).convert("L")
    alpha = picture.convert("RGBA").getchannel("A") if see_through else None
    if picture.mode not in ("RGB", "L", "CMYK") or alpha is not None:
        picture = picture.convert("RGB")
    picture = _by_profile(picture, profile).convert("RGB")
    if alpha is not None and alpha.getextrema() != (255, 255):
        picture.putalpha(alpha)
    return picture


def _by_profile(picture: Image, profile: object) -> Image:
    """The picture's colours taken from its own profile to sRGB; as they are where the profile is of no use."""
    if not isinstance(profile, bytes) or not profile:
        return picture
    from PIL import ImageCms

    try:
        own = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        converted = ImageCms.profileToProfile(picture, own, ImageCms.createProfile("sRGB"), outputMode="RGB")
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return picture
    return converted if converted is not None else picture


def _resized(picture: Image, width: int, height: int) -> Image:
    from PIL.Image import Resampling

    if (width, height) == picture.size:
        return picture
    return picture.resize((width, height), Resampling.LANCZOS, reducing_gap=3.0)


def _encoded(picture: Image, suffix: str) -> bytes:
    """The pixels alone, encoded: a fresh image carries nothing over from the file it came from."""
    from PIL import Image

    bare = Image.frombytes(picture.mode, picture.size, picture.tobytes())
    out = io.BytesIO()
    if suffix == ".png":
        bare.save(out, "PNG", compress_level=9)
    else:
        bare.save(out, "JPEG", quality=_QUALITY, progressive=True, optimize=True, subsampling="4:2:0")
    return out.getvalue()
