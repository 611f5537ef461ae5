"""Photos: two widths, upright, without metadata, and no file that can crash a publish."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms, PngImagePlugin

from builder.publish import photos
from builder.publish.photos import PublishedPhoto, build_photos, cover_image, publish_photo
from builder.record.problem import Problem
from tests.support import view_samples as samples

LOCATION = (Path("builds/x/photos.yaml"), 7)
CANARIES = (
    b"CANARY-EXIF",
    b"CANARY-GPS",
    b"CANARY-XMP",
    b"CANARY-COMMENT",
    b"CANARY-PROFILE",
    b"CANARY-TEXT",
    b"smith-engine",
)


def _scene(width: int, height: int, mode: str = "RGB") -> Image.Image:
    """A picture whose top left corner is bright and whose bottom right is dark."""
    x, y = np.meshgrid(np.linspace(255, 0, width), np.linspace(255, 0, height))
    pixels = np.stack([x, y, (x + y) / 2], axis=-1).astype(np.uint8)
    return Image.fromarray(pixels, "RGB").convert(mode)


def _profile() -> bytes:
    data = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    return bytes(data) + b"CANARY-PROFILE"


def _exif(orientation: int = 1) -> Image.Exif:
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F] = "CANARY-EXIF maker"
    exif[0x8825] = {1: "N", 2: (51.0, 30.0, 0.0), 29: "CANARY-GPS"}
    return exif


def _jpeg(image: Image.Image, orientation: int = 1) -> bytes:
    out = io.BytesIO()
    image.save(
        out, "JPEG", quality=95, exif=_exif(orientation), icc_profile=_profile(), comment=b"CANARY-COMMENT",
        xmp=b"<x:xmpmeta>CANARY-XMP</x:xmpmeta>",
    )  # fmt: skip
    return out.getvalue() + b"CANARY-TEXT after the end"


def _png(image: Image.Image) -> bytes:
    text = PngImagePlugin.PngInfo()
    text.add_text("Author", "CANARY-TEXT")
    text.add_text("Packed", "CANARY-COMMENT", zip=True)
    text.add_itxt("XML:com.adobe.xmp", "CANARY-XMP")
    out = io.BytesIO()
    image.save(out, "PNG", pnginfo=text, exif=_exif(), icc_profile=_profile(), dpi=(300, 300))
    return out.getvalue()


def _publish(tmp_path: Path, data: bytes, name: str = "smith-engine.jpg") -> tuple[PublishedPhoto, Path]:
    source, into = tmp_path / name, tmp_path / "out"
    source.write_bytes(data)
    photo, files, problems = publish_photo(source, LOCATION)
    assert not problems
    assert photo is not None
    into.mkdir(exist_ok=True)
    for file, content in files.items():
        (into / file).write_bytes(content)
    return photo, into


def _refused(tmp_path: Path, data: bytes, name: str = "a.jpg") -> Problem:
    source = tmp_path / name
    source.write_bytes(data)
    photo, files, problems = publish_photo(source, LOCATION)
    assert photo is None
    assert not files
    (problem,) = problems
    assert (problem.path, problem.line, problem.severity) == (*LOCATION, "error")
    return problem


def test_two_widths_with_the_same_proportions(tmp_path: Path) -> None:
    photo, into = _publish(tmp_path, _jpeg(_scene(2400, 1800)))
    assert [(size.width, size.height) for size in photo.sizes] == [(640, 480), (1600, 1200)]
    for size in photo.sizes:
        with Image.open(into / size.name) as image:
            assert image.size == (size.width, size.height)
            assert image.format == "JPEG"
    assert photo.largest.width == 1600
    assert photo.srcset("p/") == f"p/{photo.sizes[0].name} 640w, p/{photo.sizes[1].name} 1600w"


@pytest.mark.parametrize(("width", "widths"), [(100, [100]), (640, [640]), (1000, [640, 1000]), (1600, [640, 1600])])
def test_a_photo_is_never_enlarged(tmp_path: Path, width: int, widths: list[int]) -> None:
    photo, _ = _publish(tmp_path, _jpeg(_scene(width, 80)))
    assert [size.width for size in photo.sizes] == widths


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_photo_is_upright_whatever_its_orientation(tmp_path: Path, orientation: int) -> None:
    upright = _scene(90, 60)
    # How the sensor saw it: the inverse of what the note tells a viewer to do (Exif 2.3, tag 0x0112).
    held = {
        1: [], 2: [Image.Transpose.FLIP_LEFT_RIGHT], 3: [Image.Transpose.ROTATE_180],
        4: [Image.Transpose.FLIP_TOP_BOTTOM], 5: [Image.Transpose.TRANSPOSE], 6: [Image.Transpose.ROTATE_90],
        7: [Image.Transpose.TRANSVERSE], 8: [Image.Transpose.ROTATE_270],
    }[orientation]  # fmt: skip
    seen = upright
    for turn in held:
        seen = seen.transpose(turn)
    photo, into = _publish(tmp_path, _jpeg(seen, orientation))
    with Image.open(into / photo.largest.name) as image:
        assert image.size == (90, 60)
        difference = np.abs(np.asarray(image, dtype=int) - np.asarray(upright, dtype=int))
        assert difference.mean() < 6


@pytest.mark.parametrize("mode", ["RGB", "RGBA", "L", "LA", "P", "1"])
def test_a_png_has_no_metadata_of_the_source(tmp_path: Path, mode: str) -> None:
    data = _png(_scene(700, 500, mode))
    assert all(canary in data for canary in (b"CANARY-TEXT", b"CANARY-XMP", b"CANARY-GPS"))
    photo, into = _publish(tmp_path, data, "smith-engine.png")
    _assert_bare(photo, into)


@pytest.mark.parametrize("mode", ["RGB", "L", "CMYK"])
def test_a_jpeg_has_no_metadata_of_the_source(tmp_path: Path, mode: str) -> None:
    data = _jpeg(_scene(2000, 1500, mode), 6)
    assert all(canary in data for canary in CANARIES if canary != b"smith-engine")
    photo, into = _publish(tmp_path, data)
    _assert_bare(photo, into)


def _assert_bare(photo: PublishedPhoto, into: Path) -> None:
    files = sorted(into.iterdir())
    assert sorted(size.name for size in photo.sizes) == [file.name for file in files]
    for file in files:
        data = file.read_bytes()
        for canary in CANARIES:
            assert canary not in data
            assert canary not in file.name.encode()
        for marker in (
            b"Exif",
            b"http://ns.adobe.com",
            b"ICC_PROFILE",
            b"iCCP",
            b"tEXt",
            b"zTXt",
            b"iTXt",
            b"eXIf",
            b"GPS",
        ):
            assert marker not in data
        with Image.open(io.BytesIO(data)) as image:
            image.load()
            assert not image.getexif()
            assert set(image.info) <= {
                "jfif",
                "jfif_version",
                "jfif_unit",
                "jfif_density",
                "progressive",
                "progression",
            }


def test_the_canaries_are_in_the_source() -> None:
    """Without them the tests above would prove nothing."""
    jpeg, png = _jpeg(_scene(64, 64)), _png(_scene(64, 64))
    assert all(marker in jpeg for marker in (b"Exif", b"http://ns.adobe.com", b"ICC_PROFILE"))
    assert all(marker in png for marker in (b"iCCP", b"tEXt", b"zTXt", b"iTXt", b"eXIf"))


def test_the_same_picture_gives_the_same_bytes_and_names(tmp_path: Path) -> None:
    data = _jpeg(_scene(1800, 1200))
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
    one, into = _publish(tmp_path / "a", data)
    other, into_other = _publish(tmp_path / "b", data, "quite-another-name.jpg")
    assert one == other
    assert [(into / size.name).read_bytes() for size in one.sizes] == [
        (into_other / size.name).read_bytes() for size in other.sizes
    ]


def test_a_damaged_output_file_is_written_again(tmp_path: Path) -> None:
    data = _jpeg(_scene(300, 200))
    photo, into = _publish(tmp_path, data)
    target = into / photo.largest.name
    content = target.read_bytes()
    target.write_bytes(b"x" * len(content))
    _publish(tmp_path, data)
    assert target.read_bytes() == content


def test_only_transparent_pictures_have_an_alpha_channel(tmp_path: Path) -> None:
    image = _scene(800, 400, "RGBA")
    image.putalpha(Image.linear_gradient("L").resize((800, 400)))
    photo, into = _publish(tmp_path, _png(image), "drawing.png")
    with Image.open(into / photo.largest.name) as image:
        assert (image.format, image.mode) == ("PNG", "RGBA")
        alpha = np.asarray(image)[:, :, 3]
        assert alpha[0].max() < 10
        assert alpha[-1].min() > 245
    opaque, into = _publish(tmp_path, _png(_scene(800, 400, "RGBA")), "opaque.png")
    with Image.open(into / opaque.largest.name) as image:
        assert image.mode == "RGB"


def test_a_transparent_palette_and_a_transparent_colour(tmp_path: Path) -> None:
    out = io.BytesIO()
    _scene(50, 50, "P").save(out, "PNG", transparency=0)
    photo, _ = _publish(tmp_path, out.getvalue(), "palette.png")
    assert photo.largest.width == 50
    out = io.BytesIO()
    _scene(50, 50).save(out, "PNG", transparency=(255, 255, 255))
    photo, into = _publish(tmp_path, out.getvalue(), "key.png")
    with Image.open(into / photo.largest.name) as image:
        assert image.mode == "RGBA"


def test_sixteen_bit_grey_is_not_clipped(tmp_path: Path) -> None:
    out = io.BytesIO()
    Image.fromarray(np.full((20, 30), 0x8000, dtype=np.uint16)).save(out, "PNG")
    photo, into = _publish(tmp_path, out.getvalue(), "grey.png")
    with Image.open(into / photo.largest.name) as image:
        assert abs(int(np.asarray(image.convert("L"))[5, 5]) - 128) <= 1


def test_colours_are_converted_to_srgb(tmp_path: Path) -> None:
    """A profile whose red and blue are swapped must come out with them swapped, not ignored."""
    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    count = struct.unpack(">I", profile[128:132])[0]
    for index in range(count):
        at = 132 + 12 * index
        tag = bytes(profile[at : at + 4])
        profile[at : at + 4] = {b"rXYZ": b"bXYZ", b"bXYZ": b"rXYZ"}.get(tag, tag)
    out = io.BytesIO()
    Image.new("RGB", (40, 40), (250, 10, 10)).save(out, "JPEG", icc_profile=bytes(profile), quality=95)
    photo, into = _publish(tmp_path, out.getvalue())
    with Image.open(into / photo.largest.name) as image:
        red, _, blue = image.convert("RGB").getpixel((20, 20))
    assert blue > 200 > 60 > red


def test_an_unusable_profile_is_ignored(tmp_path: Path) -> None:
    out = io.BytesIO()
    _scene(40, 40).save(out, "JPEG", icc_profile=b"no profile at all")
    photo, _ = _publish(tmp_path, out.getvalue())
    assert photo.largest.width == 40


def _png_header(width: int, height: int) -> bytes:
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(b"\0" * 1000))
        + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "is empty"),
        (b"not a picture", "is not a JPEG or PNG picture"),
        (b"GIF89a" + b"\0" * 100, "is not a JPEG or PNG picture"),
        (b"\0\0\0\x18ftypheic" + b"\0" * 50, "phone's own format"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "is not a JPEG or PNG picture"),
        (b"\xff\xd8\xff\xe0", "is damaged"),
        (b"\x89PNG\r\n\x1a\n", "is damaged"),
        (_png_header(100, 100), "is damaged"),
        (_png_header(8000, 8000), "8000 x 8000 pixels"),
        (_png_header(60000, 60000), "pixels"),
        (_png_header(1, 50_000_000), "1 x 50000000 pixels; at most 20000 on a side are read"),
        (_png_header(20_001, 10), "save a smaller copy"),
        (_png_header(0, 10), "is damaged"),
    ],
)
def test_a_file_that_is_no_picture_or_too_large_is_a_problem(tmp_path: Path, data: bytes, says: str) -> None:
    assert says in _refused(tmp_path, data).message


def test_a_truncated_picture_is_a_problem(tmp_path: Path) -> None:
    data = _jpeg(_scene(900, 600))
    assert "cut short" in _refused(tmp_path, data[: len(data) // 2]).message


def test_a_huge_file_is_not_read(tmp_path: Path) -> None:
    source = tmp_path / "huge.jpg"
    with source.open("wb") as file:
        file.write(b"\xff\xd8")
        file.truncate(photos.MAX_FILE_SIZE + 1)
    _, _, (problem,) = publish_photo(source, LOCATION)
    assert "40 MB" in problem.message


def test_a_missing_file_and_a_folder_are_problems(tmp_path: Path) -> None:
    for source in (tmp_path / "gone.jpg", tmp_path):
        photo, _, problems = publish_photo(source, LOCATION)
        assert photo is None
        assert "not an ordinary file" in problems[0].message


def test_a_decompression_bomb_in_a_text_chunk_is_a_problem(tmp_path: Path) -> None:
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    bomb = chunk(b"zTXt", b"a\0\0" + zlib.compress(b"\0" * 200_000_000, 9))
    data = _png(_scene(20, 20))
    assert _refused(tmp_path, data[:33] + bomb + data[33:], "bomb.png").line == 7


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 2**32 - 1), kind=st.sampled_from(["jpeg", "png"]))
def test_no_damaged_picture_crashes(tmp_path: Path, seed: int, kind: str) -> None:
    rng = np.random.default_rng(seed)
    data = bytearray(_SMALL[kind])
    for _ in range(int(rng.integers(1, 12))):
        data[int(rng.integers(2, len(data)))] = int(rng.integers(0, 256))
    source = tmp_path / "damaged"
    source.write_bytes(data)
    photo, _, problems = publish_photo(source, LOCATION)
    assert (photo is None) == bool(problems)


_SMALL = {"jpeg": _jpeg(_scene(48, 32)), "png": _png(_scene(48, 32, "P"))}


# ---------------------------------------------------------------------------------- the photos of a build


def test_every_photo_of_a_build_has_its_files_and_one_is_the_cover() -> None:
    build, _ = samples.build_and_sheet("pilot-launch-four")
    photos, files, problems = build_photos(build)
    assert not problems
    assert [item.photo.section for item in photos] == ["cover", "bottom end", "parts", "top end"]
    assert {size.name for item in photos for size in item.published.sizes} == set(files)
    cover = cover_image(photos, files)
    assert cover == files[photos[0].published.largest.name]


def test_a_build_without_photos_has_none_and_no_cover() -> None:
    build, _ = samples.build_and_sheet("generator-gas-six")
    photos, files, problems = build_photos(build)
    assert (photos, files, problems, cover_image(photos, files)) == ((), {}, [], None)


def test_a_file_that_is_no_picture_is_reported_with_its_line_and_the_others_are_published(tmp_path: Path) -> None:
    folder = tmp_path / "builds" / "one" / "photos"
    folder.mkdir(parents=True)
    (folder / "bad.jpg").write_text("not a picture")
    Image.new("RGB", (40, 30), "grey").save(folder / "good.png")
    build, _ = samples.write_and_read(
        tmp_path,
        build="title: T\nengine: {cylinders: 1}\n",
        photos="photos:\n  - {file: photos/bad.jpg, alt: a picture}\n  - {file: photos/good.png, alt: grey}\n",
    )
    photos, _, problems = build_photos(build)
    assert [item.photo.file for item in photos] == ["photos/good.png"]
    (problem,) = problems
    assert problem.path.name == "photos.yaml"
    assert problem.line == 2
