"""The uncertainty budget of a result: one row for each influence, combined and expanded as in JCGM 100 (GUM)."""

from __future__ import annotations

from dataclasses import dataclass

from builder.engine.autocorrelated_noise import student_t_quantile
from builder.engine.uncertainty import combine, effective_freedom


@dataclass(frozen=True, kw_only=True)
class Influence:
    """One row of a budget.

    ``standard_uncertainty``: of the influence, in its own unit. ``sensitivity``: of the result to it, unit of the
    result per unit of the influence. ``freedom``: degrees of freedom; infinite where it comes from a certificate or
    a resolution.
    """

    name: str
    standard_uncertainty: float
    sensitivity: float
    freedom: float = float("inf")

    @property
    def contribution(self) -> float:
        """Return the part of the result's standard uncertainty, not signed. Source: JCGM 100, 5.1.3."""
        return abs(self.sensitivity) * self.standard_uncertainty


@dataclass(frozen=True)
class UncertaintyBudget:
    """The influences on one result, taken as independent of each other."""

    influences: tuple[Influence, ...]

    @property
    def combined(self) -> float:
        """Return the combined standard uncertainty, unit of the result. Source: JCGM 100, 5.1.2."""
        return float(combine({item.name: item.contribution for item in self.influences}))

    @property
    def freedom(self) -> float:
        """Return the effective degrees of freedom, a thousand at most. Source: JCGM 100, G.4.1."""
        return effective_freedom(*((item.contribution**2, item.freedom) for item in self.influences))

    def coverage(self, level: float = 0.95) -> float:
        """Return the coverage factor for a level: Student's t of the effective freedom. Source: JCGM 100, G.3.2."""
        return student_t_quantile(level, self.freedom)

    def expanded(self, level: float = 0.95) -> float:
        """Return the expanded uncertainty for a level, unit of the result. Source: JCGM 100, 6.2.1."""
        return self.coverage(level) * self.combined
