"""The entries of a form for one kind of event, made from the schema of its payload."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from specimens.domain.catalogue import CATALOGUE

EntryKind = Literal["text", "words", "choice", "integer", "number", "quantity", "date", "answers"]
LONG_TEXT = 1000
ANSWER_SHAPE = "Line {line} is {text!r}; allowed is a question, a colon and its answer."
_YES_NO: Mapping[str, bool] = {"yes": True, "no": False}


@dataclass(frozen=True)
class Entry:
    """One thing to fill in.

    Attributes:
        path: where it stands in the payload, outermost name first.
        kind: how it is filled in; a quantity has a value and a unit.
        required: whether it may be left empty.
        help: what to know beforehand.
        choices: of a choice.
        units: of a quantity, the usual one first.
        minimum, maximum: limits of a number.
        length: characters that a text may have at most.
        pattern: regular expression that a text must match; empty for none.
        may_be_empty: a text that has to be there may have no characters.
    """

    path: tuple[str, ...]
    kind: EntryKind
    required: bool
    help: str = ""
    choices: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    minimum: float | None = None
    maximum: float | None = None
    length: int | None = None
    pattern: str = ""
    may_be_empty: bool = False

    @property
    def name(self) -> str:
        """Name of the entry in a form."""
        return "-".join(part.replace(" ", "_") for part in self.path)

    @property
    def label(self) -> str:
        """What stands beside it."""
        words = self.path[-1].replace("_", " ").replace("-", " ")
        if len(self.path) > 1:
            words = f"{self.path[-2]}: {words}"
        return words[:1].upper() + words[1:]


def payload_schema(kind: str) -> dict[str, Any]:
    """JSON Schema of a kind's payload.

    Raises:
        KeyError: no such kind.
    """
    return CATALOGUE[kind].model_json_schema(by_alias=True)


def payload_entries(kind: str) -> tuple[Entry, ...]:
    """What a form for this kind asks.

    Raises:
        KeyError: no such kind.
    """
    schema = payload_schema(kind)
    return tuple(_entries(schema, schema.get("$defs", {}), (), required=True))


def _entries(
    schema: Mapping[str, Any], shapes: Mapping[str, Any], path: tuple[str, ...], *, required: bool
) -> Iterator[Entry]:
    needed = set(schema.get("required", ()))
    for name, part in schema.get("properties", {}).items():
        found = _plain_shape(part, shapes)
        inner, here = (*path, name), required and name in needed
        if set(found.get("properties", ())) == {"value", "unit"}:
            units = tuple(found["properties"]["unit"].get("examples", ()))
            yield Entry(inner, "quantity", here, found["about"], units=units)
        elif "properties" in found:
            yield from _entries(found, shapes, inner, required=here)
        else:
            yield _leaf(found, inner, here)


def _plain_shape(part: Mapping[str, Any], shapes: Mapping[str, Any]) -> dict[str, Any]:
    """A property's shape with its reference followed and ``or nothing`` taken away.

    The property's own description is kept as ``about``; a shape's describes the shape.
    """
    about = part.get("description", "")
    found = dict(part)
    for option in part.get("anyOf", ()):
        if option.get("type") != "null":
            found = {**found, **option}
    if "$ref" in found:
        found = {**shapes[found["$ref"].rpartition("/")[2]]}
    return {**found, "about": about}


def _leaf(found: Mapping[str, Any], path: tuple[str, ...], required: bool) -> Entry:
    about = found["about"]
    if "enum" in found:
        return Entry(path, "choice", required, about, choices=tuple(found["enum"]))
    kind = found.get("type")
    if kind in ("integer", "number"):
        return Entry(
            path,
            "integer" if kind == "integer" else "number",
            required,
            about,
            minimum=found.get("minimum"),
            maximum=found.get("maximum"),
        )
    if kind == "object":
        return Entry(path, "answers", required, about)
    if found.get("format") == "date":
        return Entry(path, "date", required, about)
    length = found.get("maxLength")
    return Entry(
        path,
        "words" if length is not None and length > LONG_TEXT else "text",
        required,
        about,
        length=length,
        pattern=found.get("pattern", ""),
        may_be_empty=not found.get("minLength") and not found.get("pattern"),
    )


def payload_built(entries: tuple[Entry, ...], values: Mapping[str, Any]) -> dict[str, Any]:
    """A payload from a form's values, entries that were left empty left out.

    Args:
        entries: of ``payload_entries``.
        values: by the entries' names; a quantity as {value, unit}, answers as a mapping.
    """
    payload: dict[str, Any] = {}
    for entry in entries:
        value = values.get(entry.name)
        if value is None or (value == "" and not (entry.required and entry.may_be_empty)):
            continue
        place = payload
        for part in entry.path[:-1]:
            place = place.setdefault(part, {})
        place[entry.path[-1]] = value
    return payload


def payload_values(entries: tuple[Entry, ...], payload: Mapping[str, Any]) -> dict[str, Any]:
    """The values with which a form is filled to show a payload."""
    values: dict[str, Any] = {}
    for entry in entries:
        place: Any = payload
        for part in entry.path:
            place = place.get(part) if isinstance(place, Mapping) else None
        if place is not None:
            values[entry.name] = place
    return values


def answers_read(text: str) -> dict[str, str | bool]:
    """Answers from lines of ``question: answer``; yes and no become true and false.

    Raises:
        ValueError: a line without a colon, or without a question.
    """
    found: dict[str, str | bool] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        question, colon, answer = line.rpartition(":")
        if not colon or not question.strip():
            raise ValueError(ANSWER_SHAPE.format(line=number, text=line[:60]))
        answer = answer.strip()
        found[question.strip()] = _YES_NO.get(answer.lower(), answer)
    return found


def answers_written(answers: Mapping[str, str | bool]) -> str:
    """The lines that ``answers_read`` reads."""
    words = {True: "yes", False: "no"}
    return "\n".join(
        f"{question}: {words[answer] if isinstance(answer, bool) else answer}"
        for question, answer in answers.items()
    )
