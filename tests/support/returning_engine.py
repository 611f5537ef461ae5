"""An archive with one engine of three builds and a log of services, made from a build of the demo archive."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import yaml

from tests.support.handover_samples import REPO, write_yaml

BASE = "pilot-launch-four"
NUMBER, KEY = "E-041", "e-041"
SLUGS = ("pilot-2024", "pilot-2025", "pilot-2026")
CANARY = "Ottoline Quist"
"""The former owner, in every private field that customers have."""

_DOCUMENTS = ("parts", "work", "bottom_end", "top_end", "cam", "assembly", "dyno", "delivery")
_BORES = [81.503, 81.505, 81.501, 81.505]
_PULLS = ("first pull", "130 jets", "130 jets again", "as delivered")


def returning_engine(folder: Path) -> Path:
    """Write the archive and return its folder; the last build has another owner than the first two."""
    builds = folder / "builds"
    builds.mkdir(parents=True)
    shutil.copy(REPO / "builds" / "shop.yaml", builds)
    shop = _load(builds / "shop.yaml")
    shop.pop("delivery_requires", None)
    write_yaml(builds / "shop.yaml", shop | {"oil_limits": {"iron": 40, "aluminum": 8, "copper": 20, "lead": 15}})
    for index, slug in enumerate(SLUGS):
        _write_build(builds / slug, index)
    return folder


def _write_build(home: Path, index: int) -> None:
    base = REPO / "builds" / BASE
    shutil.copytree(base / "dyno", home / "dyno")
    documents = {name: _load(base / f"{name}.yaml") for name in _DOCUMENTS}
    _set_readings(documents, index)
    _set_dyno(documents["dyno"], index)
    year = 2024 + index
    documents["delivery"]["delivered"] = f"{year}-05-21"
    documents["parts"]["parts"] = [part for part in documents["parts"]["parts"] if index == 0 or part["part"] in
                                   ("pistons, second set", "head gasket", "main and rod shells")]  # fmt: skip
    documents["delivery"].pop("accepted", None)
    documents["delivery"].pop("signed", None)
    if index:
        documents.pop("work")
    for name, value in documents.items():
        write_yaml(home / f"{name}.yaml", value)
    write_yaml(home / "build.yaml", _build_sheet(_load(base / "build.yaml"), index))
    if index:
        write_yaml(home / "returned.yaml", _returned(index))
    write_yaml(home / "service.yaml", _service(year))


def _build_sheet(sheet: dict[str, Any], index: int) -> dict[str, Any]:
    year = 2024 + index
    sheet |= {
        "title": ("Engine for the pilot launch", "Pilot launch engine, freshened", "Pilot launch engine, rebored")[
            index
        ],
        "number": f"W-0{241 + 40 * index}",
        "engine_number": NUMBER,
        "started": f"{year}-01-22",
        "finished": f"{year}-05-17",
        "customer": {"name": CANARY, "contact": f"{CANARY} at the quay", "address": f"{CANARY}, Port Merrow"},
        "registration": f"REG {CANARY}",
        "price": f"owed by {CANARY}",
        "private_notes": f"{CANARY} pays late",
    }
    if index == 2:
        sheet |= {"customer": {"name": "New Owner"}, "registration": "NEW 1", "price": "1", "private_notes": "none"}
    if index:
        sheet["since_last"] = {"hours": (420, 510)[index - 1], "distance": "3100 mi", "starts": 260}
        sheet["returned_for"] = {
            "reason": ("service", "wear")[index - 1],
            "text": "*Down on compression*, no complaint",
        }
    return sheet


def _set_readings(documents: dict[str, Any], index: int) -> None:
    """Wear the bores and journals of the build before, and rebuild them."""
    block, crank = documents["bottom_end"]["block"], documents["bottom_end"]["crankshaft"]
    fits, checks = documents["assembly"]["fits"], documents["assembly"]["checks"]
    checks["leak_down"] = {"unit": "%", "at_most": 10, "measured": [4, 5, 4, 6]}
    if index == 0:
        return
    worn = [round(bore + wear * index, 3) for bore, wear in zip(_BORES, (0.012, 0.010, 0.013, 0.021), strict=True)]
    rebuilt = [81.516, 81.514, 81.515, 81.525] if index == 1 else [81.753, 81.755, 81.751, 81.755]
    block["bores"] = {
        "unit": "mm",
        "returned": worn,
        "measured": rebuilt,
        "at_most": (81.56, 81.81)[index - 1],
        "resolution": "0.002 mm",
    }
    journals = [float(journal) for journal in crank["main_journals"]["measured"]]
    crank["main_journals"] = {
        "unit": "mm", "listed": 54.00, "at_least": 53.97, "resolution": "0.002 mm",
        "returned": [round(size - 0.004 * index - 0.001 * (place == 2), 3) for place, size in enumerate(journals)],
        "measured": journals,
    }  # fmt: skip
    fits["top_ring_gap"] |= {"returned": [0.40 + 0.09 * index, 0.41 + 0.08 * index, 0.47, 0.58]}
    checks["leak_down"] |= {"returned": [9, 11, 9, 14 + 4 * index]}


def _set_dyno(dyno: dict[str, Any], index: int) -> None:
    pulls = {pull["name"]: pull for pull in dyno["pulls"]}
    kept = [dict(pulls[name]) for name in _PULLS]
    kept[0].pop("note", None)
    kept[1] |= {"changed": "main jets 120 to 130", "since": "first pull"}
    kept[3] |= {"changed": "ducting and flame trap on", "since": "130 jets"}
    dyno |= {"pulls": kept, "date": f"{2024 + index}-05-14"}
    if index:
        dyno["before_work"] = "first pull"


def _returned(index: int) -> dict[str, Any]:
    return {
        "date": f"{2024 + index}-01-25",
        "oil_pressure": "49 psi",
        "condition": [
            {"part": "main bearings", "at": [3], "grade": "worn", "found": "overlay gone", "outcome": "replaced"},
            {"part": "rings", "grade": "light wear", "outcome": ("kept", "replaced")[index - 1]},
            {"part": "bores", "grade": "worn", "found": "glazed", "outcome": "reworked", "private_note": CANARY},
        ],
    }


def _service(year: int) -> dict[str, Any]:
    def entry(month: int, hours: int, leak: list[int], iron: int, lead: int) -> dict[str, Any]:
        elements = {"iron": iron, "aluminum": 3 + iron // 10, "copper": 8, "lead": lead}
        return {
            "when": f"{year}-{month:02d}-10", "hours": hours, "what": "oil and filter changed", "by": CANARY,
            "leak_down": {"unit": "%", "measured": leak}, "oil_analysis": {"hours_on_oil": 100, "elements": elements},
            "plug_color": ["tan", "tan", "light tan", "tan"], "private_note": CANARY,
        }  # fmt: skip

    return {
        "entries": [
            entry(7, 110, [5, 6, 5, 7], 14, 4),
            entry(9, 230, [6, 7, 6, 9], 22, 7),
            entry(11, 340, [7, 8, 7, 11], 46, 9),
        ],
        "events": [{"when": f"{year}-10-02", "hours": 250, "kind": "overheated", "what": "weed in the intake"}],
        "claims": [{"when": f"{year}-12-01", "what": f"leak, claimed by {CANARY}"}],
    }  # fmt: skip


def _load(path: Path) -> dict[str, Any]:
    value: dict[str, Any] = yaml.load(path.read_text(encoding="utf-8"), Loader=yaml.BaseLoader)
    return value
