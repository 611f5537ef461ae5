"""What the dyno session asks to be looked at twice: conditions out of a standard's range, guidelines broken."""

from __future__ import annotations

from builder.figures.core.types import Caution
from builder.figures.dyno.session import DynoSession
from builder.record.models.build import Build


def session_cautions(build: Build, session: DynoSession | None) -> tuple[Caution, ...]:
    """Cautions of the session, each with the figure or the place in the record that it is about.

    What is said of several pulls alike is said once.
    """
    if session is None:
        return ()
    outside: dict[str, list[str]] = {}
    for pull in session.counted:
        for sentence in pull.outside:
            outside.setdefault(sentence, []).append(pull.name)
    cautions = [
        Caution("correction_factor", f"{', '.join(names)}: {sentence}", "the standard's own range")
        for sentence, names in outside.items()
    ]
    for breach in session.violations:
        about = f"dyno.pulls.{breach.index}"
        cautions.append(Caution(about, breach.text, breach.guideline, build.where(f"{about}.file")))
    ends = session.best
    if ends is not None and ends.peaks.power.at_end:
        sentence = (
            f"{ends.name}: power was highest where the pull ended or began, so the engine's own peak lies outside"
        )
        cautions.append(Caution("peak_power", sentence, ""))
    return tuple(cautions)
