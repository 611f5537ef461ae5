"""Which builds have a maker's part, and what receiving it found each time."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from builder.archive.summary import Part, Summary, newest_first

GOOD = ("fits", "as listed", "good", "in range", "ok")
UNCHECKED = "not checked"
_WORDS = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


@dataclass(frozen=True, slots=True)
class PartOccurrence:
    """One build that has the part, and the verdict from receiving it (None: not checked)."""

    summary: Summary
    verdict: str | None


@dataclass(frozen=True, slots=True)
class PartUse:
    """A maker's part number with every build that has it, newest first."""

    maker: str
    number: str
    kind: str
    uses: tuple[PartOccurrence, ...]

    @property
    def checked(self) -> int:
        """How many were checked on receipt."""
        return sum(_checked(u.verdict) for u in self.uses)

    @property
    def verdicts(self) -> tuple[tuple[str, int], ...]:
        """Each verdict with how often it was given, most often first."""
        count = Counter(u.verdict for u in self.uses if u.verdict is not None and _checked(u.verdict))
        return tuple(sorted(count.items(), key=lambda item: (-item[1], item[0])))

    @property
    def finding(self) -> str:
        """What receiving found, in one sentence: "three of five measured short"."""
        return finding(u.verdict for u in self.uses)


@dataclass(frozen=True, slots=True)
class MakerUse:
    """A maker with all of its parts."""

    maker: str
    parts: tuple[PartUse, ...]

    @property
    def builds(self) -> int:
        """In how many builds the maker's parts are."""
        return len({u.summary.slug for p in self.parts for u in p.uses})

    @property
    def finding(self) -> str:
        """What receiving found over all of the maker's parts."""
        return finding(u.verdict for p in self.parts for u in p.uses)


def finding(verdicts: Iterable[str | None]) -> str:
    """Sum verdicts up: how many of those checked were wrong, and in which way."""
    checked = [v for v in verdicts if v is not None and _checked(v)]
    if not checked:
        return "not checked on receipt"
    wrong = Counter(v for v in checked if v.casefold() not in GOOD)
    of = _count(len(checked))
    if not wrong:
        return "checked once and good" if len(checked) == 1 else f"all {of} good"
    told = sorted(wrong.items(), key=lambda item: (-item[1], item[0]))
    return "; ".join(f"{_count(n)} of {of} {verdict}" for verdict, n in told)


def _checked(verdict: str | None) -> bool:
    return verdict is not None and verdict.casefold() != UNCHECKED


def _count(n: int) -> str:
    return _WORDS[n] if n < len(_WORDS) else str(n)


def where_used(summaries: Iterable[Summary]) -> tuple[MakerUse, ...]:
    """Index makers, then part numbers, to the builds that have them.

    Makers and numbers are the same part when they differ only in capitals and spaces; the way it was
    written most often is shown. Parts without a number stand together under the maker by their kind.
    """
    uses: dict[tuple[str, str, str], list[tuple[Part, Summary]]] = defaultdict(list)
    makers: dict[str, Counter[str]] = defaultdict(Counter)
    for summary in newest_first(summaries):
        for part in summary.parts:
            maker = _key(part.maker)
            if not maker:
                continue
            makers[maker][_tidy(part.maker)] += 1
            number = _key(part.number)
            uses[maker, number, "" if number else _key(part.kind)].append((part, summary))
    found: list[MakerUse] = []
    for maker in sorted(makers):
        name = _usual(makers[maker])
        parts = [
            PartUse(
                name,
                _usual(Counter(_tidy(p.number) for p, _ in pairs)),
                _usual(Counter(_tidy(p.kind) for p, _ in pairs)),
                tuple(PartOccurrence(s, p.verdict) for p, s in pairs),
            )
            for key, pairs in sorted(uses.items())
            if key[0] == maker
        ]
        found.append(MakerUse(name, tuple(sorted(parts, key=lambda p: (p.kind.casefold(), p.number)))))
    return tuple(found)


def _tidy(text: str) -> str:
    return " ".join(text.split())


def _key(text: str) -> str:
    return "".join(text.casefold().split())


def _usual(count: Counter[str]) -> str:
    return min(count, key=lambda text: (-count[text], text))
