"""One cycling run from several records: blocks, continuous files, restarts, overlaps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, ClassVar, Final

import numpy as np
import numpy.typing as npt

from labmatrix.kernel.errors import ShapeError
from results.domain.reduction.cycles import COLUMNS
from results.domain.reduction.cyclic_metrics import Keeper
from results.domain.reduction.cyclic_settings import CyclicSettings
from results.domain.reduction.outcome import Ints, Note, Outcome, Point, Table

OVERLAP_RULE = (
    "Of two records that hold the same load cycle, the one that begins later (the greater cycle "
    "offset; of equals the one given later) counts from its first cycle on."
)
_NAMED = 6
REDUCTION: Final = "run"
VERSION: Final = "1"


class RunSettings(CyclicSettings):
    """As for one record; the stiffness ratios go to the first cycle of the whole run."""

    REDUCTION: ClassVar[str] = REDUCTION


@dataclass(frozen=True)
class RunPart:
    """The cycles of one record of a run.

    Attributes:
        name: of the record, in words.
        cycle_offset: load cycles that the specimen had before it.
        table: columns of ``COLUMNS``, as a cyclic reduction gives them.
    """

    name: str
    cycle_offset: int
    table: Table


@dataclass(frozen=True)
class Joined:
    """The cycles of a run in order, each number once.

    Attributes:
        table: columns of ``COLUMNS``, and ``part``, the position of the record in ``names``.
        names: of the records, in order of their offsets.
        notes: overlaps, and cycles that no record holds.
    """

    table: dict[str, npt.NDArray[Any]]
    names: tuple[str, ...]
    notes: tuple[Note, ...]


def _ranges(numbers: Ints) -> str:
    """Numbers in words, runs joined: ``11 to 999, 1 010``; only the first few runs."""
    edges = np.flatnonzero(np.diff(numbers) != 1)
    firsts = numbers[np.concatenate([[0], edges + 1])]
    lasts = numbers[np.concatenate([edges, [len(numbers) - 1]])]
    words = [f"{a}" if a == b else f"{a} to {b}" for a, b in zip(firsts, lasts, strict=True)]
    more = len(words) - _NAMED
    return ", ".join(words[:_NAMED]) + (f" and {more} more stretches" if more > 0 else "")


def join_records(parts: Sequence[RunPart]) -> Joined:
    """Puts the cycles of several records in order by ``OVERLAP_RULE``.

    Args:
        parts: records of one run; those given later were recorded later.

    Raises:
        ShapeError: no record was given.
    """
    if not parts:
        raise ShapeError(
            "cyclic.no-records", "A run of no records was given; it needs at least one."
        )
    ordered = sorted(parts, key=lambda part: part.cycle_offset)
    tables: list[dict[str, npt.NDArray[Any]]] = []
    notes: list[Note] = []
    for position, part in enumerate(ordered):
        later = [p.table["cycle"] for p in ordered[position + 1 :] if len(p.table["cycle"])]
        begins = min((int(numbers[0]) for numbers in later), default=None)
        cycle = part.table["cycle"]
        keep = np.ones(len(cycle), dtype=np.bool_) if begins is None else cycle < begins
        dropped = int(np.count_nonzero(~keep))
        if dropped:
            notes.append(
                Note(
                    "cyclic.overlap",
                    f"{dropped} cycles of {part.name} ({_ranges(cycle[~keep])}) are also numbered "
                    f"in a later record and were left out. {OVERLAP_RULE}",
                )
            )
        table = {name: part.table[name][keep] for name in COLUMNS}
        tables.append(table | {"part": np.full(int(keep.sum()), position, dtype=np.int64)})
    joined = {name: np.concatenate([t[name] for t in tables]) for name in (*COLUMNS, "part")}
    holes = _holes(joined["cycle"])
    if len(holes):
        notes.append(
            Note(
                "cyclic.not-recorded",
                f"Between the first and the last recorded cycle, no record holds: {holes}.",
            )
        )
    return Joined(joined, tuple(part.name for part in ordered), tuple(notes))


def _holes(cycle: Ints) -> str:
    """Cycle numbers between recorded ones, in words."""
    after = np.flatnonzero(np.diff(cycle) > 1)
    words = [f"{cycle[k] + 1} to {cycle[k + 1] - 1}" for k in after[:_NAMED]]
    more = len(after) - _NAMED
    return ", ".join(words) + (f" and {more} more stretches" if more > 0 else "")


def reduce_run(parts: Sequence[RunPart], settings: CyclicSettings | None = None) -> Outcome:
    """Metrics of a whole run from the cycles of its records.

    Checkpoints that no record holds are replaced by the first cycle of the record that follows, so
    that a block recorded around a checkpoint counts.

    Args:
        parts: see ``join_records``.
        settings: as for one record.

    Returns:
        Metrics at the checkpoints; the labels of marks name the record they point into.

    Raises:
        ShapeError: no record was given.
    """
    settings = settings or CyclicSettings()
    joined = join_records(parts)
    cycle, part = joined.table["cycle"], joined.table["part"]
    first_of_part = np.flatnonzero(np.diff(part, prepend=-1) != 0)
    blocks = [int(n) for n in cycle[first_of_part]]
    widened = settings.model_copy(
        update={"checkpoints": tuple(sorted({*settings.checkpoints, *blocks}))}
    )
    keeper = Keeper(_same_multiples(widened, settings, cycle))
    keeper.keep({name: joined.table[name] for name in COLUMNS})
    resolved = {
        "timed": bool(np.isfinite(joined.table["frequency_hz"]).any()),
        "cycle_offset": int(cycle[0]) - 1 if len(cycle) else 0,
        "records": list(joined.names),
        "count_cycles": len(cycle),
        "count_not_whole": int(np.count_nonzero(~joined.table["whole"])),
    }
    outcome = keeper.outcome(resolved, joined.notes, joined.table)
    return _labelled(outcome, settings, joined)


def _same_multiples(widened: CyclicSettings, given: CyclicSettings, cycle: Ints) -> CyclicSettings:
    """Keeps the multiples that the given settings ask for, whatever numbers were added."""
    every = given.checkpoint_every
    if every is None or not len(cycle):
        return widened
    beyond = max(given.checkpoints, default=0)
    multiples = range((beyond // every + 1) * every, int(cycle[-1]) + 1, every)
    return widened.model_copy(
        update={"checkpoints": tuple(sorted({*widened.checkpoints, *multiples}))}
    )


def _labelled(outcome: Outcome, settings: CyclicSettings, joined: Joined) -> Outcome:
    """Names the record in the label of each mark; settings as they were given."""
    cycle, part = joined.table["cycle"], joined.table["part"]

    def named(point: Point) -> Point:
        number = int(point.label.rsplit(" ", 1)[-1])
        name = joined.names[int(part[np.searchsorted(cycle, number)])]
        return replace(point, label=f"{point.label}, {name}")

    return replace(
        outcome,
        metrics=tuple(
            found if found.point is None else replace(found, point=named(found.point))
            for found in outcome.metrics
        ),
        marks=tuple(named(mark) for mark in outcome.marks),
        settings=dict(outcome.settings) | settings.as_dict() | {"speed": outcome.settings["speed"]},
    )
