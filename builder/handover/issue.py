"""The issue of a pack: its number and date, and what changed since the one before.

What was issued before is read from the pack that was issued: its record, and `data/issue.json`, which holds the
number, the date, the digests of all former issues and what a record does not hold. The same record gives the same issue
again; a draft has none.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import zipfile
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal

from builder.archive.recorded_fields import RecordedField, model_fields
from builder.handover.checksums import verify
from builder.publish.errors import PublishError
from builder.record.field_names import with_field_names
from builder.record.load import validate
from builder.record.models.build import DOCUMENT_TITLES, DOCUMENTS
from builder.record.models.fields import RecordModel
from builder.record.models.shop import Shop
from builder.record.wording import first_of
from builder.record.yaml_loader import parse_yaml

ISSUE_FILE = "data/issue.json"
_RECORD = "data/record/"
_NOT_RECORDED = "–"
_ADVICE = (
    "Put the pack back as it was issued, or name a copy of it with --previous; "
    "to start again with issue 1, move the folder and the ZIP away"
)
_SHOP_FIELDS = ("name", "place", "contact", "emergency_contact", "break_in", "warranty", "warranty_months", "cautions")
"""What the binder says that comes from the shop's profile."""
_OTHER_SHOP_FIELDS = tuple(f"shop.{name}" for name in Shop.model_fields if name not in _SHOP_FIELDS)


@dataclass(frozen=True)
class FormerIssue:
    """An issue that was handed over before: its number, its date, and the digest printed in its binder."""

    number: int
    date: str
    digest: str


@dataclass(frozen=True)
class Change:
    """One field, log or photo that differs from the former issue; what was not recorded is a dash."""

    section: str
    field: str
    before: str
    after: str


@dataclass(frozen=True)
class Issue:
    """Number and date of a pack (ISO 8601), the issues before it, and what changed since the last of them."""

    number: int
    date: str
    former: tuple[FormerIssue, ...] = ()
    changes: tuple[Change, ...] = ()

    @property
    def text(self) -> str:
        """Return number and date as one line."""
        return f"Issue {self.number}, {self.date}"


@dataclass(frozen=True)
class IssueContent:
    """What an issue is compared by.

    The record's files, the shop's texts, photo captions by the file's hash, and what the binder shows of the engine's
    other builds, by day.
    """

    files: Mapping[str, bytes]
    shop: Mapping[str, str]
    photos: Mapping[str, str]
    engine: Mapping[str, str]


@dataclass(frozen=True)
class IssuedPack:
    """A pack as it was issued: its issue, the digest of its files, and what the next one is compared with."""

    issue: Issue
    digest: str
    content: IssueContent


@dataclass(frozen=True)
class _IssueFile:
    """What ``ISSUE_FILE`` holds; the issue is None for a draft."""

    format: Literal["millbook issue 1"]
    issue: Issue | None
    shop: dict[str, str]
    photos: dict[str, str]
    engine: dict[str, str]


def issue_content(
    files: Mapping[str, bytes], shop: Shop, photos: Mapping[str, str], engine: Mapping[str, str]
) -> IssueContent:
    """Return what the issue of a pack with these files is compared by; the parameters are those of `IssueContent`."""
    record = {name: content for name, content in files.items() if name.startswith(_RECORD)}
    texts = {
        ": ".join(filter(None, (field.group, field.title))): field.written
        for field in model_fields(shop, "shop", without=_OTHER_SHOP_FIELDS)
    }
    return IssueContent(record, texts, photos, engine)


def issue_of(content: IssueContent, former: IssuedPack | None, today: datetime.date) -> Issue:
    """Return the issue of a pack: the former one if nothing changed, else the next, with what changed.

    Raises PublishError where the record of the former pack cannot be read.
    """
    if former is None:
        return Issue(1, today.isoformat())
    changes = _changes(former.content, content)
    if not changes:
        return former.issue
    last = FormerIssue(former.issue.number, former.issue.date, former.digest)
    return Issue(last.number + 1, today.isoformat(), (*former.issue.former, last), changes)


def issue_file(issue: Issue | None, content: IssueContent) -> bytes:
    """Return the content of ``ISSUE_FILE``; a draft has no issue."""
    value = _IssueFile("millbook issue 1", issue, dict(content.shop), dict(content.photos), dict(content.engine))
    return f"{json.dumps(asdict(value), ensure_ascii=False, indent=1)}\n".encode()


def issued_pack(path: Path) -> IssuedPack | None:
    """Return a pack that was issued, a folder or its ZIP; None where it is a draft, or from before packs had issues.

    Raises PublishError where it is missing, or is not as it was issued.
    """
    if not path.exists():
        raise PublishError(f"{path}: there is no such pack: name the folder or the ZIP of the former issue")
    result = verify(path)
    if result.error:
        raise PublishError(f"{result.error}; without the former issue it is not known what changed. {_ADVICE}")
    if damaged := (*result.altered, *result.missing):
        raise PublishError(f"{path} is not as it was issued (altered or missing: {first_of(damaged, 3)}). {_ADVICE}")
    files = _read(path)
    value = _issue_value(files)
    if value is None or value.issue is None:
        return None
    return IssuedPack(value.issue, result.digest, IssueContent(files, value.shop, value.photos, value.engine))


def issue_in(path: Path) -> Issue | None:
    """Return the issue of an unaltered pack; None where it has none."""
    value = _issue_value(_read(path))
    return value.issue if value else None


def _read(path: Path) -> dict[str, bytes]:
    """Return the issue file and the record of a verified pack."""
    if path.is_dir():
        names = (ISSUE_FILE, *(p.relative_to(path).as_posix() for p in (path / _RECORD).rglob("*") if p.is_file()))
        return {name: (path / name).read_bytes() for name in names if (path / name).is_file()}
    with zipfile.ZipFile(path) as archive:
        files = {name.partition("/")[2]: name for name in archive.namelist()}
        return {name: archive.read(member) for name, member in files.items() if name.startswith((_RECORD, ISSUE_FILE))}


def _issue_value(files: Mapping[str, bytes]) -> _IssueFile | None:
    """Return what the issue file holds; None where there is none that this program can read."""
    import msgspec

    try:
        return msgspec.json.decode(files.get(ISSUE_FILE, b""), type=_IssueFile)
    except msgspec.MsgspecError:
        return None


def _changes(former: IssueContent, content: IssueContent) -> tuple[Change, ...]:
    return (
        *_changed_fields(_fields_of(former.files), _fields_of(content.files)),
        *_changed_texts("Dyno logs", _logs_of(former.files), _logs_of(content.files)),
        *_changed_texts("Photos", former.photos, content.photos),
        *_changed_values("Shop", former.shop, content.shop),
        *_changed_values("History of this engine", former.engine, content.engine),
    )


def _changed_values(section: str, before: Mapping[str, str], after: Mapping[str, str]) -> list[Change]:
    return [
        Change(section, name, before.get(name, _NOT_RECORDED), after.get(name, _NOT_RECORDED))
        for name in dict.fromkeys((*after, *before))
        if before.get(name) != after.get(name)
    ]


def _fields_of(files: Mapping[str, bytes]) -> list[RecordedField]:
    """Return the fields of the record in a pack. Raises PublishError where a file of it cannot be read."""
    return [
        field
        for name, model in DOCUMENTS.items()
        if name in DOCUMENT_TITLES and name != "photos" and (content := files.get(f"{_RECORD}{name}.yaml")) is not None
        for field in model_fields(_document(content, model, name), name, remarks=True, without=("dyno.pulls.file",))
    ]


def _document(content: bytes, model: type[RecordModel], name: str) -> RecordModel:
    document, problems = parse_yaml(content, Path(f"{name}.yaml"))
    if document is not None:
        part, problems = validate(with_field_names(document, model)[0], model)
        if part is not None:
            return part
    reason = problems[0] if problems else f"{name}.yaml"
    raise PublishError(f"the record of the former issue cannot be read, so what changed is not known: {reason}")


def _changed_fields(before: Iterable[RecordedField], after: Iterable[RecordedField]) -> list[Change]:
    old, new = ({field.key: field for field in fields} for fields in (before, after))
    changes = []
    for key in dict.fromkeys((*new, *old)):
        was, now = old.get(key), new.get(key)
        texts = [field.in_full if field else _NOT_RECORDED for field in (was, now)]
        if texts[0] != texts[1]:
            file, group, title = key
            changes.append(Change(": ".join(filter(None, (DOCUMENT_TITLES[file], group))), title, *texts))
    return changes


def _logs_of(files: Mapping[str, bytes]) -> dict[str, str]:
    """Return the name of each dyno log by the SHA-256 of its rows."""
    prefix = f"{_RECORD}dyno/"
    return {
        hashlib.sha256(content).hexdigest(): name.removeprefix(prefix)
        for name, content in files.items()
        if name.startswith(prefix)
    }


def _changed_texts(section: str, before: Mapping[str, str], after: Mapping[str, str]) -> list[Change]:
    """Return which files were added, removed or replaced; before and after name them by their hash."""
    removed, added = ({text: key for key, text in one.items() if key not in other} for one, other in (
        (before, after), (after, before)
    ))  # fmt: skip

    def digest(key: str | None) -> str:
        return f"SHA-256 {key[:12]}" if key else _NOT_RECORDED

    return [
        Change(section, text, digest(removed.get(text)), digest(added.get(text)))
        for text in dict.fromkeys((*added, *removed))
    ]
