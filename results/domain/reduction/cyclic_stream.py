"""One pass over a cyclic record of any length, in bounded memory.

Samples go in by chunks of any size, finished cycles come out by chunks. What is kept is the open
cycle (never longer than ``longest_cycle_samples``), a margin for the local fit, and the cycles
that give metrics; the outcome does not depend on how the record was cut into chunks.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

import numpy as np
import numpy.typing as npt

from labmatrix.kernel.errors import RangeError, RuleBroken, ShapeError
from results.domain.reduction.cycle_finder import CycleFinder
from results.domain.reduction.cycles import COLUMNS
from results.domain.reduction.cyclic_chosen import Chosen, choose
from results.domain.reduction.cyclic_metrics import Keeper
from results.domain.reduction.cyclic_notes import record_notes
from results.domain.reduction.cyclic_settings import CyclicSettings
from results.domain.reduction.dropouts import DropoutFilter
from results.domain.reduction.interruptions import GapFinder
from results.domain.reduction.outcome import Floats, Note, Outcome, Table
from results.domain.reduction.sample_buffer import Part, SampleBuffer

STATE_VERSION = 3
# Long chunks are worked off in blocks that stay in the processor's cache.
BLOCK = 131_072


class CyclicStream:
    """Finds and measures load cycles while the record goes by.

    Args:
        settings: see ``CyclicSettings``; what is chosen from the record is chosen from its first
            200 000 samples.
        cycle_offset: load cycles that the specimen had before this record.

    Raises:
        RangeError: ``cycle_offset`` below 0.
    """

    # Samples from which noise, band and interval are chosen, so that one pass is enough.
    HEAD: ClassVar[int] = 200_000

    def __init__(self, settings: CyclicSettings, *, cycle_offset: int = 0) -> None:
        if cycle_offset < 0:
            raise RangeError("cycle_offset", cycle_offset, "0 or more load cycles")
        self.settings = settings
        self.cycle_offset = cycle_offset
        self.timed: bool | None = None
        self.closed = False
        self.rows = 0
        self.left_out = 0
        self.keeper = Keeper(settings)
        self._head = SampleBuffer()
        self._finder: CycleFinder | None = None
        self._dropouts: DropoutFilter | None = None
        self._gaps = GapFinder(None, None)
        self._finished: list[Part] = []

    # -- samples in ------------------------------------------------------------------------

    def feed(
        self,
        load_kn: npt.ArrayLike,
        deflection_mm: npt.ArrayLike,
        time_s: npt.ArrayLike | None = None,
    ) -> None:
        """Takes the next samples of the record.

        Args:
            load_kn, deflection_mm: shape (n,); samples that are not numbers are left out.
            time_s: shape (n,), or None in every call.

        Raises:
            RuleBroken: the stream is closed.
            ShapeError: different lengths, or time in some calls only.
        """
        if self.closed:
            raise RuleBroken(
                "reduction.stream-closed",
                "Samples were fed to a stream that was closed; a closed record takes no more.",
            )
        load, deflection, time = self._checked(load_kn, deflection_mm, time_s)
        for start in range(0, len(load), BLOCK):
            piece = slice(start, start + BLOCK)
            self._take(load[piece], deflection[piece], None if time is None else time[piece])
        self._head.own()
        if self._finder is not None:
            self._finder.own()

    def _checked(
        self, load_kn: npt.ArrayLike, deflection_mm: npt.ArrayLike, time_s: npt.ArrayLike | None
    ) -> tuple[Floats, Floats, Floats | None]:
        load = np.ascontiguousarray(load_kn, dtype=np.float64)
        deflection = np.ascontiguousarray(deflection_mm, dtype=np.float64)
        time = None if time_s is None else np.ascontiguousarray(time_s, dtype=np.float64)
        shapes = {a.shape for a in (load, deflection, time) if a is not None}
        if len(shapes) > 1 or load.ndim != 1:
            raise ShapeError(
                "reduction.channel-lengths",
                f"Channels of shapes {sorted(shapes)} were given; allowed are rows of one length.",
            )
        if self.timed is None:
            self.timed = time is not None
        elif self.timed != (time is not None):
            raise ShapeError(
                "reduction.time-sometimes",
                "Time was given for one part of the record and not for another; allowed is all "
                "or none.",
            )
        return load, deflection, time

    def _take(self, load: Floats, deflection: Floats, time: Floats | None) -> None:
        row = np.arange(self.rows, self.rows + len(load), dtype=np.int64)
        self.rows += len(load)
        part = {"load": load, "deflection": deflection, "row": row}
        if time is not None:
            part["time"] = time
        measured = [values for values in (load, deflection, time) if values is not None]
        if not all(np.isfinite(values).all() for values in measured):
            good = np.all([np.isfinite(values) for values in measured], axis=0)
            self.left_out += int(np.count_nonzero(~good))
            part = {name: values[good] for name, values in part.items()}
        if self._finder is not None:
            self._search(part)
        else:
            self._head.append(part)
            if len(self._head) >= self.HEAD:
                self._choose_and_replay()

    def _choose_and_replay(self) -> CycleFinder:
        whole = self._head.whole()
        if not self.timed:
            whole = {name: values for name, values in whole.items() if name != "time"}
        head = {name: values[: self.HEAD] for name, values in whole.items()}
        finder = self._set_chosen(choose(head, self.settings))
        self._head = SampleBuffer()
        self._search(whole)
        return finder

    def _set_chosen(self, chosen: Chosen) -> CycleFinder:
        self._finder = CycleFinder(self.settings, chosen, self.cycle_offset)
        self._gaps = GapFinder(self.settings.gap_intervals, chosen.interval_s)
        longest = self.settings.dropout_samples
        if longest is not None:
            self._dropouts = DropoutFilter(chosen.load_jump, chosen.deflection_jump, longest)
        return self._finder

    def _search(self, part: Part) -> None:
        """Samples that are numbers, on their way to the finder of cycles."""
        if self._dropouts is not None:
            part = self._dropouts.push(part)
        self._find(part)

    def _find(self, part: Part) -> None:
        finder = self._finder
        if finder is None or not len(part["load"]):
            return
        done = 0
        for at, missing in self._gaps.find(part):
            finder.scan({name: values[done:at] for name, values in part.items()})
            finder.gap(missing)
            done = at
        finder.scan({name: values[done:] for name, values in part.items()})
        self._collect(finder)

    def _collect(self, finder: CycleFinder) -> None:
        for table in finder.finished:
            self.keeper.keep(table)
        self._finished += finder.finished
        finder.finished = []

    # -- cycles out ------------------------------------------------------------------------

    def finished_cycles(self) -> Table:
        """The cycles finished since the last call: the columns of ``COLUMNS``."""
        drained, self._finished = self._finished, []
        return {
            name: np.concatenate([np.empty(0, dtype=kind), *(chunk[name] for chunk in drained)])
            for name, kind in COLUMNS.items()
        }

    def close(self) -> None:
        """Ends the record; its last cycle is closed by the trailing valley."""
        if self.closed:
            return
        finder = self._finder or self._choose_and_replay()
        if self._dropouts is not None:
            self._find(self._dropouts.flush())
        finder.end_stretch()
        self._collect(finder)
        self.closed = True

    @property
    def needed_from(self) -> int:
        """Row of the record before which no sample can belong to a cycle still to come."""
        held = [self._head]
        held += [self._finder.held] if self._finder else []
        held += [self._dropouts.held] if self._dropouts else []
        return min((h.first_row for h in held if len(h)), default=self.rows)

    def resolved(self) -> dict[str, Any]:
        """What was chosen from a closed record and counted in it, as it goes into the settings.

        Raises:
            RuleBroken: the stream is still open.
        """
        if not self.closed or self._finder is None:
            raise RuleBroken(
                "reduction.stream-open",
                "The outcome of a record was asked for before its end; close the stream first.",
            )
        count = self._finder.count | {
            "rows": self.rows,
            "left_out": self.left_out,
            "dropouts": self._dropouts.left_out if self._dropouts else 0,
            "gaps": self._gaps.gaps,
            "backward": self._gaps.backward,
        }
        return {
            "cycle_offset": self.cycle_offset,
            "timed": bool(self.timed),
            **self._finder.chosen.resolved(),
            **{f"count_{name}": number for name, number in count.items()},
        }

    def notes(self) -> list[Note]:
        """Remarks on a closed record as a whole.

        Raises:
            RuleBroken: the stream is still open.
        """
        speed = self.keeper.speed(timed=bool(self.timed))
        return record_notes(self.resolved(), self.settings, self.keeper.counts, speed)

    def outcome(self, table: Table | None = None) -> Outcome:
        """Metrics of a closed record; the table is passed on as it is.

        Raises:
            RuleBroken: the stream is still open.
        """
        return self.keeper.outcome(self.resolved(), self.notes(), table)

    # -- resuming --------------------------------------------------------------------------

    def state_dict(self) -> dict[str, Any]:
        """Everything needed to go on later, JSON-ready.

        Raises:
            RuleBroken: finished cycles wait to be drained (they would be lost).
        """
        if self._finished:
            raise RuleBroken(
                "reduction.stream-undrained",
                "The state was asked for while finished cycles wait; drain them first.",
            )
        return {
            "version": STATE_VERSION,
            "settings": self.settings.as_dict(),
            "cycle_offset": self.cycle_offset,
            "timed": self.timed,
            "closed": self.closed,
            "rows": [self.rows, self.left_out],
            "keeper": self.keeper.state_dict(),
            "head": self._head.state(),
            "chosen": self._finder.chosen.as_dict() if self._finder else None,
            "finder": self._finder.state() if self._finder else None,
            "dropouts": self._dropouts.state() if self._dropouts else None,
            "gaps": self._gaps.state(),
        }

    @classmethod
    def from_state(cls, state: Mapping[str, Any]) -> CyclicStream:
        """A stream that goes on where ``state_dict`` was taken.

        Raises:
            ShapeError: ``reduction.state-version``.
        """
        if state.get("version") != STATE_VERSION:
            raise ShapeError(
                "reduction.state-version",
                f"A stream state of version {state.get('version')} was given; this code reads "
                f"version {STATE_VERSION}: start the record anew.",
            )
        settings = CyclicSettings.from_dict(state["settings"])
        stream = cls(settings, cycle_offset=state["cycle_offset"])
        stream.timed, stream.closed = state["timed"], state["closed"]
        stream.rows, stream.left_out = state["rows"]
        stream.keeper.load_state(state["keeper"])
        stream._head = SampleBuffer.from_state(state["head"])
        if state["chosen"] is not None:
            stream._set_chosen(Chosen.from_dict(state["chosen"])).load_state(state["finder"])
        if stream._dropouts is not None:
            stream._dropouts.load_state(state["dropouts"])
        stream._gaps.load_state(state["gaps"])
        return stream
