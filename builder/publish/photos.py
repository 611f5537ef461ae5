"""Photos for the pages: in two widths, upright, and without metadata.

A phone stores in a photo where, when and with what it was taken. Each published photo is encoded again from its
pixels alone and named by a hash of its bytes, so that nothing of the original file is published.
"""

from __future__ import annotations

import hashlib
import io
import warnings
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from builder.record.load import file_in
from builder.record.models.build import Build
from builder.record.models.photos import Photo
from builder.record.problem import Problem

if TYPE_CHECKING:
    from PIL.Image import Image, Transpose

WIDTHS = (640, 1600)
"""The widths [px] in which a photo is published."""
MAX_FILE_SIZE = 40_000_000
"""In bytes."""
MAX_PIXELS = 50_000_000
MAX_SIDE = 20_000
"""The greatest width and height [px]: a picture a pixel wide takes far more memory than its pixels."""
_QUALITY = 82
_ORIENTATION = 0x0112
"""The Exif tag of the orientation."""


@dataclass(frozen=True, slots=True)
class PhotoSize:
    """One size of a photo: the name of its file, its width and height [px]."""

    name: str
    width: int
    height: int


Sizes = Mapping[str, Sequence[Sequence[Any]]]
"""By the hash of a photo's source file: name, width and height of each size in which it was published."""


@dataclass(frozen=True, slots=True)
class PublishedPhoto:
    """A photo as published, smallest size first, with the hash of its source file."""

    sizes: tuple[PhotoSize, ...]
    source_hash: str = ""

    @property
    def largest(self) -> PhotoSize:
        """The largest size."""
        return self.sizes[-1]

    def srcset(self, folder: str = "") -> str:
        """Return the value of an image's srcset attribute, with the folder's address before each name."""
        return ", ".join(f"{folder}{size.name} {size.width}w" for size in self.sizes)


@dataclass(frozen=True)
class BuildPhoto:
    """A photo of a build: its entry in the record, and its published sizes."""

    photo: Photo
    published: PublishedPhoto


def build_photos(
    build: Build, previous_dir: Path | None = None, previous_sizes: Sizes | None = None
) -> tuple[tuple[BuildPhoto, ...], dict[str, bytes], list[Problem]]:
    """Return the published photos of a build, their files by name, and the problems of the photos left out.

    `previous_dir` and `previous_sizes` are those of `publish_photo`.
    """
    photos: list[BuildPhoto] = []
    files: dict[str, bytes] = {}
    problems: list[Problem] = []
    for index, photo in enumerate(build.photos.photos if build.photos else ()):
        source, _ = file_in(build.folder, photo.file)
        if source is None:
            continue  # read_build reports it
        published, photo_files, photo_problems = publish_photo(
            source, build.where(f"photos.photos.{index}.file"), previous_dir, previous_sizes
        )
        problems += photo_problems
        files |= photo_files
        if published is not None:
            photos.append(BuildPhoto(photo, published))
    return tuple(photos), files, problems


def photo_sizes(photos: tuple[BuildPhoto, ...]) -> Sizes:
    """Return the sizes of these photos, the cover first, as `build_photos` takes them at the next publish."""
    return {
        item.published.source_hash: [[size.name, size.width, size.height] for size in item.published.sizes]
        for item in sorted(photos, key=lambda item: item.photo.section != "cover")
    }


def first_photo(sizes: Sizes) -> PhotoSize | None:
    """Return the smallest size of the first photo, the cover where there is one; None without photos."""
    return next((PhotoSize(*photo[0]) for photo in sizes.values()), None)


def cover_image(photos: tuple[BuildPhoto, ...], files: Mapping[str, bytes]) -> bytes | None:
    """Return the published cover photo, or None."""
    cover = next((item for item in photos if item.photo.section == "cover"), None)
    return files.get(cover.published.largest.name) if cover else None


def publish_photo(
    source: Path, location: tuple[Path, int], previous_dir: Path | None = None, previous_sizes: Sizes | None = None
) -> tuple[PublishedPhoto | None, dict[str, bytes], list[Problem]]:
    """Return the sizes of a photo, their files by name, and the problems of the picture.

    `location` is the file and line of the record that name the photo. A photo with a problem is None and has no
    files. Where `previous_sizes` has the same source file, its files are read from `previous_dir` instead.
    """
    data = _read(source)
    if isinstance(data, str):
        return None, {}, [Problem(*location, f"{source.name!r} {data}")]
    source_hash = hashlib.sha256(data).hexdigest()[:24]
    if previous_dir is not None and previous_sizes and source_hash in previous_sizes:
        sizes = tuple(PhotoSize(*size) for size in previous_sizes[source_hash])
        files = {size.name: (previous_dir / size.name).read_bytes() for size in sizes}
        return PublishedPhoto(sizes, source_hash), files, []
    images = _open_image(data, _resize_all)
    if isinstance(images, str):
        return None, {}, [Problem(*location, f"{source.name!r} {images}")]
    files = {f"{hashlib.sha256(image.content).hexdigest()[:24]}{image.suffix}": image.content for image in images}
    sizes = tuple(PhotoSize(name, image.width, image.height) for name, image in zip(files, images, strict=True))
    return PublishedPhoto(sizes, source_hash), files, []


def validate_photo(source: Path, location: tuple[Path, int]) -> list[Problem]:
    """Return the problems that `publish_photo` would report, without resizing the photo."""
    data = _read(source)
    result = data if isinstance(data, str) else _open_image(data, _decode)
    return [Problem(*location, f"{source.name!r} {result}")] if isinstance(result, str) else []


def _read(source: Path) -> bytes | str:
    """Return the bytes of a photo's file, or the problem with it."""
    try:
        if not source.is_file():
            return "is not an ordinary file"
        if (size := source.stat().st_size) > MAX_FILE_SIZE:
            return f"is {size / 1e6:.0f} MB; at most {MAX_FILE_SIZE // 1_000_000} MB are read: save a smaller copy"
        return source.read_bytes()
    except OSError as error:
        return f"cannot be read: {error.strerror or error}"


@dataclass(frozen=True, slots=True)
class _EncodedImage:
    content: bytes
    suffix: str
    width: int
    height: int


def _open_image(data: bytes, process: Callable[[Image], list[_EncodedImage]]) -> list[_EncodedImage] | str:
    """Return what `process` makes of a photo, or the problem with the photo."""
    if not data.startswith((b"\xff\xd8", b"\x89PNG\r\n\x1a\n")):
        return _unsupported_format(data)
    from PIL import Image

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about sizes, which are checked here, and metadata, which is dropped
            with Image.open(io.BytesIO(data), formats=("JPEG", "PNG")) as image:
                if image.width * image.height > MAX_PIXELS or max(image.size) > MAX_SIDE:
                    return _too_large(image.width, image.height)
                return process(image)
    except Image.DecompressionBombError:
        return f"has far more than {MAX_PIXELS // 1_000_000} million pixels: save a smaller copy"
    except MemoryError:
        return "needs more memory than there is: save a smaller copy"
    except Exception:  # decoders raise many kinds of error for a damaged picture
        return "is damaged or cut short: copy it from the camera again"


def _too_large(width: int, height: int) -> str:
    limit = f"{MAX_PIXELS // 1_000_000} million in all"
    if max(width, height) > MAX_SIDE:
        limit = f"{MAX_SIDE} on a side"
    return f"is {width} x {height} pixels; at most {limit} are read: save a smaller copy"


def _unsupported_format(data: bytes) -> str:
    if not data:
        return "is empty: copy it from the camera again"
    if data[4:8] == b"ftyp":
        return "is a picture in the phone's own format: save or send it as JPEG"
    return "is not a JPEG or PNG picture, whatever its name says: save it as one"


def _decode(image: Image) -> list[_EncodedImage]:
    """Read every byte of the image, so that a truncated file raises an error; return no sizes."""
    if image.format == "JPEG":
        image.draft(None, (1, 1))
    image.load()
    return []


def _resize_all(image: Image) -> list[_EncodedImage]:
    suffix = ".png" if image.format == "PNG" else ".jpg"
    transpose = _transpose(image)
    # Decoding a JPEG at a half, a quarter or an eighth is quick; twice the largest width is enough for resampling.
    draft_width = 2 * WIDTHS[-1]
    if suffix == ".jpg":
        image.draft(None, (draft_width, draft_width))
    picture = _to_srgb(image)
    if transpose is not None:
        picture = picture.transpose(transpose)
    sizes = []
    for width in dict.fromkeys(min(width, picture.width) for width in WIDTHS):
        height = max(1, round(picture.height * width / picture.width))
        sizes.append(_EncodedImage(_encode(_resize(picture, width, height), suffix), suffix, width, height))
    return sizes


def _transpose(image: Image) -> Transpose | None:
    """Return the rotation or reflection that puts the picture upright, by its Exif orientation."""
    from PIL.Image import Transpose as To

    by_orientation = {
        2: To.FLIP_LEFT_RIGHT, 3: To.ROTATE_180, 4: To.FLIP_TOP_BOTTOM, 5: To.TRANSPOSE, 6: To.ROTATE_270,
        7: To.TRANSVERSE, 8: To.ROTATE_90,
    }  # fmt: skip
    try:
        return by_orientation.get(image.getexif().get(_ORIENTATION, 1))
    except Exception:  # unreadable Exif counts as none
        return None


def _to_srgb(image: Image) -> Image:
    """Return the pixels in sRGB: RGBA where any are transparent, else RGB."""
    profile = image.info.get("icc_profile")
    has_alpha = image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info
    picture: Image = image
    if image.mode.startswith("I"):
        picture = image.convert("I").point(lambda value: value / 256).convert("L")
    alpha = picture.convert("RGBA").getchannel("A") if has_alpha else None
    if picture.mode not in ("RGB", "L", "CMYK") or alpha is not None:
        picture = picture.convert("RGB")
    picture = _apply_profile(picture, profile).convert("RGB")
    if alpha is not None and alpha.getextrema() != (255, 255):
        picture.putalpha(alpha)
    return picture


def _apply_profile(picture: Image, profile: object) -> Image:
    """Convert the colors from the picture's own profile to sRGB; leave them where the profile is unusable."""
    if not isinstance(profile, bytes) or not profile:
        return picture
    from PIL import ImageCms

    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        converted = ImageCms.profileToProfile(picture, source, ImageCms.createProfile("sRGB"), outputMode="RGB")
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return picture
    return converted if converted is not None else picture


def _resize(picture: Image, width: int, height: int) -> Image:
    from PIL.Image import Resampling

    if (width, height) == picture.size:
        return picture
    return picture.resize((width, height), Resampling.LANCZOS, reducing_gap=3.0)


def _encode(picture: Image, suffix: str) -> bytes:
    """Encode the pixels alone: a new image has no metadata of the source file."""
    from PIL import Image

    image = Image.frombytes(picture.mode, picture.size, picture.tobytes())
    out = io.BytesIO()
    if suffix == ".png":
        image.save(out, "PNG", compress_level=9)
    else:
        image.save(out, "JPEG", quality=_QUALITY, progressive=True, optimize=True, subsampling="4:2:0")
    return out.getvalue()
