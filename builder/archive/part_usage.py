"""Which builds have a maker's part, and the verdict on it in each."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from builder.archive.summary import PartSummary, Summary, newest_first

GOOD = ("fits", "as listed", "good", "in range", "ok")
UNCHECKED = "not checked"
_NUMERALS = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


@dataclass(frozen=True, slots=True)
class PartOccurrence:
    """One build that has the part, and the verdict on receipt (None: not checked)."""

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
        return sum(_is_checked(u.verdict) for u in self.uses)

    @property
    def builds(self) -> tuple[Summary, ...]:
        """The builds that have the part, each once, newest first."""
        return tuple({use.summary.slug: use.summary for use in self.uses}.values())

    @property
    def verdicts(self) -> tuple[tuple[str, int], ...]:
        """Each verdict with its number, most frequent first."""
        return _verdict_counts(self.uses)

    @property
    def finding(self) -> str:
        """The verdicts in one sentence: "three of five measured short"."""
        return finding(u.verdict for u in self.uses)


@dataclass(frozen=True, slots=True)
class MakerUse:
    """A maker with all of its parts."""

    maker: str
    parts: tuple[PartUse, ...]

    @property
    def builds(self) -> int:
        """The number of builds with parts of the maker."""
        return len({u.summary.slug for p in self.parts for u in p.uses})

    @property
    def checked(self) -> int:
        """How many of the maker's parts were checked on receipt."""
        return sum(p.checked for p in self.parts)

    @property
    def verdicts(self) -> tuple[tuple[str, int], ...]:
        """Each verdict on the maker's parts with its number, most frequent first."""
        return _verdict_counts(u for p in self.parts for u in p.uses)

    @property
    def finding(self) -> str:
        """The verdicts on all of the maker's parts in one sentence."""
        return finding(u.verdict for p in self.parts for u in p.uses)


def finding(verdicts: Iterable[str | None]) -> str:
    """Return how many of the parts checked were wrong, and in which way, as a sentence."""
    checked = [v for v in verdicts if v is not None and _is_checked(v)]
    if not checked:
        return "not inspected"
    wrong = Counter(v for v in checked if v.casefold() not in GOOD)
    total = len(checked)
    if not wrong:
        return "inspected, OK" if total == 1 else f"{_all_of(total)} inspected, OK"
    by_frequency = sorted(wrong.items(), key=lambda item: (-item[1], item[0]))
    if len(wrong) == 1 and wrong.total() == total:
        verdict = by_frequency[0][0]
        return verdict if total == 1 else f"{_all_of(total)} {verdict}"
    return "; ".join(f"{_count(n)} of {_count(total)} {verdict}" for verdict, n in by_frequency)


def _verdict_counts(uses: Iterable[PartOccurrence]) -> tuple[tuple[str, int], ...]:
    count = Counter(u.verdict for u in uses if u.verdict is not None and _is_checked(u.verdict))
    return tuple(sorted(count.items(), key=lambda item: (-item[1], item[0])))


def _is_checked(verdict: str | None) -> bool:
    return verdict is not None and verdict.casefold() != UNCHECKED


def _all_of(n: int) -> str:
    return "both" if n == 2 else f"all {_count(n)}"


def _count(n: int) -> str:
    return _NUMERALS[n] if n < len(_NUMERALS) else str(n)


def index_parts(summaries: Iterable[Summary]) -> tuple[MakerUse, ...]:
    """Return every maker with its part numbers and the builds that have them.

    Makers and numbers that differ only in capitals and spaces are the same; the most frequent spelling is
    shown. Parts without a number are grouped by their kind.
    """
    uses: dict[tuple[str, str, str], list[tuple[PartSummary, Summary]]] = defaultdict(list)
    makers: dict[str, Counter[str]] = defaultdict(Counter)
    for summary in newest_first(summaries):
        for part in summary.parts:
            maker = _key(part.maker)
            if not maker:
                continue
            makers[maker][_strip(part.maker)] += 1
            number = _key(part.number)
            uses[maker, number, "" if number else _key(part.kind)].append((part, summary))
    result: list[MakerUse] = []
    for maker in sorted(makers):
        name = _most_frequent(makers[maker])
        parts = [
            PartUse(
                name,
                _most_frequent(Counter(_strip(p.number) for p, _ in pairs)),
                _most_frequent(Counter(_strip(p.kind) for p, _ in pairs)),
                tuple(PartOccurrence(s, p.verdict) for p, s in pairs),
            )
            for key, pairs in sorted(uses.items())
            if key[0] == maker
        ]
        result.append(MakerUse(name, tuple(sorted(parts, key=lambda p: (p.kind.casefold(), p.number)))))
    return tuple(result)


def _strip(text: str) -> str:
    return " ".join(text.split())


def _key(text: str) -> str:
    return "".join(text.casefold().split())


def _most_frequent(count: Counter[str]) -> str:
    return min(count, key=lambda text: (-count[text], text))
