"""From measured cycles to metrics at checkpoints."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from results.domain.reduction.cycles import COLUMNS
from results.domain.reduction.cyclic_settings import CyclicSettings
from results.domain.reduction.outcome import Found, Note, Outcome, Point, Table
from results.domain.reduction.settling import settles_at

Row = dict[str, Any]
_FIRST = 10
_NONE = np.empty(0, dtype=np.int64)
STIFFNESS_COLUMN = {
    "load-extremes": "stiffness_load_extremes_kn_mm",
    "deflection-extremes": "stiffness_deflection_extremes_kn_mm",
    "regression": "stiffness_regression_kn_mm",
}


@dataclass(frozen=True)
class Reference:
    """What ratios are taken to.

    Attributes:
        stiffness: kN/mm, None where the record does not hold it.
        deflection_mm: residual deflection of the reference, None where it is not known.
        words: which cycles it is, or why there is none.
    """

    stiffness: float | None
    deflection_mm: float | None
    words: str


class Keeper:
    """Keeps the few cycles that metrics need while a record of any length goes by.

    Args:
        settings: see ``CyclicSettings``.
        also: numbers of cycles that are checkpoints in any case, such as the first of each block.
    """

    def __init__(self, settings: CyclicSettings, also: Collection[int] = ()) -> None:
        self.settings = settings
        self.also = frozenset(also)
        self.rows: dict[int, Row] = {}
        self.first: dict[bool, list[Row]] = {False: [], True: []}
        self.last: dict[bool, Row | None] = {False: None, True: None}
        self.counts: dict[bool, int] = {False: 0, True: 0}

    def keep(self, table: Table) -> None:
        """Looks at newly finished cycles; columns as in ``COLUMNS``."""
        static = table["static"]
        for speed in (False, True):
            self.counts[speed] += int(np.count_nonzero(static == speed))
            of_speed = np.flatnonzero((static == speed) & table["whole"])
            if len(of_speed):
                for k in of_speed[: _FIRST - len(self.first[speed])]:
                    self.first[speed].append(row_of(table, int(k)))
                self.last[speed] = row_of(table, int(of_speed[-1]))
        for k in self._wanted(table["cycle"]):
            self.rows[int(table["cycle"][k])] = row_of(table, int(k))

    def _wanted(self, cycle: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
        """Positions of the checkpoints and of the reference cycle among these numbers."""
        settings = self.settings
        least, greatest = int(cycle.min(initial=2**62)), int(cycle.max(initial=0))
        numbers = {*settings.checkpoints, settings.reference_cycle or 0, *self.also}
        if (every := settings.checkpoint_every) is not None:
            beyond = max(*settings.checkpoints, 0, least - 1)
            numbers.update(range((beyond // every + 1) * every, greatest + 1, every))
        there = [number for number in numbers if least <= number <= greatest]
        wanted: npt.NDArray[np.int64] = np.flatnonzero(np.isin(cycle, there)) if there else _NONE
        return wanted

    def is_checkpoint(self, number: int) -> bool:
        """Whether a load cycle of this number gives metrics."""
        return number in self.also or self.settings.is_checkpoint(number)

    def speed(self, *, timed: bool) -> str | None:
        """The speed whose cycles give metrics; None where it is neither given nor known."""
        if self.settings.speed is not None or not timed:
            return self.settings.speed
        return "static" if self.counts[True] > self.counts[False] else "dynamic"

    def row(self, number: int) -> Row | None:
        """A kept cycle by its number."""
        kept = [*self.first[False], *self.first[True], *self.last.values()]
        ends = {row["cycle"]: row for row in kept if row is not None}
        return self.rows.get(number) or ends.get(number)

    def reference_rows(self, resolved: Mapping[str, Any]) -> list[Row]:
        """The cycles that stiffness ratios are taken to; none where it is a given stiffness."""
        return _Report(self, resolved, []).reference_rows()

    def outcome(
        self, resolved: Mapping[str, Any], notes: Sequence[Note], table: Table | None
    ) -> Outcome:
        """Metrics, notes and marks of a closed record.

        Args:
            resolved: what was chosen from the record, with ``timed`` and ``cycle_offset``.
            notes: remarks on the record, which come first.
            table: passed on.
        """
        return _Report(self, resolved, notes).outcome(table)

    def state_dict(self) -> dict[str, Any]:
        """Everything kept, JSON-ready."""
        return {
            "rows": list(self.rows.values()),
            "first": [self.first[False], self.first[True]],
            "last": [self.last[False], self.last[True]],
            "counts": [self.counts[False], self.counts[True]],
        }

    def load_state(self, state: Mapping[str, Any]) -> None:
        """Goes on from a ``state_dict``."""
        self.rows = {int(row["cycle"]): dict(row) for row in state["rows"]}
        for k, speed in enumerate((False, True)):
            self.first[speed] = [dict(row) for row in state["first"][k]]
            self.last[speed] = state["last"][k]
            self.counts[speed] = int(state["counts"][k])


def row_of(table: Table, k: int) -> Row:
    """One row of a table of cycles as plain values; None where a number is missing."""
    row = {name: table[name][k].item() for name in COLUMNS}
    return {
        name: None if isinstance(value, float) and math.isnan(value) else value
        for name, value in row.items()
    }


class _Report:
    """Writes the metrics of one closed record."""

    def __init__(self, keeper: Keeper, resolved: Mapping[str, Any], notes: Sequence[Note]) -> None:
        self.keeper, self.settings = keeper, keeper.settings
        self.resolved = dict(resolved)
        self.timed = bool(resolved["timed"])
        self.speed = keeper.speed(timed=self.timed)
        self.column = STIFFNESS_COLUMN[self.settings.stiffness]
        speed = f"{self.speed}, " if self.speed else ""
        self.method = f"{speed}{self.settings.stiffness}"
        self.notes = list(notes)
        self.metrics: list[Found] = []
        self.marks: list[Point] = []

    def _used(self, row: Row | None) -> bool:
        if row is None or not row["whole"]:
            return False
        return not self.timed or bool(row["static"]) == (self.speed == "static")

    def _chosen(self) -> list[Row]:
        """The checkpoints of the used speed, with its last cycle, in order.

        A record that begins after an offset also gives its first cycle, so that a block recorded
        around a checkpoint is joined to the others.
        """
        numbers = {n: r for n, r in self.keeper.rows.items() if self.keeper.is_checkpoint(n)}
        torn = sorted(n for n, row in numbers.items() if not row["whole"])
        if torn:
            self.notes.append(
                Note(
                    "cyclic.checkpoint-not-whole",
                    f"The checkpoints at cycles {', '.join(map(str, torn))} have a gap within "
                    "them and give no metric.",
                )
            )
        other = sorted(n for n, r in numbers.items() if r["whole"] and not self._used(r))
        if other:
            self.notes.append(
                Note(
                    "cyclic.checkpoint-other-speed",
                    f"The checkpoints at cycles {', '.join(map(str, other))} are not "
                    f"{self.speed} cycles and give no metric: static and dynamic stiffness are "
                    "never mixed.",
                )
            )
        ends = [row for row in self.keeper.last.values() if row is not None and self._used(row)]
        if ends:
            last = max(ends, key=lambda row: int(row["cycle"]))
            numbers[int(last["cycle"])] = last
        first = self._first_cycles()
        if first and self.resolved["cycle_offset"]:
            numbers[int(first[0]["cycle"])] = first[0]
        return [numbers[n] for n in sorted(numbers) if self._used(numbers[n])]

    def _first_cycles(self) -> list[Row]:
        rows = [row for speed in (False, True) for row in self.keeper.first[speed]]
        return sorted((r for r in rows if self._used(r)), key=lambda row: int(row["cycle"]))

    def reference_rows(self) -> list[Row]:
        """The reference cycles; none where they are not in the record."""
        rule = self.settings.reference
        if rule == "cycle":
            row = self.keeper.rows.get(self.settings.reference_cycle or 0)
            return [row] if row is not None and self._used(row) else []
        if rule == "stiffness" or int(self.resolved["cycle_offset"]) > 0:
            return []
        count = 1 if rule == "first-cycle" else _FIRST
        first = self._first_cycles()[:count]
        return first if len(first) == count else []

    def _reference(self) -> Reference:
        rule, offset = self.settings.reference, int(self.resolved["cycle_offset"])
        if rule == "stiffness":
            given = self.settings.reference_stiffness_kn_mm
            return Reference(given, None, "the stiffness that was given")
        rows = self.reference_rows()
        if rows:
            numbers = [int(row["cycle"]) for row in rows]
            one = f"cycle {numbers[0]}"
            return self._mean(
                rows, one if len(rows) == 1 else f"cycles {numbers[0]} to {numbers[-1]}"
            )
        if rule == "cycle":
            words = f"cycle {self.settings.reference_cycle} is not in this record"
            return Reference(None, None, words)
        if offset > 0:
            return Reference(
                None,
                None,
                f"the record begins after {offset} load cycles, so the first cycle of the test "
                "is not in it",
            )
        count = 1 if rule == "first-cycle" else _FIRST
        there = len(self._first_cycles())
        return Reference(None, None, f"only {there} of {count} reference cycles exist")

    def _mean(self, rows: list[Row], words: str) -> Reference:
        values = [row[self.column] for row in rows]
        if any(value is None or value <= 0.0 for value in values):
            return Reference(None, None, f"the stiffness of {words} is not a positive number")
        deflections = [float(row["residual_deflection_mm"]) for row in rows]
        return Reference(math.fsum(values) / len(values), math.fsum(deflections) / len(rows), words)

    def _add(self, row: Row, name: str, value: float | None, unit: str, **more: Any) -> None:
        if value is not None and math.isfinite(value):
            found = Found(name=name, value=value, unit=unit, at=int(row["cycle"]), **more)
            self.metrics.append(found)

    def _checkpoint(self, row: Row, reference: Reference) -> None:
        number, method = int(row["cycle"]), self.method
        valley, peak = (
            Point(
                row[f"{end}_index"],
                row[f"{end}_deflection_mm"],
                row[f"{end}_load_kn"],
                f"{end} of cycle {number}",
            )
            for end in ("valley", "peak")
        )
        self.marks += [valley, peak]
        self._add(row, "cycle_peak_load", row["peak_load_kn"], "kN", point=peak)
        self._add(row, "cycle_valley_load", row["valley_load_kn"], "kN", point=valley)
        stiffness = row[self.column]
        self._add(row, "secant_stiffness", stiffness, "kN/mm", method=method, point=peak)
        if stiffness is not None and reference.stiffness is not None:
            ratio = stiffness / reference.stiffness
            self._add(row, "stiffness_ratio", ratio, "1", method=method, point=peak)
            self._add(row, "stiffness_loss", 1.0 - ratio, "1", method=method, point=peak)
        self._add(row, "loop_energy", row["loop_energy_kn_mm"], "kN·mm", point=valley)
        residual = row["residual_deflection_mm"]
        self._add(row, "residual_deflection", residual, "mm", point=valley)
        if reference.deflection_mm is not None:
            drift = residual - reference.deflection_mm
            self._add(row, "residual_drift", drift, "mm", point=valley)
        self._add(row, "frequency", row["frequency_hz"], "Hz", point=valley)
        self._load_error(row, valley, peak)

    def _load_error(self, row: Row, valley: Point, peak: Point) -> None:
        high, low = self.settings.target_maximum_kn, self.settings.target_minimum_kn
        targets = [abs(t) for t in (high, low) if t is not None]
        if not targets or max(targets) == 0.0:
            return
        number, fewest = int(row["cycle"]), self.settings.samples_for_verdict
        if row["samples"] < fewest:
            self.notes.append(
                Note(
                    "cyclic.no-load-verdict",
                    f"Cycle {number} has {row['samples']} samples; below {fewest} the sampled "
                    "peak falls short, so no load error is given.",
                )
            )
            return
        for target, end, method in ((high, peak, "maximum"), (low, valley, "minimum")):
            if target is None:
                continue
            error = (end.load_kn - target) / max(targets)
            self._add(row, "load_error", error, "1", method=method, point=end)
            if abs(error) > self.settings.load_tolerance:
                self.notes.append(
                    Note(
                        "cyclic.load-off-target",
                        f"The {method} of cycle {number} is {end.load_kn:.4g} kN against a target "
                        f"of {target:.4g} kN: {100 * error:+.1f} % of the larger target, outside "
                        f"±{100 * self.settings.load_tolerance:.3g} %.",
                    )
                )

    def _settling(self) -> None:
        ratios = {f.at: f.value for f in self.metrics if f.name == "stiffness_ratio"}
        numbers = sorted(number for number in ratios if number is not None)
        settled = settles_at(
            numbers,
            [ratios[number] for number in numbers],
            loss_per_decade=self.settings.settle_loss_per_decade,
            span_decades=self.settings.settle_span_decades,
        )
        if settled is not None:
            self.metrics.append(
                Found("settles_at", float(settled[0]), "1", bound=settled[1], method=self.method)
            )

    def outcome(self, table: Table | None) -> Outcome:
        reference = self._reference()
        chosen = self._chosen()
        if chosen and reference.stiffness is None:
            self.notes.append(
                Note(
                    "cyclic.no-reference",
                    f"Stiffness ratios are not given: {reference.words}.",
                )
            )
        for row in chosen:
            self._checkpoint(row, reference)
        self._settling()
        resolved = self.settings.as_dict() | self.resolved
        resolved |= {"speed": self.speed, "reference_words": reference.words}
        return Outcome(
            metrics=tuple(self.metrics),
            warnings=tuple(self.notes),
            marks=tuple(self.marks),
            settings=resolved,
            table=table,
        )
