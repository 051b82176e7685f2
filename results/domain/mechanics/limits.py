"""Limits and factors that a laboratory can edit, each with its edition and where it came from.

"recalled" means recalled from the standard and not re-read: check it against the edition in use.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from labmatrix.kernel.errors import ShapeError
from results.domain.mechanics.ranges import Fields, number


@dataclass(frozen=True)
class Limit:
    """One editable number.

    Attributes:
        key: stable name.
        words: what it limits.
        value: the number.
        unit: its unit, ``1`` for a ratio.
        edition: document and year.
        origin: ``published`` (read), ``recalled`` (not re-read), ``practice`` or ``laboratory``.
    """

    key: str
    words: str
    value: float
    unit: str
    edition: str
    origin: str

    @property
    def origin_words(self) -> str:
        """Where the number came from, in words."""
        return _ORIGINS[self.origin]

    @property
    def source(self) -> str:
        """Edition and origin in one phrase."""
        return f"{self.edition} ({self.origin_words})"


_ORIGINS: Mapping[str, str] = MappingProxyType(
    {
        "published": "published",
        "recalled": "recalled, not re-read",
        "practice": "common practice",
        "laboratory": "set by the laboratory",
    }
)
_549 = "ACI 549.4R-20"
_318 = "ACI 318-19"
_FABRIC = "sustained plus cyclic stress / design strength, "
_PRACTICE = "testing practice"

_DEFAULTS = (
    Limit("gain", "gain over the unstrengthened strength", 0.50, "1", _549, "recalled"),
    Limit("strain-cap", "design strain of the fabric", 0.012, "mm/mm", _549, "recalled"),
    Limit("crushing-strain", "strain of crushing concrete", 0.003, "mm/mm", _318, "recalled"),
    Limit("service-steel", "service steel stress / fy", 0.80, "1", _549, "recalled"),
    Limit("service-concrete", "service concrete stress / f'c", 0.45, "1", _549, "recalled"),
    Limit("fabric-ar-glass", _FABRIC + "AR-glass", 0.20, "1", _549, "recalled"),
    Limit("fabric-basalt", _FABRIC + "basalt", 0.20, "1", _549, "recalled"),
    Limit("fabric-aramid", _FABRIC + "aramid", 0.30, "1", _549, "recalled"),
    Limit("fabric-pbo", _FABRIC + "PBO", 0.30, "1", _549, "recalled"),
    Limit("fabric-carbon", _FABRIC + "carbon", 0.55, "1", _549, "recalled"),
    Limit("minimum-load", "least / largest load of a cycle", 0.05, "1", _PRACTICE, "practice"),
)


FIBRES: tuple[str, ...] = ("ar-glass", "basalt", "aramid", "pbo", "carbon")


@dataclass(frozen=True)
class Limits:
    """A set of limits by key."""

    items: Mapping[str, Limit]

    def __getitem__(self, key: str) -> Limit:
        """The limit of that key.

        Raises:
            ShapeError: ``limit.unknown``.
        """
        if key not in self.items:
            raise ShapeError(
                "limit.unknown",
                f"The limit {key!r} is not known; known are {', '.join(sorted(self.items))}.",
                key=key,
            )
        return self.items[key]

    def value(self, key: str) -> float:
        """The number of that key."""
        return self[key].value

    def fabric_ratio(self, fibre: str) -> Limit:
        """Limit of sustained plus cyclic stress for a fibre."""
        return self[f"fabric-{fibre}"]

    def edited(self, key: str, value: float, *, edition: str) -> Limits:
        """The set with one number changed by the laboratory.

        Args:
            key: which limit.
            value: the new number, above 0 and at most 10.
            edition: on what authority.
        """
        number(f"limits.{key}", value, low=0.0, high=10.0, above=True)
        changed = replace(self[key], value=value, edition=edition, origin="laboratory")
        return Limits(MappingProxyType({**self.items, key: changed}))

    def as_dict(self) -> dict[str, Any]:
        """Every limit with value, unit, words, edition and origin."""
        return {
            key: {
                "words": item.words,
                "value": item.value,
                "unit": item.unit,
                "edition": item.edition,
                "origin": item.origin,
            }
            for key, item in self.items.items()
        }

    @classmethod
    def from_dict(cls, source: Mapping[str, Any] | None, path: str = "limits") -> Limits:
        """The default set with the given keys changed: {key: {value, edition}}.

        Raises:
            ShapeError, RangeError: an unknown key, or a number out of range.
        """
        limits = DEFAULT_LIMITS
        if source is None:
            return limits
        for key in Fields.of(source, path).source:
            part = Fields.of(source[key], f"{path}.{key}")
            value = part.number("value", low=0.0, high=10.0, above=True)
            edition = part.text("edition", "the laboratory")
            for name in ("words", "unit", "origin"):
                part.text(name)
            part.finish()
            kept = limits[key]
            if value != kept.value or edition != kept.edition:
                limits = limits.edited(key, value, edition=edition)
        return limits


DEFAULT_LIMITS = Limits(MappingProxyType({item.key: item for item in _DEFAULTS}))
