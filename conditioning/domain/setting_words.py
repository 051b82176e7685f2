"""A regime's settings as a person reads them: words, then the number and its unit."""

from __future__ import annotations

from collections.abc import Mapping

# How a name may end, the longest first, and the unit that it then has.
UNITS = {
    "cycles_per_day": "per day",
    "percent_rh": "% RH",
    "percent": "%",
    "degc": "°C",
    "mm": "mm",
    "kn": "kN",
    "mpa": "MPa",
    "hz": "Hz",
    "min": "min",
    "h": "h",
    "d": "d",
    "s": "s",
}
_WHOLE = {"cycles_per_day": "Cycles"}
_LONG = {
    "degc": "temperature",
    "h": "time",
    "d": "time",
    "min": "time",
    "s": "time",
    "percent_rh": "humidity",
}
_TRUTH = {True: "yes", False: "no"}


def setting_words(name: str) -> tuple[str, str]:
    """What a setting is called, and its unit; no unit where its name does not end in one.

    ``low_degc`` is "Low temperature" in °C, ``wet_h`` "Wet time" in h.
    """
    for ending, unit in UNITS.items():
        if name == ending or name.endswith(f"_{ending}"):
            stem = name[: -len(ending)].strip("_").replace("_", " ")
            long = _WHOLE.get(ending) or _LONG.get(ending, "")
            words = f"{stem} {long}".strip() or ending.replace("_", " ")
            return words[:1].upper() + words[1:].lower(), unit
    words = name.replace("_", " ")
    return words[:1].upper() + words[1:], ""


def setting_parts(name: str) -> tuple[str, str]:
    """A setting's name as a form asks for it: words without the unit, and how the unit is written.

    ``low_degc`` is ("low", "degc"), ``is_drained`` ("is drained", "").
    """
    for ending in UNITS:
        if name == ending or name.endswith(f"_{ending}"):
            return name[: -len(ending)].strip("_").replace("_", " "), ending
    return name.replace("_", " "), ""


def setting_name(words: str, ending: str) -> str:
    """The name of a setting from its words and how its unit is written; ``setting_parts`` turned.

    A name that ends in its unit already is not given it twice.
    """
    stem = "_".join(words.lower().split())
    if ending == "cycles_per_day" and stem == "cycles":
        stem = ""
    if stem == ending or stem.endswith(f"_{ending}"):
        return stem
    return "_".join(filter(None, (stem, ending)))


def settings_in_words(settings: Mapping[str, object]) -> list[tuple[str, str]]:
    """Each setting as its name in words and its value with its unit."""
    found = []
    for name, value in settings.items():
        words, unit = setting_words(name)
        if isinstance(value, bool):
            shown = _TRUTH[value]
        elif isinstance(value, int | float):
            shown = f"{value:.12g}".replace("-", "\N{MINUS SIGN}")
        else:
            shown = str(value)
        found.append((words, f"{shown} {unit}".strip()))
    return found
