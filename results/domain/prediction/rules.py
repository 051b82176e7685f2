"""The rules that a laboratory chooses for its predictions, with the words that explain them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, get_args

from results.domain.mechanics.bar_fatigue import SN_LINES, THRESHOLD_SOURCES
from results.domain.mechanics.blocks import PARABOLIC_SOURCE, RECTANGULAR_SOURCE
from results.domain.mechanics.effective_inertia import INERTIA_SOURCES
from results.domain.mechanics.limits import DEFAULT_LIMITS
from results.domain.mechanics.loading import CrackingSection, FibreLaw, Options
from results.domain.mechanics.reduction_factor import PHI_SOURCES
from results.domain.mechanics.shear import SHEAR_SOURCES


@dataclass(frozen=True)
class Rule:
    """One choice among named rules.

    Attributes:
        name: of the option.
        words: what it decides.
        allowed: names with their source or words.
    """

    name: str
    words: str
    allowed: Mapping[str, str]


def _named(sources: Mapping[Any, str]) -> dict[str, str]:
    return {str(name): words for name, words in sources.items()}


_CRACKING = {"gross": "on the concrete alone", "transformed": "with the bars transformed"}
_FIBRES = {"parabola": "parabola, 1.7 f'c/Ec", "parabola-rectangle": "parabola and rectangle"}
RULES: tuple[Rule, ...] = (
    Rule(
        "block",
        "Compression block",
        {"parabolic": PARABOLIC_SOURCE, "rectangular": RECTANGULAR_SOURCE},
    ),
    Rule("phi_edition", "Strength reduction factor φ", _named(PHI_SOURCES)),
    Rule("shear_edition", "Shear strength", _named(SHEAR_SOURCES)),
    Rule("inertia_form", "Effective second moment of area", _named(INERTIA_SOURCES)),
    Rule(
        "cracking_section",
        "Cracking moment",
        {name: _CRACKING[name] for name in get_args(CrackingSection)},
    ),
    Rule(
        "fibre_law",
        "Concrete of the load–deflection curve",
        {name: _FIBRES[name] for name in get_args(FibreLaw)},
    ),
    Rule("threshold_edition", "Threshold of the bars' stress range", _named(THRESHOLD_SOURCES)),
    Rule("sn_line", "S–N line of the bars", {name: line.origin for name, line in SN_LINES.items()}),
)
DEFAULTS: Mapping[str, Any] = MappingProxyType(Options().as_dict())


def changed_options(options: Mapping[str, Any]) -> dict[str, Any]:
    """What differs from the defaults, in its canonical form; checked on the way.

    Args:
        options: fields of :class:`.loading.Options`; limits as {key: {value, edition}}.

    Raises:
        ShapeError, RangeError: an unknown name, or a number out of range.
    """
    read = Options.from_dict(options)
    changed = {
        name: value
        for name, value in read.as_dict().items()
        if name != "limits" and value != DEFAULTS[name]
    }
    limits = {
        key: {"value": limit.value, "edition": limit.edition}
        for key, limit in read.limits.items.items()
        if limit != DEFAULT_LIMITS[key]
    }
    return {**changed, "limits": limits} if limits else changed


def options_in_words(options: Mapping[str, Any]) -> list[str]:
    """What differs from the defaults, a line each."""
    words = {rule.name: rule.words for rule in RULES}
    lines = [
        f"{words.get(name, name.replace('_', ' '))}: {value}"
        for name, value in options.items()
        if name != "limits"
    ]
    return lines + [
        f"{DEFAULT_LIMITS[key].words}: {limit['value']:g} ({limit['edition']})"
        for key, limit in options.get("limits", {}).items()
    ]
