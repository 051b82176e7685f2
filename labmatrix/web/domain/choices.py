"""What a person chooses for their own pages."""

from __future__ import annotations

from enum import StrEnum


class Theme(StrEnum):
    """Light or dark pages; an empty choice follows the system."""

    DAY = "day"
    DARK = "dark"

    @property
    def words(self) -> str:
        """As a form says it."""
        return "Day: ink on paper" if self is Theme.DAY else "Dark: light on dark"
