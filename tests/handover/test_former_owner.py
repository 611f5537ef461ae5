"""An engine that changed hands: nothing of its former owner is in the new one's pack, nor on any page."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.handover.packs import handover
from builder.publish.edition import Edition
from builder.publish.pipeline import publish
from tests.support.handover_samples import unpacked_pdf

FORMER = "QZXFORMER"
NEW = "QZXNEWOWNER"

ENGINE = "status: finished\nengine: {cylinders: 2}\nengine_number: E-041\n"
BORES = "block: {bores: {unit: mm, measured: [81.503, 81.505], resolution: 0.001 mm}}\n"
BUILDS = {
    "first": {
        "build": f"title: First\n{ENGINE}started: 2022-01-10\nfinished: 2022-03-01\n"
        f"customer: {{name: {FORMER}, contact: {FORMER}, address: {FORMER}}}\nregistration: {FORMER}\n"
        f"engine_serial: {FORMER}\nprice: {FORMER}\nprivate_notes: {FORMER}\n",
        "bottom_end": BORES,
        "delivery": f"delivered: 2022-03-02\nprivate_note: {FORMER}\n",
        "service": f"entries: [{{when: 2022-06-01, hours: 40, what: oil, by: {FORMER}, private_note: {FORMER},"
        f" oil_analysis: {{elements: {{iron: 22}}, report: {FORMER}}}}}]\n"
        f"events: [{{when: 2022-07-01, kind: overheated, private_note: {FORMER}}}]\n"
        f"claims: [{{when: 2022-07-02, what: {FORMER}, outcome: {FORMER}, cost: {FORMER}, private_note: {FORMER}}}]\n",
    },
    "second": {
        "build": f"title: Second\n{ENGINE}started: 2024-01-10\nfinished: 2024-03-01\nsince_last: {{hours: 100}}\n"
        f"returned_for: wear\ncustomer: {{name: {NEW}}}\n",
        "bottom_end": BORES.replace("measured", "returned: [81.52, 81.51], measured"),
        "delivery": "delivered: 2024-03-02\n",
        "returned": f"condition: [{{part: rings, grade: worn, private_note: {FORMER}}}]\nprivate_note: {FORMER}\n",
    },
}
SHOP = "handover_holds: [customer.name, customer.contact, registration, engine_serial, service.claims," \
       " service.entries.by, service.entries.oil_analysis.report]\n"  # fmt: skip


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return an archive with two builds of one engine, for two owners."""
    archive = tmp_path_factory.mktemp("owners")
    for slug, files in BUILDS.items():
        (archive / "builds" / slug).mkdir(parents=True)
        for name, text in files.items():
            (archive / "builds" / slug / f"{name}.yaml").write_text(text, encoding="utf-8")
    (archive / "builds" / "shop.yaml").write_text(SHOP, encoding="utf-8")
    return archive


def _contents(folder: Path) -> dict[str, bytes]:
    files = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    return {path.name: unpacked_pdf(content) if path.suffix == ".pdf" else content for path, content in files.items()}


def test_the_new_owners_pack_holds_nothing_of_the_former_owner(archive: Path) -> None:
    outcome = handover(archive, ("first", "second"))
    assert outcome.ok, outcome.lines
    second = _contents(archive / "handover" / "second")
    assert any(NEW.encode() in content for content in second.values())
    assert [name for name, content in second.items() if FORMER.encode() in content] == []
    first = b"".join(_contents(archive / "handover" / "first").values())
    assert FORMER.encode() in first  # the former owner's own pack holds what the shop allows
    assert NEW.encode() not in first


@pytest.mark.parametrize("edition", [Edition.PUBLIC, Edition.SHOP])
def test_no_page_and_no_file_of_a_publish_holds_an_owner(archive: Path, edition: Edition) -> None:
    site = archive / f"site-{edition.value}"
    assert publish(archive, site, edition=edition).published == ("first", "second")
    work = archive / ".millbook"
    for folder in (site, work):
        found = [name for name, content in _contents(folder).items() if FORMER.encode() in content]
        found += [name for name, content in _contents(folder).items() if NEW.encode() in content]
        assert found == []
