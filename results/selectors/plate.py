"""The matrix as a picture: two chosen factors span it, each square shows lives and curves."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.domain.controls import remarks
from labmatrix.matrix.models import Cell, CellLevel, Factor, Level, Series
from labmatrix.matrix.selectors.series import series_get_state
from results.domain.ribbon import Ribbon, ribbon_of
from results.domain.small_curve import Frame, frame_for, path_of
from results.models import Reduction
from results.selectors.comparison import Comparison, Row, comparison_get
from specimens.domain.life_read import life_from
from specimens.domain.plan import Plan
from specimens.models import Specimen

CURVE_WIDTH, CURVE_HEIGHT = 150.0, 84.0
RIBBON_WIDTH = 150.0


@dataclass(frozen=True)
class RibbonDrawn:
    """A life on the common time scale: bars (kind, x, width, words), ticks (kind, x, words)."""

    specimen: str
    stage: str
    bars: tuple[tuple[str, float, float, str], ...]
    ticks: tuple[tuple[str, float, str], ...]
    words: str


@dataclass(frozen=True)
class PlateCell:
    """One cell in its square."""

    code: str
    other_levels: tuple[str, ...]
    planned: int
    made: int
    in_progress: int
    ends: Mapping[str, int]
    ribbons: tuple[RibbonDrawn, ...]
    paths: tuple[tuple[str, str], ...]
    row: Row
    is_control: bool
    open_questions: int
    remarks: tuple[str, ...]


@dataclass(frozen=True)
class Plate:
    """The whole picture: headings across, and rows of squares."""

    across: Factor | None
    down: Factor | None
    columns: tuple[str, ...]
    rows: tuple[tuple[str, tuple[tuple[PlateCell, ...], ...]], ...]
    frame: Frame
    since: datetime | None
    until: datetime | None
    comparison: Comparison
    counts: Mapping[str, int]


@dataclass(frozen=True)
class _Lives:
    ribbons: Mapping[int, Ribbon]
    since: datetime
    until: datetime

    def x(self, at: datetime) -> float:
        span = (self.until - self.since).total_seconds() or 1.0
        return round(RIBBON_WIDTH * (at - self.since).total_seconds() / span, 2)

    def drawn(self, specimen: Specimen) -> RibbonDrawn:
        ribbon = self.ribbons.get(specimen.pk)
        if ribbon is None:
            return RibbonDrawn(specimen.code, specimen.state.stage, (), (), "not made yet")
        bars = tuple(
            (
                s.kind.replace(" ", "-"),
                self.x(s.since),
                max(0.6, self.x(s.until) - self.x(s.since)),
                s.words,
            )
            for s in ribbon.segments
        )
        ticks = tuple((t.kind, self.x(t.at), t.words) for t in ribbon.ticks)
        words = "; ".join(
            [
                *(t.words for t in ribbon.ticks),
                *(s.words for s in ribbon.segments if s.kind != "waiting"),
            ]
        )
        return RibbonDrawn(specimen.code, specimen.state.stage, bars, ticks, words)


def _lives(specimens: Sequence[Specimen], now: datetime) -> _Lives:
    found: dict[int, Ribbon] = {}
    for specimen in specimens:
        life = life_from(specimen.state.folded["life"])
        ribbon = ribbon_of(life, Plan(specimen.planned_route), now)
        if ribbon is not None:
            found[specimen.pk] = ribbon
    since = min((r.since for r in found.values()), default=now)
    until = max((r.until for r in found.values()), default=now)
    return _Lives(found, since, until)


def _curves(specimens: Sequence[Specimen]) -> dict[int, tuple[list[float], list[float]]]:
    by_subject = {s.subject_id: s.pk for s in specimens}
    rows = Reduction.objects.filter(
        record__subject_id__in=list(by_subject), is_current=True, name="break"
    ).values_list("record__subject_id", "curve")
    shown = ((subject, curve.get("reduced") or curve) for subject, curve in rows)
    return {by_subject[subject]: (curve["x"], curve["y"]) for subject, curve in shown}


def _chosen(factors: Sequence[Factor], name: str, default: int) -> Factor | None:
    if not name:
        return factors[default] if len(factors) > default else None
    for factor in factors:
        if factor.name == name:
            return factor
    raise ShapeError(
        "plate.factor",
        f"The factor {name!r} is not in this series; there are "
        f"{', '.join(f.name for f in factors)}.",
    )


def _remarks(series: Series) -> dict[str, tuple[str, ...]]:
    """What a lead should know about each cell's controls, missing twins first of all."""
    found: dict[str, list[str]] = defaultdict(list)
    for remark in remarks(series_get_state(series)):
        found[remark.cell].append(remark.words)
    return {cell: tuple(words) for cell, words in found.items()}


def plate_get(
    *,
    series: Series,
    now: datetime,
    across: str = "",
    down: str = "",
    metric: str = "peak_load",
    method: str = "",
    include: str = "judged",
) -> Plate:
    """The plate of a series; the caller has checked who asks.

    Args:
        series: the series.
        now: the present, up to which lives are drawn.
        across, down: names of the two factors that span the plate; the first two by default.
        metric, method, include: the number in each square, as in a comparison.

    Raises:
        ShapeError: an unknown factor, or a choice that the comparison refuses.
    """
    factors = list(Factor.objects.filter(series=series).order_by("position"))
    column_factor, row_factor = _chosen(factors, across, 1), _chosen(factors, down, 0)
    if column_factor == row_factor:
        column_factor = next((f for f in factors if f != row_factor), None)
    comparison = comparison_get(series=series, metric=metric, method=method, include=include)
    by_cell = {row.cell.pk: row for row in comparison.rows}
    cells = [row.cell for row in comparison.rows]
    levels: dict[int, dict[int, Level]] = defaultdict(dict)
    for entry in CellLevel.objects.filter(cell__series=series).select_related("level"):
        levels[entry.cell_id][entry.factor_id] = entry.level
    specimens = list(
        Specimen.objects.filter(cell__series=series).select_related("state").order_by("number")
    )
    lives, curves = _lives(specimens, now), _curves(specimens)
    frame = frame_for(list(curves.values()), width=CURVE_WIDTH, height=CURVE_HEIGHT)
    words = _remarks(series)
    controls = {c.gain_control_id for c in cells if c.gain_control_id}

    def drawn(cell: Cell) -> PlateCell:
        own = [s for s in specimens if s.cell_id == cell.pk]
        spanning = {f.pk for f in (column_factor, row_factor) if f}
        others = tuple(
            f"{f.name} {levels[cell.pk][f.pk].shown}"
            for f in factors
            if f.pk not in spanning and f.pk in levels[cell.pk]
        )
        return PlateCell(
            code=cell.code,
            other_levels=others,
            planned=cell.replicates,
            made=sum(s.state.stage != "planned" for s in own),
            in_progress=sum(not s.state.end and s.state.stage != "planned" for s in own),
            ends=dict(Counter(s.state.end for s in own if s.state.end)),
            ribbons=tuple(lives.drawn(s) for s in own),
            paths=tuple((s.code, path_of(*curves[s.pk], frame)) for s in own if s.pk in curves),
            row=by_cell[cell.pk],
            is_control=cell.pk in controls,
            open_questions=sum(s.state.open_deviation_count + s.state.conflict_count for s in own),
            remarks=words.get(cell.code, ()),
        )

    columns = _levels_of(column_factor)
    rows = []
    for level in _levels_of(row_factor):
        squares = tuple(
            tuple(
                drawn(c)
                for c in cells
                if _has(levels[c.pk], row_factor, level)
                and _has(levels[c.pk], column_factor, column)
            )
            for column in columns
        )
        rows.append((_shown(level), squares))
    return Plate(
        across=column_factor,
        down=row_factor,
        columns=tuple(_shown(c) for c in columns),
        rows=tuple(rows),
        frame=frame,
        since=lives.since if lives.ribbons else None,
        until=lives.until if lives.ribbons else None,
        comparison=comparison,
        counts=dict(Counter(s.state.stage for s in specimens)),
    )


def _levels_of(factor: Factor | None) -> list[Level | None]:
    return list(factor.levels.order_by("position")) if factor else [None]


def _shown(level: Level | None) -> str:
    return level.shown if level else "all"


def _has(own: Mapping[int, Level], factor: Factor | None, level: Level | None) -> bool:
    if factor is None or level is None:
        return True
    return factor.pk in own and own[factor.pk].pk == level.pk


def plate_as_table(plate: Plate) -> dict[str, Any]:
    """The plate in words and numbers: the picture's alternative."""
    rows = []
    for name, squares in plate.rows:
        for column, square in zip(plate.columns, squares, strict=True):
            for cell in square:
                group = cell.row.group
                ends = ", ".join(f"{n} {end}" for end, n in sorted(cell.ends.items())) or "none"
                rows.append(
                    [
                        name,
                        column,
                        ", ".join(cell.other_levels),
                        cell.planned,
                        cell.made,
                        ends,
                        group.n,
                        group.mean,
                    ]
                )
    unit = plate.comparison.unit or "1"
    return {
        "caption": "The plate as a table.",
        "columns": [
            {"label": plate.down.name if plate.down else "", "kind": "text"},
            {"label": plate.across.name if plate.across else "", "kind": "text"},
            {"label": "Other levels", "kind": "text"},
            {"label": "Planned", "digits": 6},
            {"label": "Made", "digits": 6},
            {"label": "Ends", "kind": "text"},
            {"label": "n", "digits": 6},
            {"label": f"Mean {plate.comparison.metric.replace('_', ' ')}", "unit": unit},
        ],
        "rows": rows,
    }
