"""Check that the parts of a record agree with each other: counts, names of pulls, pictures."""

from __future__ import annotations

import re
from collections.abc import Iterator

from builder.record.files import file_in
from builder.record.models.build import DOCUMENTS, Build
from builder.record.models.fields import RecordModel
from builder.record.models.service import ServiceEntry, ServiceEvent
from builder.record.models.work import BoreGauging
from builder.record.problem import Problem, Severity, did_you_mean
from builder.record.quantities.readings import Reading
from builder.record.traversal import FieldValue, field_values
from builder.record.validation_errors import location_text
from builder.record.yaml_loader import Location

PICTURES = (".jpg", ".jpeg", ".png")
_MAX_COMPARED_PULLS = 100


def check_consistency(build: Build) -> list[Problem]:
    """Return everything in which the parts of a build's record contradict each other."""
    checks = (
        _wrong_counts,
        _cam_or_ports,
        _bore_gauging,
        _unknown_pulls,
        _named_pulls,
        _pictures,
        _condition_photos,
        _engine_number,
        _service_days,
        _service_names,
    )
    return [problem for check in checks for problem in check(build)]


def _problem(build: Build, path: str, message: str, severity: Severity = "error") -> Problem:
    return Problem(*build.where(path), message, severity, (path,))


def _wrong_counts(build: Build) -> Iterator[Problem]:
    counts = {"cylinder": build.cylinders}
    for side in ("intake", "exhaust"):
        valve = build.get(f"top_end.heads.{side}_valve")
        if valve is not None:
            counts[f"{side} valve"] = build.cylinders * valve.per_cylinder
    for name in DOCUMENTS:
        part = getattr(build, name)
        for item in field_values(part) if part is not None else ():
            axis = item.notes.axis or ""
            expected = counts.get(axis)
            if expected is None:
                continue
            for location, count in _counts(item):
                if count not in (0, 1, expected):
                    yield _problem(
                        build,
                        ".".join(map(str, (name, *location))),
                        f"{location_text(item.location)}: {count} readings for {expected} {axis}"
                        f"{'s' if expected != 1 else ''}: give one for each {axis}, in order, or one for all",
                    )


def _counts(item: FieldValue) -> Iterator[tuple[Location, int]]:
    """Yield where the values of a field by position are, and how many there are."""
    if isinstance(item.value, Reading):
        for key in ("measured", "returned"):
            yield (*item.location, key), len(getattr(item.value, key))
    elif isinstance(item.value, tuple):
        yield item.location, len(item.value)


def _cam_or_ports(build: Build) -> Iterator[Problem]:
    if _has_values(build.ports) and build.build.engine.cycle != "two-stroke":
        message = "ports.yaml is for a two-stroke: write cycle: two-stroke under engine in build.yaml, or remove it"
        yield _problem(build, "ports", message)
    if build.is_timed_by_ports and _has_values(build.get("cam.card")):
        message = (
            "a two-stroke timed by its ports has no cam card: record the ports in ports.yaml; "
            "if it has exhaust valves, record them under heads in top_end.yaml"
        )
        yield _problem(build, "cam.card", message)


def _has_values(part: RecordModel | None) -> bool:
    """Return whether anything is recorded in a part, besides headings and what it has by default."""
    items = field_values(part) if part is not None else ()
    return any(not isinstance(item.value, (RecordModel, tuple, int)) for item in items)


def _bore_gauging(build: Build) -> Iterator[Problem]:
    for name in ("bore_gauging", "returned_bore_gauging"):
        if (card := build.get(f"work.{name}")) is not None:
            yield from _bore_card(build, card, f"work.{name}")


def _bore_card(build: Build, card: BoreGauging, card_path: str) -> Iterator[Problem]:
    seen: set[int] = set()
    for index, bore in enumerate(card.cylinders):
        path = f"{card_path}.cylinders.{index}"
        if bore.cylinder > build.cylinders:
            message = f"cylinder {bore.cylinder} of an engine with {build.cylinders}: look at the number"
            yield _problem(build, f"{path}.cylinder", message)
        elif bore.cylinder in seen:
            yield _problem(
                build, f"{path}.cylinder", f"cylinder {bore.cylinder} is on the card twice: keep one of them"
            )
        seen.add(bore.cylinder)
        if card.depths and len(bore.depths) != len(card.depths):
            message = f"cylinder {bore.cylinder} has {len(bore.depths)} depths, the card names {len(card.depths)}"
            yield _problem(build, f"{path}.depths", f"{message} ({', '.join(card.depths)}): give one reading for each")


def _unknown_pulls(build: Build) -> Iterator[Problem]:
    seen: list[str] = []
    for index, pull in enumerate(build.pulls):
        path = f"dyno.pulls.{index}"
        for key in ("since", "repeat_of"):
            named = getattr(pull, key)
            if named is not None and named not in seen:
                hint = did_you_mean(named, seen if index < _MAX_COMPARED_PULLS else (), "name a pull above this one")
                yield _problem(build, f"{path}.{key}", f"{key}: no earlier pull is called {named!r}: {hint}")
        if pull.name in seen:
            yield _problem(build, f"{path}.name", f"two pulls are called {pull.name!r}: give each its own name")
        if pull.repeat_of and pull.changed:
            message = "repeat_of says that nothing was changed, but changed says what was: keep one of them"
            yield _problem(build, f"{path}.changed", message, "warning")
        seen.append(pull.name)


def _named_pulls(build: Build) -> Iterator[Problem]:
    """Yield what is wrong with the pulls that the session names as delivered and as made before the work."""
    usable = [pull.name for pull in build.pulls if pull.left_out is None and pull.file is not None]
    for name in ("delivered", "before_work"):
        named = getattr(build.dyno, name, None)
        if named is None:
            continue
        pull = next((pull for pull in build.pulls if pull.name == named), None)
        hint = did_you_mean(named, usable, "name one of the pulls, or remove the line")
        message = ""
        if pull is None:
            message = f"no pull is called {named!r}: {hint}"
        elif pull.left_out is not None:
            message = f"{named!r} is left out ({pull.left_out}): name a pull that counts, or remove the line"
        elif pull.file is None:
            message = f"{named!r} has no log: add its file, name a pull that has one, or remove the line"
        elif name == "before_work" and build.dyno is not None and named == build.dyno.delivered:
            message = f"{named!r} is also the pull as delivered: name the one made before the work, or remove the line"
        if message:
            yield _problem(build, f"dyno.{name}", f"{name}: {message}")


def _pictures(build: Build) -> Iterator[Problem]:
    for index, photo in enumerate(build.photos.photos if build.photos else ()):
        path = f"photos.photos.{index}.file"
        file, message = file_in(build.folder, photo.file)
        if file is None:
            yield _problem(build, path, message)
        elif file.suffix.lower() not in PICTURES:
            yield _problem(build, path, f"{photo.file!r} is not a JPEG or PNG picture: save it as one")


def _condition_photos(build: Build) -> Iterator[Problem]:
    """Yield the pictures of worn parts that photos.yaml does not list: they have no description."""
    listed = [photo.file for photo in build.photos.photos] if build.photos else []
    for index, condition in enumerate(build.returned.condition if build.returned else ()):
        if condition.photo is not None and condition.photo not in listed:
            hint = did_you_mean(condition.photo, listed)
            message = f"{condition.photo!r} is not in photos.yaml: {hint or 'list it there, with its description'}"
            yield _problem(build, f"returned.condition.{index}.photo", message)


def _engine_number(build: Build) -> Iterator[Problem]:
    """Yield what is wrong with the engine's number: missing where it came back, no address, or its serial number."""
    sheet, number = build.build, build.build.engine_number
    for name in ("previous_build", "since_last", "returned_for"):
        if number is None and getattr(sheet, name) is not None:
            message = (
                f"{name}: without the engine's number its builds are not tied together: write engine_number: E-041"
            )
            yield _problem(build, f"build.{name}", f"{message}, the same in all of them", "warning")
            break
    if number is not None and not re.search("[A-Za-z0-9]", number):
        message = f"engine_number {number[:60]!r} becomes an address: write letters or digits, e.g. E-041"
        yield _problem(build, "build.engine_number", message)
    serials = [build.build.engine_serial, *(part.serial for part in (build.parts.parts if build.parts else ()))]
    plain = ["".join(serial.split()).casefold() for serial in serials if serial]
    if number is not None and "".join(number.split()).casefold() in plain:
        message = (
            "engine_number is public, and this is a serial number: write a number of the shop's own here, "
            "e.g. E-041, and the serial number in engine_serial"
        )
        yield _problem(build, "build.engine_number", message)


def _service_days(build: Build) -> Iterator[Problem]:
    """Yield days of services and events that run backwards, and hours that fall."""
    first = (build.delivery.delivered if build.delivery else None) or build.build.finished
    for name in ("entries", "events"):
        records = getattr(build.service, name) if build.service else ()
        for index, record in enumerate(records):
            path = f"service.{name}.{index}"
            if first and record.when < first:
                message = f"on {record.when}, before the engine was delivered on {first}: correct one of the days"
                yield _problem(build, f"{path}.when", message)
            if index and record.when < records[index - 1].when:
                message = f"{record.when} is before the entry above it, {records[index - 1].when}"
                yield _problem(build, f"{path}.when", f"{message}: correct the day, or put them in order")
    yield from _falling_hours(build)


def _falling_hours(build: Build) -> Iterator[Problem]:
    """Yield services and events with fewer hours, or less distance, than an earlier one."""
    service = build.service
    if service is None:
        return
    items: list[tuple[str, ServiceEntry | ServiceEvent]] = []
    items += [(f"service.entries.{index}", entry) for index, entry in enumerate(service.entries)]
    items += [(f"service.events.{index}", event) for index, event in enumerate(service.events)]
    items.sort(key=lambda item: item[1].when)
    most_hours, most_distance = None, None
    for path, item in items:
        if item.hours is not None:
            if most_hours is not None and item.hours < most_hours[0]:
                message = f"{item.hours:g} hours on {item.when}, after {most_hours[0]:g} on {most_hours[1]}"
                yield _problem(build, f"{path}.hours", f"{message}: hours count from delivery; correct one of them")
            else:
                most_hours = (item.hours, item.when)
        if item.distance is not None:
            if most_distance is not None and item.distance.si < most_distance[0].si:
                message = f"{item.distance.text} on {item.when}, after {most_distance[0].text} on {most_distance[1]}"
                yield _problem(
                    build, f"{path}.distance", f"{message}: distance counts from delivery; correct one of them"
                )
            else:
                most_distance = (item.distance, item.when)


def _service_names(build: Build) -> Iterator[Problem]:
    """Yield services of the schedule that are named twice."""
    seen: set[str] = set()
    for index, service in enumerate(build.delivery.services if build.delivery else ()):
        if service.name is not None and service.name in seen:
            message = f"two services are called {service.name!r}: give each its own name"
            yield _problem(build, f"delivery.services.{index}.name", message)
        seen.add(service.name or "")
