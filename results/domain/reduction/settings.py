"""Settings of reductions: each with its default, unit and rule in words; unknown ones refused."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from labmatrix.kernel.errors import ShapeError


@dataclass(frozen=True, slots=True)
class SettingWords:
    """One setting as a page shows it.

    Attributes:
        name: its name.
        default: its default, None where it is chosen from the record.
        unit: its unit, ``1`` for a share or a choice.
        rule: what it does, in words.
        choices: the values it may take, where it is a choice.
    """

    name: str
    default: Any
    unit: str
    rule: str
    choices: tuple[str, ...] = ()


def setting(default: Any, *, unit: str, rule: str, **limits: Any) -> Any:
    """A setting with its unit and rule; ``limits`` as in pydantic (gt, ge, lt, le)."""
    return Field(default=default, description=rule, json_schema_extra={"unit": unit}, **limits)


class ReductionSettings(BaseModel):
    """Base of all settings: immutable, total, and refusing what it does not know."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)
    REDUCTION: ClassVar[str] = ""

    @classmethod
    def from_dict(cls, given: Mapping[str, Any] | None) -> Self:
        """Settings from names and values; what is left out takes its default.

        Raises:
            ShapeError: ``reduction.setting-unknown`` or ``reduction.setting-value``.
        """
        given = dict(given or {})
        asked = given.pop("reduction", cls.REDUCTION)  # which of its test's reductions it is
        if asked != cls.REDUCTION:
            raise ShapeError(
                "reduction.other",
                f"Settings of the reduction {asked!r} were given to {cls.REDUCTION}.",
                reduction=str(asked),
            )
        for name in given:
            if name not in cls.model_fields:
                raise ShapeError(
                    "reduction.setting-unknown",
                    f"The setting {name!r} was given, which the {cls.REDUCTION} reduction does "
                    f"not know; known are {', '.join(sorted(cls.model_fields))}.",
                    setting=str(name),
                )
        try:
            return cls.model_validate(given)
        except ValidationError as error:
            raise _refused(error, cls.REDUCTION) from error

    def as_dict(self) -> dict[str, Any]:
        """Names and values, JSON-ready."""
        return self.model_dump(mode="json")

    @classmethod
    def describe(cls) -> tuple[SettingWords, ...]:
        """Every setting with its default, unit and rule, in the order of declaration."""
        schema = cls.model_json_schema()["properties"]
        defaults = cls().as_dict()
        return tuple(
            SettingWords(
                name=name,
                default=defaults[name],
                unit=str(entry["unit"]),
                rule=str(entry["description"]),
                choices=_choices(entry),
            )
            for name, entry in schema.items()
        )


class JoinedSettings(ReductionSettings):
    """Settings of records whose files may stand on different clocks."""

    clock_offset_s: float | dict[str, float] | None = setting(
        None,
        unit="s",
        rule="How far the clock of the file beside the controller's is behind (time there = time "
        "in the file + offset); for several files by their names. Where it is not given, the "
        "files are joined where the loads that both carry agree, or refused.",
    )
    clock_search_s: tuple[float, ...] = setting(
        (), unit="s", rule="Smallest and largest clock offset to try; all where not given."
    )
    seconds_per_row: float | dict[str, float] | None = setting(
        None,
        unit="s",
        rule="For files without a time column, the time between two rows; for several by their "
        "names.",
    )

    @field_validator("clock_search_s")
    @classmethod
    def _is_a_range(cls, value: tuple[float, ...]) -> tuple[float, ...]:
        if value and not (len(value) == 2 and value[0] < value[1]):
            raise ValueError("clock_search_s is two offsets, the smaller first, or nothing")
        return value

    def stated_offset(self, file: str) -> float | None:
        """The clock offset that was stated for a file, s."""
        return _of_file(self.clock_offset_s, file)

    def row_seconds(self, file: str) -> float | None:
        """The time between two rows that was stated for a file, s."""
        return _of_file(self.seconds_per_row, file)

    @property
    def search(self) -> tuple[float, float] | None:
        """The offsets to try, s; None for all."""
        return (self.clock_search_s[0], self.clock_search_s[1]) if self.clock_search_s else None


def _of_file(stated: float | dict[str, float] | None, file: str) -> float | None:
    return stated.get(file) if isinstance(stated, dict) else stated


def _choices(entry: Mapping[str, Any]) -> tuple[str, ...]:
    for branch in (entry, *entry.get("anyOf", ())):
        if "enum" in branch:
            return tuple(str(value) for value in branch["enum"])
    return ()


def _refused(error: ValidationError, reduction: str) -> ShapeError:
    first = error.errors(include_url=False)[0]
    name = ".".join(str(part) for part in first["loc"]) or "settings"
    said = str(first["msg"]).removeprefix("Value error, ")
    value = first.get("input")
    return ShapeError(
        "reduction.setting-value",
        f"The setting {name} of the {reduction} reduction was given as {value!r}: "
        f"{said[:1].lower()}{said[1:]}.",
        setting=name,
        value=value if isinstance(value, int | float | str | bool) else str(value),
    )
