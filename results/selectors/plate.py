"""The matrix as a picture: two chosen factors span it, each square shows lives and curves."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.domain.controls import remarks
from labmatrix.matrix.models import CellLevel, Factor, Level, Series
from labmatrix.matrix.selectors.series import series_get_state
from results.domain.ribbon import Ribbon, ribbon_of
from results.domain.small_curve import Frame, frame_for, path_of
from results.models import Prediction, Reduction
from results.selectors.comparison import Comparison, Row, comparison_get
from results.selectors.prediction import prediction_list_of_cells
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
    prediction: Prediction | None
    predicted_path: str


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
    painter = _painter(series, comparison, factors, {column_factor, row_factor}, now)
    columns = _levels_of(column_factor)
    rows = tuple(
        (
            _shown(level),
            tuple(
                painter.square((row_factor, level), (column_factor, column)) for column in columns
            ),
        )
        for level in _levels_of(row_factor)
    )
    lives = painter.lives
    return Plate(
        across=column_factor,
        down=row_factor,
        columns=tuple(_shown(c) for c in columns),
        rows=rows,
        frame=painter.frame,
        since=lives.since if lives.ribbons else None,
        until=lives.until if lives.ribbons else None,
        comparison=comparison,
        counts=dict(Counter(s.state.stage for s in painter.specimens)),
    )


def _painter(
    series: Series,
    comparison: Comparison,
    factors: Sequence[Factor],
    spanning: set[Factor | None],
    now: datetime,
) -> _Painter:
    levels: dict[int, dict[int, Level]] = defaultdict(dict)
    for entry in CellLevel.objects.filter(cell__series=series).select_related("level"):
        levels[entry.cell_id][entry.factor_id] = entry.level
    specimens = list(
        Specimen.objects.filter(cell__series=series).select_related("state").order_by("number")
    )
    curves = _curves(specimens)
    predictions = prediction_list_of_cells(series)
    expected = {cell: (p.curve["x"], p.curve["y"]) for cell, p in predictions.items() if p.curve}
    drawn = [*curves.values(), *expected.values()]
    return _Painter(
        rows=comparison.rows,
        levels=levels,
        others=[f for f in factors if f not in spanning],
        specimens=specimens,
        lives=_lives(specimens, now),
        curves=curves,
        frame=frame_for(drawn, width=CURVE_WIDTH, height=CURVE_HEIGHT),
        remarks=_remarks(series),
        predictions=predictions,
        expected=expected,
    )


@dataclass(frozen=True)
class _Painter:
    """All that the squares are drawn from, read once."""

    rows: Sequence[Row]
    levels: Mapping[int, Mapping[int, Level]]
    others: Sequence[Factor]
    specimens: Sequence[Specimen]
    lives: _Lives
    curves: Mapping[int, tuple[list[float], list[float]]]
    frame: Frame
    remarks: Mapping[str, tuple[str, ...]]
    predictions: Mapping[int, Prediction]
    expected: Mapping[int, tuple[list[float], list[float]]]

    def square(self, *spanned: tuple[Factor | None, Level | None]) -> tuple[PlateCell, ...]:
        """The cells that have these levels of the two factors."""
        return tuple(
            self.cell(row)
            for row in self.rows
            if all(_has(self.levels[row.cell.pk], factor, level) for factor, level in spanned)
        )

    def cell(self, row: Row) -> PlateCell:
        """One cell with its lives, curves, counts and questions."""
        cell, levels = row.cell, self.levels[row.cell.pk]
        own = [s for s in self.specimens if s.cell_id == cell.pk]
        made = [s for s in own if s.state.stage != "planned"]
        controls = {r.cell.gain_control_id for r in self.rows}
        return PlateCell(
            code=cell.code,
            other_levels=tuple(
                f"{f.name} {levels[f.pk].shown}" for f in self.others if f.pk in levels
            ),
            planned=cell.replicates,
            made=len(made),
            in_progress=sum(not s.state.end for s in made),
            ends=dict(Counter(s.state.end for s in own if s.state.end)),
            ribbons=tuple(self.lives.drawn(s) for s in own),
            paths=tuple(
                (s.code, path_of(*self.curves[s.pk], self.frame))
                for s in own
                if s.pk in self.curves
            ),
            row=row,
            is_control=cell.pk in controls,
            open_questions=sum(s.state.open_deviation_count + s.state.conflict_count for s in own),
            remarks=self.remarks.get(cell.code, ()),
            prediction=self.predictions.get(cell.pk),
            predicted_path=(
                path_of(*self.expected[cell.pk], self.frame) if cell.pk in self.expected else ""
            ),
        )


def _levels_of(factor: Factor | None) -> list[Level | None]:
    return list(factor.levels.order_by("position")) if factor else [None]


def _shown(level: Level | None) -> str:
    return level.shown if level else "all"


def _has(own: Mapping[int, Level], factor: Factor | None, level: Level | None) -> bool:
    if factor is None or level is None:
        return True
    return factor.pk in own and own[factor.pk].pk == level.pk
