"""Files beside the controller's in a long test: laid on it by their load, read at its rows."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from labmatrix.evidence.domain.channels import BoundMap, Channel
from labmatrix.evidence.domain.clock_offset import ClockOffset
from labmatrix.evidence.domain.join import join_remarks
from labmatrix.evidence.domain.long_trace import KeptLoad
from labmatrix.evidence.domain.stamps import StampSpreader
from labmatrix.kernel.errors import ShapeError
from results.domain.reduction.outcome import Note
from results.domain.reduction.settings import JoinedSettings
from results.services.file_scan import FileScan, JoinedFile, kept_channels, part_path
from results.services.laying import SHORTEST, lay_parts
from results.services.sample_store import SampleStore

Floats = npt.NDArray[np.float64]
Told = Callable[[float, str], None]


class BesideFiles:
    """The files beside the controller's.

    Attributes:
        date_orders: of the dates of the files of the run.
        joined: how each is joined with each part of each file of the run; JSON-ready.
        notes: what a person should know about it.
        warnings: what reading them met; JSON-ready.

    Args:
        beside: the files to be moved.
        run: the files of the run, which stay where they are.
        settings: with offsets and searches that a person states.
        folder: where their channels are kept while the record is reduced.
        state: of files that were prepared before.
    """

    def __init__(
        self,
        beside: Sequence[JoinedFile],
        run: Sequence[JoinedFile],
        settings: JoinedSettings,
        folder: Path,
        state: Mapping[str, Any] | None = None,
    ) -> None:
        self._beside, self._run, self._settings = beside, run, settings
        self._kept_in = [folder / f"beside-{place}" for place in range(len(beside))]
        self._stores: list[list[SampleStore]] = []
        self._channels = [kept_channels(file.bound) for file in beside]
        self._spreaders: dict[str, StampSpreader] = {}
        self.date_orders: dict[str, str] = {}
        self.joined: list[dict[str, Any]] = []
        self.notes: list[Note] = []
        self.warnings: list[dict[str, Any]] = []
        if state is not None:
            self._go_on(state)

    def prepare(self, told: Told) -> None:
        """Reads every file once and finds the offsets; ``told`` the share done and the words.

        Raises:
            ShapeError: ``join.…``, or why a file cannot be read.
        """
        count = len(self._beside) + len(self._run)
        loads: dict[str, list[KeptLoad]] = {}
        kept_in: list[Path | None] = [*self._kept_in, *(None for _ in self._run)]
        for place, (file, path) in enumerate(
            zip((*self._beside, *self._run), kept_in, strict=True)
        ):
            scan = FileScan(file, path)

            def share(done: float, place: int = place, name: str = file.name) -> None:
                told((place + done) / count, f"comparing the clock of {name}")

            scan.run(share)
            loads[file.name] = [keeper.kept() for keeper in scan.loads]
            if path is not None:
                self._stores.append(scan.stores)
                self.warnings += scan.warnings
            else:
                self._spreaders[file.name] = scan.spreader
                self.date_orders[file.name] = scan.date_order
        for file in self._beside:
            self._join(file.name, loads, partial(told, 1.0, f"laying {file.name} on the run"))

    def _join(
        self, name: str, loads: Mapping[str, Sequence[KeptLoad]], told: Callable[[], None]
    ) -> None:
        """Lays one file beside the run; at least one part of the run has to take it."""
        stated = self._settings.stated_offset(name)
        search = self._settings.search if stated is None else (stated, stated)
        pairs: list[_Pair] = []
        refused: list[tuple[str, ShapeError]] = []
        for file in self._run:
            found, not_found = _laid_beside(loads[file.name], loads[name], search, told)
            several = len(loads[file.name]) > 1
            for part, error in not_found:
                refused.append((f"{file.name}, part {part + 1}" if several else file.name, error))
            for pair in found:
                words = f"{file.name}, part {pair.run_part + 1}" if several else file.name
                moved = replace(pair.offset, reference=words, file=name)
                parts = {"part": pair.run_part, "file_part": pair.file_part}
                self.joined.append({"run_file": file.name, **parts, **asdict(moved)})
                step = loads[file.name][pair.run_part].trace.step
                self.notes += [Note(r.code, r.message) for r in join_remarks(moved, step)]
            pairs += found
        if not pairs:
            raise refused[0][1] if refused else _too_short(name)
        self.notes += [
            Note("join.part-alone", f"{name} gives nothing to {words}: {error.message}")
            for words, error in refused
        ]

    def channels_for(
        self, file: JoinedFile
    ) -> Callable[[Floats | None, int, int, int], Sequence[Channel]]:
        """For rows of a file of the run (their time as written, first row, how many, and the part
        that they belong to) the channels of the files beside it, at these rows."""

        def channels(time: Floats | None, first: int, size: int, part: int) -> list[Channel]:
            if time is None:
                time = (file.row_s or 0.0) * np.arange(first, first + size, dtype=np.float64)
            at = self._spreaders[file.name].spread(time)
            found = []
            for place, (other, kept) in enumerate(zip(self._beside, self._channels, strict=True)):
                values = np.full((len(kept), size), np.nan)
                for file_part, offset in self._offsets(file.name, part, other.name):
                    given = self._stores[place][file_part].at(at - offset)
                    values = np.where(np.isnan(values), given, values)
                found += [
                    replace(channel, values=row, file=file.name, joined_from=other.name)
                    for channel, row in zip(kept, values, strict=True)
                ]
            return found

        return channels

    def _offsets(self, run_file: str, part: int, name: str) -> list[tuple[int, float]]:
        """Parts of a file that lie beside a part of the run, each with its offset in s."""
        return [
            (entry["file_part"], float(entry["offset_s"]))
            for entry in self.joined
            if (entry["run_file"], entry["part"], entry["file"]) == (run_file, part, name)
        ]

    def state(self) -> dict[str, Any]:
        """Of prepared files, JSON-ready."""
        return {
            "stores": [[store.state() for store in stores] for stores in self._stores],
            "spreaders": {name: s.state() for name, s in self._spreaders.items()},
            "date_orders": self.date_orders,
            "joined": self.joined,
            "notes": [[note.code, note.message] for note in self.notes],
            "warnings": self.warnings,
        }

    def _go_on(self, state: Mapping[str, Any]) -> None:
        self._stores = [
            [
                SampleStore(part_path(kept_in, part), len(kept), kept_state)
                for part, kept_state in enumerate(parts)
            ]
            for kept_in, kept, parts in zip(
                self._kept_in, self._channels, state["stores"], strict=True
            )
        ]
        for name, kept_state in state["spreaders"].items():
            self._spreaders[name] = StampSpreader(np.empty(0))
            self._spreaders[name].go_on(kept_state)
        self.date_orders, self.warnings = dict(state["date_orders"]), state["warnings"]
        self.joined = state["joined"]
        self.notes = [Note(code, message) for code, message in state["notes"]]


@dataclass(frozen=True)
class _Pair:
    """A part of a file of the run and a part of a file beside it that saw the same."""

    run_part: int
    file_part: int
    offset: ClockOffset


def _laid_beside(
    run: Sequence[KeptLoad],
    other: Sequence[KeptLoad],
    search_s: tuple[float, float] | None,
    told: Callable[[], None],
) -> tuple[list[_Pair], list[tuple[int, ShapeError]]]:
    """Pairs of parts that saw the same, and the parts of the run that were refused, with why.

    Raises:
        ShapeError: ``join.clock-restarts`` where both clocks fall back.
    """
    if len(other) == 1:
        laid = lay_parts(run, other[0], search_s, told)
        pairs = [_Pair(k, 0, offset) for k, offset in enumerate(laid.offsets) if offset]
        return pairs, list(laid.refused.items())
    if len(run) > 1:
        name, falls = other[0].trace.file, len(other) - 1
        raise ShapeError(
            "join.clock-restarts",
            f"The clock of {name} falls back {falls} times and that of {run[0].trace.file} "
            f"{len(run) - 1} times, so that their parts cannot be told from each other; send each "
            f"part of {name} as a file of its own.",
            file=name,
        )
    mirrored = (-search_s[1], -search_s[0]) if search_s else None
    laid = lay_parts(other, run[0], mirrored, told)
    pairs = [
        _Pair(0, k, replace(offset, offset_s=-offset.offset_s))
        for k, offset in enumerate(laid.offsets)
        if offset
    ]
    return pairs, [] if pairs else [(0, error) for error in laid.refused.values()]


def _too_short(name: str) -> ShapeError:
    return ShapeError(
        "join.too-short",
        f"No part of the run has {SHORTEST} samples to lay {name} beside.",
        file=name,
    )


def files_apart(bound: BoundMap, names: Sequence[str]) -> tuple[list[str], list[str]]:
    """Which files of a record hold the run, and which stand beside it.

    The first file with load and deflection leads, else the first with a load. Files whose loads
    and deflections are at the same places as its own go on with the run; all others are beside it.

    Args:
        bound: the channels of the record.
        names: its files with a mapped channel, in the order in which they came.
    """

    def places(name: str) -> frozenset[tuple[str, str | None]]:
        return frozenset(
            (channel.entry.quantity, channel.entry.place)
            for channel in bound.of(name).channels
            if channel.entry.quantity in ("load", "deflection")
        )

    def quantities(name: str) -> set[str]:
        return {quantity for quantity, _ in places(name)}

    leads = [n for n in names if quantities(n) == {"load", "deflection"}]
    leads += [n for n in names if "load" in quantities(n)]
    lead = leads[0] if leads else names[0]
    run = [name for name in names if places(name) == places(lead)]
    return run, [name for name in names if name not in run]


def with_deflection(bound: BoundMap, names: Sequence[str]) -> list[str]:
    """Those of some files that carry a deflection."""

    def carries(name: str) -> bool:
        return any(c.entry.quantity == "deflection" for c in bound.of(name).channels)

    return [name for name in names if carries(name)]
