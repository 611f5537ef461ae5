"""The photos of a build: published, each where on the page it belongs."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from builder.publish.photos import PublishedPhoto, Sizes, publish_photo
from builder.record.load import file_in
from builder.record.models.build import Build
from builder.record.models.photos import Photo
from builder.record.problem import Problem


@dataclass(frozen=True)
class PlacedPhoto:
    """A photo with its caption, description and section."""

    photo: Photo
    published: PublishedPhoto


def photos_of(
    build: Build, stood: Path | None = None, known: Sizes | None = None
) -> tuple[tuple[PlacedPhoto, ...], dict[str, bytes], list[Problem]]:
    """Every photo of a build as published, the files by name, and what is wrong with the others.

    `stood` and `known` as for `publish_photo`.
    """
    placed: list[PlacedPhoto] = []
    files: dict[str, bytes] = {}
    problems: list[Problem] = []
    for index, photo in enumerate(build.photos.photos if build.photos else ()):
        source, _ = file_in(build.folder, photo.file)
        if source is None:
            continue  # the reader has said so
        published, more, wrong = publish_photo(source, build.where(f"photos.photos.{index}.file"), stood, known)
        problems += wrong
        files |= more
        if published is not None:
            placed.append(PlacedPhoto(photo, published))
    return tuple(placed), files, problems


def sizes_of(photos: tuple[PlacedPhoto, ...]) -> Sizes:
    """The sizes of these photos, as `photos_of` takes them when the build is made again."""
    return {
        item.published.source_hash: [[size.name, size.width, size.height] for size in item.published.sizes]
        for item in photos
    }


def cover_of(photos: tuple[PlacedPhoto, ...], files: dict[str, bytes]) -> bytes | None:
    """The cover photo as published, or None."""
    cover = next((item for item in photos if item.photo.section == "cover"), None)
    return files.get(cover.published.largest.name) if cover else None
