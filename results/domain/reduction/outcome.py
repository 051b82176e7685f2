"""What a reduction gives back: numbers, remarks, marked points, and the settings it used."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bound = Literal["lower", "upper"]
Table = Mapping[str, npt.NDArray[Any]]


@dataclass(frozen=True, slots=True)
class Point:
    """A place on the measured curve.

    Attributes:
        index: row of the record (from 0, as read) nearest to the place.
        deflection_mm: deflection there, mm, after zero, settlement and seating.
        load_kn: load there, kN, after zero.
        label: what it marks, in words.
    """

    index: int
    deflection_mm: float
    load_kn: float
    label: str


@dataclass(frozen=True, slots=True)
class Found:
    """One number that a reduction found.

    Attributes:
        name: name of the metric.
        value: the number, in ``unit``.
        unit: base unit: kN, mm, kN/mm, kN·mm, Hz or 1.
        u: standard uncertainty in ``unit``, where known.
        at: number of the load cycle, for metrics that go by cycle.
        bound: ``lower`` where the true value is at least this one, ``upper`` where at most.
        method: which rule gave it, where several rules give the same metric.
        point: the place on the curve, where it has one.
    """

    name: str
    value: float
    unit: str
    u: float | None = None
    at: int | None = None
    bound: Bound | None = None
    method: str | None = None
    point: Point | None = None


@dataclass(frozen=True, slots=True)
class Note:
    """A remark that a person should read beside the numbers.

    Attributes:
        code: stable dotted name.
        message: one sentence or two, with the values.
    """

    code: str
    message: str


@dataclass(frozen=True)
class Outcome:
    """Everything a reduction found in one record.

    Attributes:
        metrics: the numbers; (name, method, at) is different for each.
        warnings: remarks, in the order in which they arose.
        marks: places on the curve worth drawing.
        settings: every setting as resolved, JSON-ready, with what was chosen from the record.
        table: columns of equal length (the cycles of a cyclic test, the envelope of a break
            test), or None where they were drained before.
        summaries: small tables to be read at once, JSON-ready: {"caption", "columns": [{"label",
            "unit"?}], "rows"}.
    """

    metrics: tuple[Found, ...]
    warnings: tuple[Note, ...] = ()
    marks: tuple[Point, ...] = ()
    settings: Mapping[str, Any] = field(default_factory=dict)
    table: Table | None = None
    summaries: tuple[Mapping[str, Any], ...] = ()

    def get(self, name: str, *, method: str | None = None, at: int | None = None) -> Found:
        """The metric of this name; method and cycle only matter where they are given.

        Raises:
            KeyError: it was not found.
        """
        for found in self.metrics:
            if found.name != name:
                continue
            if method in (None, found.method) and at in (None, found.at):
                return found
        raise KeyError(name if at is None else f"{name} at cycle {at}")

    def has(self, name: str) -> bool:
        """Whether a metric of this name was found."""
        return any(found.name == name for found in self.metrics)

    def codes(self) -> tuple[str, ...]:
        """The codes of the remarks, in order."""
        return tuple(note.code for note in self.warnings)
