"""What is aimed at: one table for all parts of the bench."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Aim:
    """A limit that a measured figure should stay below, with the unit of both."""

    limit: float
    unit: str

    def __str__(self) -> str:
        return f"{self.limit:g} {self.unit}"


AIMS = {
    # publishing 1,000 builds, by the clock on two cores
    "nothing changed": Aim(1.0, "s"),
    "one record changed": Aim(2.2, "s"),
    "fullest record changed": Aim(3.0, "s"),
    "from nothing, against bare MkDocs and matplotlib": Aim(0.6, "times"),
    "one record, against bare MkDocs": Aim(0.125, "times"),
    # dyno logs, from file to figures
    "pull of 100 rows": Aim(10.0, "ms"),
    "pull of 1,000,000 rows": Aim(2500.0, "ms"),
    "pull of 1,000,000 rows, memory": Aim(400.0, "MB"),
    "session of six pulls": Aim(60.0, "ms"),
    "curve of 100 rows": Aim(5.0, "ms"),
    "curve of 1,000,000 rows": Aim(400.0, "ms"),
    "loaded part of 900,000 rows": Aim(500.0, "ms"),
    # figures of a build
    "figures of a build": Aim(20.0, "ms"),
    "piston motion over a cycle by 0.1 degree": Aim(1.0, "ms"),
    # an archive's index
    "search of 1,000 builds, one process": Aim(0.5, "s"),
    "distances to 10,000 builds": Aim(20.0, "ms"),
    "six nearest of each of 5,000 builds": Aim(5.0, "s"),
    "six nearest of 400 among 5,000 builds, memory": Aim(100.0, "MB"),
    # commands
    "millbook --help": Aim(0.3, "s"),
    "millbook check": Aim(1.0, "s"),
    "millbook worksheet": Aim(2.0, "s"),
    "millbook plan": Aim(0.6, "s"),
    "millbook plan, 2,000 combinations": Aim(5.0, "s"),
    "refusing a YAML file of 2 MB": Aim(10.0, "s"),
    "refusing a YAML file of 2 MB, memory": Aim(60.0, "MB"),
    # a spreadsheet of past builds
    "import of 1,000 rows": Aim(20.0, "s"),
    "import of 1,000 rows, memory": Aim(250.0, "MB"),
    "import of the same 1,000 rows again": Aim(10.0, "s"),
    # a delivery pack, by the clock on two cores
    "delivery pack of a full build": Aim(2.0, "s"),
    "delivery pack of a full build, memory": Aim(250.0, "MB"),
    # pages in a browser whose processor is slowed to a quarter
    "first paint of a build": Aim(800.0, "ms"),
    "longest task while a page loads": Aim(100.0, "ms"),
    "finder with 5,000 builds, ready": Aim(1500.0, "ms"),
    "finder with 5,000 builds, a key": Aim(100.0, "ms"),
}


def print_figure(aim: str, value: float, remark: str = "") -> None:
    """Print a measured figure beside its aim, in the unit of the aim."""
    target = AIMS[aim]
    verdict = "" if value < target.limit else "  MISSED"
    print(f"  {aim:<58}{value:>10.4g} {target.unit:<6} aim {target!s:<10}{verdict} {remark}".rstrip(), flush=True)
