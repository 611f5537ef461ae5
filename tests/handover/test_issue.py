"""Packs issued again: number, date, what changed, and the former digest."""

from __future__ import annotations

import datetime
import json
import shutil
from pathlib import Path
from typing import Any

import pytest
import yaml

from builder.handover.issue import Change, Issue, IssuedPack, issue_content, issue_of, issued_pack
from builder.handover.packs import handover, verify_pack
from builder.publish.errors import PublishError
from builder.record.models.shop import Shop
from tests.support.handover_samples import SMALL, archive_with, load_yaml, read_files, text_of, write_yaml

DAY_ONE, DAY_TWO = datetime.date(2026, 1, 10), datetime.date(2026, 3, 1)


@pytest.fixture
def archive(small_pack: Path, tmp_path: Path) -> Path:
    """Return a copy of an archive with the first issue of a pack."""
    shutil.copytree(small_pack.parents[1], tmp_path / "archive")
    return tmp_path / "archive"


def _issue(pack: Path) -> dict[str, Any]:
    value = json.loads((pack / "data" / "issue.json").read_text(encoding="utf-8"))
    issue: dict[str, Any] = value["issue"]
    return issue


def _changes(pack: Path) -> list[tuple[str, str, str]]:
    return [(change["section"], change["field"], change["after"]) for change in _issue(pack)["changes"]]


def test_the_next_issue_says_what_changed_and_keeps_the_former_digest(archive: Path) -> None:
    pack = archive / "handover" / SMALL
    former = issued_pack(pack)
    assert former is not None
    assert (former.issue.number, former.issue.changes) == (1, ())
    delivery = load_yaml(archive, SMALL, "delivery")
    delivery["settings"]["total_timing"] = "27 deg"
    write_yaml(archive / "builds" / SMALL / "delivery.yaml", delivery)
    report = handover(archive, (SMALL,))
    assert report.ok, report.lines
    assert "issue 2" in report.lines[0]
    issue = _issue(pack)
    assert issue["number"] == 2
    assert [item["digest"] for item in issue["former"]] == [former.digest]
    assert ("Delivery: Settings", "Total timing", "27°") in _changes(pack)
    text = " ".join(text_of((pack / "binder.pdf").read_bytes()).split())
    assert "Changes since issue 1" in text
    assert former.digest[:32] in text
    assert f"with the digest\n    {former.digest}" in (pack / "READ-FIRST.txt").read_text(encoding="utf-8")
    lines = verify_pack(pack).lines
    assert any(line.startswith("Issue 2, ") for line in lines)
    assert any(former.digest in line for line in lines)
    assert json.loads(verify_pack(pack, as_json=True).lines[0])["issue"]["number"] == 2


def test_a_pack_made_again_from_the_same_record_is_the_same_issue(archive: Path) -> None:
    pack = archive / "handover" / SMALL
    before = read_files(pack)
    assert handover(archive, (SMALL,)).ok
    assert read_files(pack) == before
    shutil.rmtree(pack)  # the ZIP is enough
    assert handover(archive, (SMALL,)).ok
    assert read_files(pack) == before


def test_a_comment_or_a_private_note_is_no_change(archive: Path) -> None:
    sheet = load_yaml(archive, SMALL, "build")
    path = archive / "builds" / SMALL / "build.yaml"
    write_yaml(path, sheet | {"private_notes": "paid in cash"})
    path.write_text(f"# a comment\n{path.read_text(encoding='utf-8')}", encoding="utf-8")
    assert "issue 1" in handover(archive, (SMALL,)).lines[0]


def test_texts_of_the_shop_count_as_well(archive: Path) -> None:
    profile = yaml.safe_load((archive / "builds" / "shop.yaml").read_text(encoding="utf-8"))
    write_yaml(archive / "builds" / "shop.yaml", profile | {"warranty": "Two seasons."})
    assert handover(archive, (SMALL,)).ok
    assert _changes(archive / "handover" / SMALL) == [("Shop", "Warranty", "Two seasons.")]


def test_an_altered_former_pack_is_refused_with_the_way_out(archive: Path) -> None:
    pack = archive / "handover" / SMALL
    (pack / "data" / "record" / "build.yaml").write_text("title: Other\n")
    report = handover(archive, (SMALL,))
    assert not report.ok
    assert "is not as it was issued (altered or missing: data/record/build.yaml)" in report.lines[0]
    assert "--previous" in report.lines[0]
    zip_file = pack.with_name(f"{SMALL}.zip")
    again = handover(archive, (SMALL,), previous=zip_file)
    assert again.ok, again.lines
    assert "issue 1" in again.lines[0]


def test_a_former_pack_that_is_missing_is_reported(archive: Path, tmp_path: Path) -> None:
    report = handover(archive, (SMALL,), previous=tmp_path / "nowhere")
    assert "there is no such pack" in report.lines[0]
    with pytest.raises(PublishError, match="of one build"):
        handover(archive, everything=True, previous=tmp_path)


def test_the_former_issue_may_be_elsewhere(archive: Path, tmp_path: Path) -> None:
    former = archive / "handover" / SMALL
    sheet = load_yaml(archive, SMALL, "build")
    write_yaml(archive / "builds" / SMALL / "build.yaml", sheet | {"purpose": "irrigation and frost"})
    report = handover(archive, (SMALL,), out=tmp_path / "out", previous=former)
    assert "issue 2" in report.lines[0]


def test_a_draft_does_not_replace_an_issue(archive: Path, tmp_path: Path) -> None:
    report = handover(archive, (SMALL,), draft=True)
    assert "a draft would replace" in report.lines[0]
    assert handover(archive, (SMALL,), draft=True, out=tmp_path / "drafts").lines[0].endswith(", draft")
    # A draft counts for nothing: the first issue follows it.
    assert "issue 1" in handover(archive, (SMALL,), out=tmp_path / "drafts").lines[0]


def test_one_position_and_one_log_that_changed(tmp_path: Path) -> None:
    before = {
        "data/record/assembly.yaml": b"fits: {main_oil_clearance: {unit: in, measured: [0.0026, 0.0025]}}\n",
        "data/record/dyno/01-first.csv": b"a",
    }
    after = {
        "data/record/assembly.yaml": b"fits: {main_oil_clearance: {unit: in, measured: [0.0026, 0.0028]}}\n",
        "data/record/dyno/01-first.csv": b"b",
    }
    first = IssuedPack(Issue(1, DAY_ONE.isoformat()), "d" * 64, issue_content(before, Shop(), {"1": "the block"}, {}))
    issue = issue_of(
        issue_content(after, Shop(), {"1": "the block", "2": "the head"}, {"2025: service": "oil"}), first, DAY_TWO
    )
    assert (issue.number, issue.date) == (2, "2026-03-01")
    assert issue.changes == (
        Change(
            "Assembly: Fits",
            "Main oil clearance",
            "0.0026, 0.0025\N{NO-BREAK SPACE}in",
            "0.0026, 0.0028\N{NO-BREAK SPACE}in",
        ),
        Change("Dyno logs", "01-first.csv", "SHA-256 ca978112ca1b", "SHA-256 3e23e8160039"),
        Change("Photos", "the head", "–", "SHA-256 2"),
        Change("History of this engine", "2025: service", "–", "oil"),
    )
    assert issue_of(issue_content(before, Shop(), {"1": "the block"}, {}), first, DAY_TWO) is first.issue


def test_an_archive_without_a_former_pack_starts_with_issue_1(tmp_path: Path) -> None:
    report = handover(archive_with(tmp_path, SMALL), (SMALL,))
    assert f"issue 1, {datetime.date.today().isoformat()}" in report.lines[0]
