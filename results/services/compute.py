"""From the inputs of a reduction to its numbers; the same code for the first time and a rebuild."""

from __future__ import annotations

import hashlib
import time
import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, BinaryIO, cast

import numpy as np

from labmatrix.evidence.domain.channel_map import ChannelMap
from labmatrix.evidence.domain.channels import Channels, apply_map, bind_map
from labmatrix.evidence.domain.join import Joined, join_files
from labmatrix.evidence.models import Blob
from labmatrix.evidence.reading.open_table import read_table
from labmatrix.evidence.reading.parquet import decimals_of
from labmatrix.evidence.reading.table import RawTable
from labmatrix.evidence.services.blob import blob_open
from labmatrix.evidence.services.job_folder import WorkFolder
from labmatrix.kernel.canonical import content_key
from results.domain.curve import kept_rows
from results.domain.reduction.budget_data import budget_as_dict
from results.domain.reduction.instruments import Judged, Key
from results.domain.reduction.outcome import Found, Outcome, Table
from results.domain.reduction.settings import JoinedSettings
from results.services.calibrated import calibrated, factors_of
from results.services.cycle_table import table_write
from results.services.cyclic_record import cyclic_record
from results.services.main_channels import drawn_channels
from results.services.methods import CyclicMethod, RunMethod, Steps, method_named
from results.services.run_record import run_record

Report = Callable[[float, str], None]
_METRIC_NAMESPACE = uuid.UUID("0c1f7f3c-2f57-5f3e-8f0a-6f3f5d0b9a41")
# Reading takes most of the time of a reduction.
_READ_SHARE = 0.7
_TOLD_SECONDS = 0.5


@dataclass(frozen=True)
class Computed:
    """What a reduction gives, ready to be stored.

    Attributes:
        key: of its inputs.
        outcome: numbers and remarks.
        budgets: where the uncertainty of each number comes from, JSON-ready.
        warnings: what reading and reducing met, JSON-ready.
        curve: the light curve, JSON-ready.
        table: the table of cycles or of the envelope, in the folder of the work; None without.
    """

    key: str
    outcome: Outcome
    budgets: Mapping[Key, dict[str, Any]]
    warnings: list[dict[str, Any]]
    curve: dict[str, Any]
    table: Path | None

    def table_sha256(self) -> str | None:
        """The hash by which the store would keep the table."""
        if self.table is None:
            return None
        with self.table.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()


def metric_id(key: str, found: Found) -> uuid.UUID:
    """UUIDv5 of the reduction's key and the metric's name, method and cycle."""
    at = "" if found.at is None else str(found.at)
    return uuid.uuid5(_METRIC_NAMESPACE, "\n".join((key, found.name, found.method or "", at)))


def _tables(inputs: Mapping[str, Any], report: Report) -> dict[str, RawTable]:
    files = inputs["files"]
    tables = {}
    for index, file in enumerate(files):
        name = file["name"]

        def told(share: float, index: int = index, name: str = name) -> None:
            report(_READ_SHARE * (index + share) / len(files), f"reading {name}")

        with blob_open(Blob(sha256=file["sha256"])) as stream:
            tables[name] = read_table(stream, progress=told)
    return tables


@dataclass(frozen=True)
class ReadChannels:
    """The channels of a record, and what a person should know of how they were read.

    Attributes:
        channels: in base units, calibrated; those of several files on the rows of one.
        steps: smallest step of each by file and column, in its base unit; 0 where not fixed.
        warnings: what reading met, JSON-ready.
        joined: how each file was laid on the first, JSON-ready.
    """

    channels: Channels
    steps: Steps
    warnings: list[dict[str, Any]]
    joined: list[dict[str, Any]]


def channels_of(inputs: Mapping[str, Any], report: Report) -> ReadChannels:
    """The channels of a record that is read whole.

    Raises:
        UserError: why a file cannot be read, does not fit its map, or cannot be joined.
    """
    tables = _tables(inputs, report)
    channel_map = ChannelMap.from_data(inputs["channel_map"])
    channels = apply_map(tables, channel_map)
    steps = _steps(tables, channel_map)
    channels = calibrated(channels, factors_of(inputs["calibrations"]))
    warnings = [
        {"file": name, **warning.as_dict()}
        for name, table in tables.items()
        for warning in table.warnings
    ]
    settings = method_named(inputs["reduction"]["name"]).settings.from_dict(inputs["settings"])
    if not isinstance(settings, JoinedSettings):
        return ReadChannels(channels, steps, warnings, [])
    joined = joined_on_load(channels, settings, [file["name"] for file in inputs["files"]])
    told = [{"code": remark.code, "message": remark.message} for remark in joined.remarks]
    offsets = [asdict(offset) for offset in joined.offsets]
    return ReadChannels(joined.channels, steps, [*warnings, *told], offsets)


def _steps(tables: Mapping[str, RawTable], channel_map: ChannelMap) -> Steps:
    bound = bind_map({name: table.head for name, table in tables.items()}, channel_map)
    return {
        (one.file, one.column): one.step(decimals_of(tables[one.file].values[one.column]))
        for one in bound.channels
        if one.entry.quantity in ("load", "deflection")
    }


def joined_on_load(channels: Channels, settings: JoinedSettings, files: Sequence[str]) -> Joined:
    """Channels of several files on the rows of the one that leads: the first in the order of the
    files with load and deflection, else the first with a load.

    Raises:
        ShapeError: ``join.…``.
    """

    def rank(file: str) -> int:
        there = {channel.quantity for channel in channels.channels if channel.file == file}
        return 2 - len({"load", "deflection"} & there) if "load" in there else 3

    order = sorted(files, key=lambda file: (rank(file), files.index(file)))
    ordered = sorted(channels.channels, key=lambda channel: order.index(channel.file))
    offsets = {file: settings.stated_offset(file) for file in files}
    rows = {file: settings.row_seconds(file) for file in files}
    return join_files(
        Channels(tuple(ordered)),
        seconds_per_row={file: value for file, value in rows.items() if value is not None},
        search_s=settings.search,
        stated_offset_s={file: value for file, value in offsets.items() if value is not None},
    )


def _curve(channels: Channels, outcome: Outcome) -> dict[str, Any]:
    x, y, x_title, y_title = drawn_channels(channels)
    rows = kept_rows(x, y, also=tuple(mark.index for mark in outcome.marks))
    return {
        "x": _rounded(x[rows]),
        "y": _rounded(y[rows]),
        "rows": [int(r) for r in rows],
        "x_title": x_title,
        "y_title": y_title,
        "of_rows": int(x.size),
        "reduced": _reduced(outcome),
    }


def _rounded(values: np.ndarray[Any, Any]) -> list[float]:
    return [round(float(v), 6) for v in values]


def _reduced(outcome: Outcome) -> Mapping[str, Sequence[float | None]] | None:
    """The curve that the numbers were read off: after zero, seating and settlement."""
    table = outcome.table or {}
    if not {"deflection_mm", "load_kn"} <= set(table):
        return None
    x, y = table["deflection_mm"], table["load_kn"]
    if "side" in table:
        return _sides(table)
    rows = kept_rows(x, y, at_most=1200)
    return {"x": _rounded(x[rows]), "y": _rounded(y[rows])}


def _sides(table: Table) -> dict[str, list[float | None]]:
    """Both envelopes of a reversed test, a gap between them."""
    found: dict[str, list[float | None]] = {"x": [], "y": []}
    for side in (1, -1):
        rows = table["side"] == side
        found["x"] += [*_rounded(table["deflection_mm"][rows]), None]
        found["y"] += [*_rounded(table["load_kn"][rows]), None]
    return found


def compute(inputs: Mapping[str, Any], report: Report, folder: WorkFolder) -> Computed:
    """Do a reduction from its inputs alone.

    Args:
        inputs: as ``reduction_inputs`` gives them, or as stored with a reduction.
        report: told the share done and what is being done.
        folder: for the table, and for what long work keeps of itself.

    Raises:
        UserError: why the record cannot be reduced.
    """
    method = method_named(inputs["reduction"]["name"])
    if isinstance(method, CyclicMethod | RunMethod):
        of_one = isinstance(method, CyclicMethod)
        found = (cyclic_record if of_one else run_record)(inputs, report, folder)
        report(0.95, "writing")
        return _computed(inputs, found.judged, found.warnings, found.curve, found.table)
    read = channels_of(inputs, report)
    report(_READ_SHARE, "reducing")

    def told(share: float) -> None:
        report(_READ_SHARE + (0.95 - _READ_SHARE) * share, "reducing")

    judged = method.reduce(read.channels, inputs, read.steps, told_now_and_then(told))
    outcome = judged.outcome
    if read.joined:
        outcome = replace(outcome, settings={**outcome.settings, "joined": read.joined})
    report(0.95, "writing")
    table = None
    if outcome.table is not None:
        table = folder.path / "table.parquet"
        table_write(table, [outcome.table])
    judged = replace(judged, outcome=outcome)
    return _computed(inputs, judged, read.warnings, _curve(read.channels, outcome), table)


def _computed(
    inputs: Mapping[str, Any],
    judged: Judged,
    warnings: list[dict[str, Any]],
    curve: dict[str, Any],
    table: Path | None,
) -> Computed:
    outcome = judged.outcome
    notes = [{"code": note.code, "message": note.message} for note in outcome.warnings]
    return Computed(
        key=content_key(inputs),
        outcome=outcome,
        budgets={key: budget_as_dict(budget) for key, budget in judged.budgets.items()},
        warnings=[*warnings, *notes, *_uncalibrated(inputs)],
        curve=curve | ({"summaries": list(outcome.summaries)} if outcome.summaries else {}),
        table=table,
    )


def told_now_and_then(told: Callable[[float], None]) -> Callable[[float], None]:
    """Tells no more often than every half second, so that the lease is kept at little cost."""
    last = time.monotonic()

    def seldom(share: float) -> None:
        nonlocal last
        if time.monotonic() - last >= _TOLD_SECONDS:
            last = time.monotonic()
            told(share)

    return seldom


def _uncalibrated(inputs: Mapping[str, Any]) -> list[dict[str, Any]]:
    unknown = [c["sensor"] for c in inputs["calibrations"] if not c.get("known", True)]
    if not unknown:
        return []
    words = f"No calibration is known for the sensors {', '.join(unknown)}; their factor is 1."
    return [{"code": "record.sensor-uncalibrated", "message": words}]


def table_columns(stream: BinaryIO) -> dict[str, list[Any]]:
    """A stored table, column by column."""
    import pyarrow.parquet as pq

    return cast("dict[str, list[Any]]", pq.read_table(stream).to_pydict())
