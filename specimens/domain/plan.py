"""What was planned for a specimen, as far as tolerances need it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from labmatrix.matrix.domain.route import Route

# Common practice of the trade, not from a standard; a route may set its own.
DEFAULT_TOLERANCE_DAYS = 2.0


@dataclass(frozen=True)
class Plan:
    """The stages of a route that tolerances are checked against; None where not planned."""

    route: Route

    def settings(self, kind: str) -> Mapping[str, Any] | None:
        """The settings of the first stage of a kind."""
        return self._first.get(kind)

    @cached_property
    def _first(self) -> dict[str, Mapping[str, Any]]:
        """The settings of the first stage of each kind: asked for many times in one fold."""
        found: dict[str, Mapping[str, Any]] = {}
        for stage in self.route.stages():
            found.setdefault(stage.kind, stage.settings)
        return found

    def has(self, kind: str) -> bool:
        """Whether the route has a stage of this kind."""
        return self.settings(kind) is not None

    def days(self, kind: str) -> float | None:
        """Planned length of a stage, days."""
        settings = self.settings(kind)
        days = settings.get("days") if settings else None
        return None if days is None else float(days)

    def tolerance(self, kind: str) -> float:
        """How many days a stage may be off."""
        settings = self.settings(kind) or {}
        return float(settings.get("tolerance_days", DEFAULT_TOLERANCE_DAYS))

    def number(self, kind: str, name: str) -> float | None:
        """A number from a stage's settings."""
        value = (self.settings(kind) or {}).get(name)
        return float(value) if isinstance(value, int | float) else None
