"""Texts that people write: tidied, and refused where they could not be stored or would mislead."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from labmatrix.kernel.errors import ShapeError
from labmatrix.kernel.text import unseen_characters

# How the unit at the end of a name is written as a word.
_UNITS = {
    "mm": "mm", "mm2": "mm²", "m": "m", "mpa": "MPa", "gpa": "GPa", "kn": "kN", "kg": "kg",
    "d": "d", "days": "days", "h": "h", "c": "°C", "percent": "%", "hz": "Hz",
}  # fmt: skip


def check_text(
    text: str, *, argument: str, at_most: int, may_be_empty: bool = False, lines: bool = False
) -> str:
    """The text without blanks at its ends.

    Args:
        text: what a person wrote.
        argument: its name in the sentence of a refusal.
        at_most: the number of characters allowed.
        may_be_empty: whether nothing is allowed too.
        lines: whether it may hold several lines.

    Raises:
        ShapeError: ``text.empty``, ``text.long`` or ``text.characters``.
    """
    tidy = text.replace("\r\n", "\n").strip()
    if not tidy and not may_be_empty:
        raise ShapeError("text.empty", f"{argument} is empty; a text is needed.", argument=argument)
    if len(tidy) > at_most:
        raise ShapeError(
            "text.long",
            f"{argument} has {len(tidy)} characters; allowed are {at_most}.",
            argument=argument,
            characters=len(tidy),
            allowed=at_most,
        )
    for character in unseen_characters(tidy, allowed="\n\t" if lines else ""):
        raise ShapeError(
            "text.characters",
            f"{argument} holds the character U+{ord(character):04X}, which cannot be seen; "
            "allowed are characters that can.",
            argument=argument,
        )
    return tidy


def as_sentence(text: str) -> str:
    """A person's text as the end of a sentence of ours: with a full stop if it has no end."""
    return text if text.endswith((".", "!", "?")) else f"{text}."


def value_in_words(value: Any, at_most: int = 240) -> str:
    """Planned data as a person reads it: lists and objects on one line, nothing as "none"."""
    words = _words(value) or "none"
    return words if len(words) <= at_most else f"{words[: at_most - 2]} …"


def named_value_in_words(name: str, value: Any) -> tuple[str, str]:
    """A value by its name with the unit last.

    ``width_mm`` 200 gives ("width", "200 mm"), ``days`` 28 gives ("", "28 days").
    """
    stem, _, suffix = name.rpartition("_")
    words = value_in_words(value)
    if suffix not in _UNITS or not isinstance(value, int | float | list | tuple):
        return name.replace("_", " "), words
    return stem.replace("_", " "), f"{words} {_UNITS[suffix]}"


def _words(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        # By name: not every database keeps the order in which an object was written.
        said = (named_value_in_words(str(k), v) for k, v in sorted(value.items()))
        return ", ".join(" ".join(filter(None, words)) for words in said)
    if isinstance(value, list | tuple):
        mark = "; " if any(isinstance(item, Mapping | list | tuple) for item in value) else ", "
        return mark.join(_words(item) for item in value)
    return f"{value:.12g}" if isinstance(value, float) else str(value)
