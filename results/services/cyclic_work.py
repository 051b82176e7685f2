"""The passes over the files of one cyclic record, in bounded memory, each resumable."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from django.conf import settings as django_settings

from labmatrix.evidence.domain.channel_map import ChannelMap
from labmatrix.evidence.domain.channels import bind_map
from labmatrix.evidence.models import Blob
from labmatrix.evidence.reading.streamed import open_stream
from labmatrix.evidence.reading.table import TableHead
from labmatrix.evidence.services.blob import blob_open
from labmatrix.evidence.services.job_folder import WorkFolder
from labmatrix.kernel.errors import ShapeError
from results.domain.curve_keeper import CurveKeeper
from results.domain.reduction.cycles import COLUMNS
from results.domain.reduction.cyclic_metrics import Keeper
from results.domain.reduction.cyclic_settings import CyclicSettings
from results.domain.reduction.cyclic_uncertainty import judge_cycles
from results.domain.reduction.instruments import Judged
from results.domain.reduction.outcome import Note
from results.domain.reduction.run_numbering import FileCycles, Numbering, number_cycles
from results.services.beside import BesideFiles, files_apart, with_deflection
from results.services.calibrated import factors_of
from results.services.cycle_table import CycleParts, table_write
from results.services.cyclic_pass import COUNTER, Columns, FilePass, Source
from results.services.file_scan import JoinedFile
from results.services.instruments_of import instrument_notes

logger = logging.getLogger(__name__)
Floats = npt.NDArray[np.float64]
Report = Callable[[float, str], None]
_CURVE_POINTS = 2000
# The passes take most of the time; the rest numbers the cycles and writes their table.
PASS_SHARE = 0.9
_BESIDE_SHARE = 0.4
_REPORT_SECONDS = 0.5
TABLE = "cycles.parquet"


@dataclass(frozen=True)
class CyclicFound:
    """What a cyclic record gives.

    Attributes:
        judged: metrics with their uncertainty, and remarks; the table is in ``table``.
        warnings: what reading met, JSON-ready.
        curve: load over deflection as measured, JSON-ready.
        table: the table of all cycles, in the folder of the work.
    """

    judged: Judged
    warnings: list[dict[str, Any]]
    curve: dict[str, Any]
    table: Path


class CyclicWork:
    """The work on one record, in the order in which it is done."""

    def __init__(
        self,
        inputs: Mapping[str, Any],
        report: Report,
        folder: WorkFolder,
        *,
        whole_curve: bool = False,
    ) -> None:
        self.curve_points = None if whole_curve else _CURVE_POINTS
        self.settings = CyclicSettings.from_dict(inputs["settings"])
        self.offset = int(inputs["cycle_offset"])
        self.report, self.folder = report, folder
        self.files: dict[str, str] = {f["name"]: f["sha256"] for f in inputs["files"]}
        self.calibrations = inputs["calibrations"]
        self.bound = bind_map(self._heads(), ChannelMap.from_data(inputs["channel_map"]))
        mapped = [name for name in self.files if self.bound.of(name).channels]
        self.names, beside = files_apart(self.bound, mapped)
        # For the curve alone only a file with a deflection can add to the run.
        self.beside_names = with_deflection(self.bound, beside) if whole_curve else beside
        self.beside: BesideFiles | None = None
        self.passes: list[FilePass] = []
        self.parts = CycleParts(folder.path)
        self.mark: list[str] = []
        self.saved_at = self.told_at = time.monotonic()
        self.words = "reading"
        state = folder.saved()
        if state is not None:
            self._go_on(state)

    def _heads(self) -> dict[str, TableHead]:
        heads = {}
        for name, sha256 in self.files.items():
            with blob_open(Blob(sha256=sha256)) as stream:
                heads[name] = open_stream(stream).head
        return heads

    # -- reading ---------------------------------------------------------------------------

    def read(self) -> None:
        """Takes every file through its pass; files beside the run are laid on it before."""
        if self.beside_names and self.beside is None:
            beside = self._files_beside()
            beside.prepare(lambda share, words: self._told(_BESIDE_SHARE * share, words))
            self.beside = beside
            self._save()
        for place, name in enumerate(self.names):
            if place >= len(self.passes):
                order = self.beside.date_orders.get(name) if self.beside else None
                self._begin(name, order or "day first")
            try:
                self._pass(place)
            except ShapeError as error:
                if error.code != "record.date-ambiguous" or not self._other_date_order(place):
                    raise
                self._pass(place)

    def _begin(self, name: str, date_order: str) -> None:
        if self.passes:
            self.parts.flush()
        self.mark = self.parts.written
        points = self.curve_points
        curve = CurveKeeper(points and max(200, points // len(self.names)))
        self.passes.append(FilePass(self._source(name, date_order), self.settings, None, curve))

    def _source(self, name: str, date_order: str = "day first") -> Source:
        beside = self.beside.channels_for(self._file(name)) if self.beside else None
        return Source(name, self.bound.of(name), self.calibrations, date_order, beside)

    def _file(self, name: str) -> JoinedFile:
        row_s = self.settings.row_seconds(name)
        factors = factors_of(self.calibrations)
        return JoinedFile(name, self.files[name], self.bound.of(name), factors, row_s)

    def _files_beside(self, state: Mapping[str, Any] | None = None) -> BesideFiles:
        run, beside = ([self._file(n) for n in names] for names in (self.names, self.beside_names))
        return BesideFiles(beside, run, self.settings, self.folder.path, state)

    def _other_date_order(self, place: int) -> bool:
        """Begins a file anew with month before day; False where that was tried already."""
        if self.passes[place].source.date_order != "day first":
            return False
        self.parts.rollback(self.mark)
        self.passes.pop()
        self._begin(self.names[place], "month first")
        return True

    def _pass(self, place: int) -> None:
        one = self.passes[place]

        def told(share: float) -> None:
            self._tell(place, share)

        with blob_open(Blob(sha256=self.files[one.source.name])) as stream:
            for table in one.run(stream, told, self._kept):
                table["file"] = np.full(len(table["cycle"]), place, dtype=np.int64)
                self.parts.add(table)

    def _tell(self, place: int, share: float) -> None:
        begun = _BESIDE_SHARE if self.beside else 0.0
        done = begun + (1.0 - begun) * (place + share) / len(self.names)
        self._told(done, f"reading {self.names[place]}")

    def _told(self, share: float, words: str) -> None:
        if time.monotonic() - self.told_at >= _REPORT_SECONDS:
            self.told_at, self.words = time.monotonic(), words
            self.report(PASS_SHARE * share, words)

    def _kept(self) -> None:
        """Between two pieces: keeps the state now and then."""
        if time.monotonic() - self.saved_at >= django_settings.CHECKPOINT_SECONDS:
            self._save()

    def _save(self) -> None:
        """Keeps the state, if the job is still ours."""
        if not self.folder.keeps:
            return
        self.report(0.0, self.words)
        self.parts.flush()
        self.folder.save(
            {
                "passes": [one.state() for one in self.passes],
                "parts": self.parts.written,
                "mark": self.mark,
                "beside": self.beside and self.beside.state(),
            }
        )
        self.saved_at = time.monotonic()

    def _go_on(self, state: Mapping[str, Any]) -> None:
        done = len(state["parts"])
        logger.info("long work goes on in %s behind %d parts", self.folder.path.name, done)
        if state["beside"] is not None:
            self.beside = self._files_beside(state["beside"])
        self.passes = [
            FilePass(self._source(name), self.settings, kept)
            for name, kept in zip(self.names, state["passes"], strict=False)
        ]
        self.parts, self.mark = CycleParts(self.folder.path, state["parts"]), state["mark"]

    # -- numbers ---------------------------------------------------------------------------

    def found(self) -> CyclicFound:
        """Numbers the cycles, writes their table, and gives the metrics."""
        numbering = number_cycles(self._file_cycles(), self.offset)
        firsts = [block["first_cycle"] for block in numbering.blocks]
        keeper = Keeper(self.settings, also=firsts[1:])
        path = self.folder.path / TABLE

        def kept() -> Iterator[Columns]:
            for table in self._numbered(numbering):
                keeper.keep({name: table[name] for name in COLUMNS})
                yield table

        table_write(path, kept())
        first = firsts[0] if firsts else self.offset + 1
        resolved = self._resolved(numbering, first)
        joined = self.beside.notes if self.beside else []
        load, deflection = self.passes[0].instruments
        notes = [*joined, *self._notes(), *numbering.notes, *instrument_notes(load, deflection)]
        outcome = keeper.outcome(resolved, notes, None)
        return CyclicFound(
            judged=judge_cycles(outcome, keeper, resolved, load=load, deflection=deflection),
            warnings=[
                *(warning for one in self.passes for warning in one.warnings),
                *(self.beside.warnings if self.beside else ()),
            ],
            curve=self._curve(),
            table=path,
        )

    def _file_cycles(self) -> list[FileCycles]:
        counters = [_counter_of(one) for one in self.passes]
        gathered: list[list[Columns]] = [[] for _ in self.passes]
        for table in self.parts:
            for place in np.unique(table["file"]).tolist():
                here = table["file"] == place
                names = ["peak_load_kn", "part", *filter(None, [counters[place]])]
                gathered[place].append({name: table[name][here] for name in names})

        def column(place: int, name: str, kind: type) -> npt.NDArray[Any]:
            parts = [table[name] for table in gathered[place]]
            return np.concatenate([np.empty(0, dtype=kind), *parts])

        return [
            FileCycles(
                name=one.source.name,
                peaks=column(place, "peak_load_kn", np.float64),
                parts=column(place, "part", np.int64),
                counts=column(place, counter, np.float64) if counter else None,
                started_at=one.started_at,
            )
            for place, (one, counter) in enumerate(zip(self.passes, counters, strict=True))
        ]

    def first_rows(self) -> list[int]:
        """Row of the record at which each file begins: files follow each other as they came."""
        rows = [one.stream.rows for one in self.passes]
        return [sum(rows[:place]) for place in range(len(rows))]

    def _numbered(self, numbering: Numbering) -> Iterator[Columns]:
        """The cycles that count, in the order of their numbers; at least one table."""
        first_rows = self.first_rows()
        order = list(dict.fromkeys(block["file"] for block in numbering.blocks))
        places = [self.names.index(name) for name in order] or [0]
        for place in places:
            done = 0
            for table in self.parts:
                here = np.flatnonzero(table["file"] == place)
                numbers = numbering.numbers[place][done : done + len(here)]
                done += len(here)
                counts = here[numbers > 0]
                taken = {name: table[name][counts] for name in (*COLUMNS, "file")}
                for name in self._carried():
                    missing = np.full(len(counts), np.nan)
                    taken[name] = table[name][counts] if name in table else missing
                taken["cycle"] = numbers[numbers > 0]
                for name in ("valley_index", "peak_index", "next_valley_index"):
                    taken[name] = taken[name] + first_rows[place]
                yield taken

    def _carried(self) -> list[str]:
        """Columns that are read off at valley and peak beside load and deflection."""
        names = dict.fromkeys(e["name"] for one in self.passes for e in one.carried or ())
        return [f"{end}_{name}" for name in names for end in ("valley", "peak")]

    def _resolved(self, numbering: Numbering, first: int) -> dict[str, Any]:
        """Of one file what its pass resolved; of several the sums, and each file's own."""
        each = [one.stream.resolved() for one in self.passes]
        resolved = dict(each[0])
        for other in each[1:]:
            resolved["timed"] = resolved["timed"] and other["timed"]
            for name in resolved:
                if name.startswith("count_"):
                    resolved[name] += other[name]
        resolved |= {"cycle_offset": first - 1, "carried": self.passes[0].carried or []}
        resolved["file_names"] = [one.source.name for one in self.passes]
        if self.beside is not None:
            resolved["joined"] = self.beside.joined
        if len(numbering.blocks) > 1 or len(each) > 1:
            resolved["blocks"] = list(numbering.blocks)
        if len(each) > 1:
            resolved["files"] = [
                {"name": one.source.name, "first_row": row, **own}
                for one, row, own in zip(self.passes, self.first_rows(), each, strict=True)
            ]
        return resolved

    def _notes(self) -> list[Note]:
        if len(self.passes) == 1:
            return self.passes[0].stream.notes()
        return [
            Note(note.code, f"{one.source.name}: {note.message}")
            for one in self.passes
            for note in one.stream.notes()
        ]

    def _curve(self) -> dict[str, Any]:
        kept = [one.curve.kept() for one in self.passes]
        rows = [curve.rows + row for curve, row in zip(kept, self.first_rows(), strict=True)]
        return {
            "x": [round(float(v), 6) for curve in kept for v in curve.x],
            "y": [round(float(v), 6) for curve in kept for v in curve.y],
            "rows": [int(row) for part in rows for row in part],
            "x_title": "deflection [mm]",
            "y_title": "load [kN]",
            "of_rows": sum(one.stream.rows for one in self.passes),
            "reduced": None,
        }


def _counter_of(one: FilePass) -> str | None:
    """The column with the counter of load cycles; None without one, or with several."""
    counters = [entry for entry in one.carried or () if entry["quantity"] == COUNTER]
    plain = [entry for entry in counters if not entry["place"]]
    chosen = plain if len(plain) == 1 else counters
    return f"peak_{chosen[0]['name']}" if len(chosen) == 1 else None
