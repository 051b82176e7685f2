"""The matrix as a picture: two chosen factors span it, each square shows lives and curves."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass
from datetime import datetime
from statistics import fmean

from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.domain.design import MatrixState
from labmatrix.matrix.models import CellLevel, Factor, Level, Series
from labmatrix.matrix.selectors.series import series_get_state
from results.domain.comparison.groups import Sample
from results.domain.small_curve import Frame, frame_for, path_of
from results.domain.strip import Scale, Strip, Value, scale_for, strip_of
from results.models import Prediction
from results.selectors.comparison import Comparison, Row, comparison_get
from results.selectors.plate_lives import (
    Lives,
    Member,
    RibbonDrawn,
    curves_of,
    lives_of,
    members_of,
)
from results.selectors.plate_open import Open, Said, open_in, said_by_cell
from results.selectors.prediction import prediction_list_of_cells

# As wide as a square of three to a page; narrower squares show them smaller.
CURVE_WIDTH, CURVE_HEIGHT = 280.0, 116.0


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
    said: tuple[Said, ...]
    prediction: Prediction | None
    predicted_path: str
    strip: Strip

    @property
    def is_withdrawn(self) -> bool:
        """No specimens are planned any more, and none was made."""
        return self.planned == 0 and not self.ribbons


@dataclass(frozen=True)
class Square:
    """Where two levels cross: the cells there, and what may still be planned there."""

    cells: tuple[PlateCell, ...]
    open: Open


@dataclass(frozen=True)
class Filter:
    """A factor that does not span the plate: all of its levels are shown, or the chosen one."""

    factor: Factor
    levels: tuple[Level, ...]
    chosen: Level | None


@dataclass(frozen=True)
class Plate:
    """The whole picture: headings across, and rows of squares."""

    across: Factor | None
    down: Factor | None
    columns: tuple[str, ...]
    rows: tuple[tuple[str, tuple[Square, ...]], ...]
    frame: Frame
    since: datetime | None
    until: datetime | None
    comparison: Comparison
    counts: Mapping[str, int]
    scale: Scale
    filters: tuple[Filter, ...]
    has_curves: bool


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


def _filters(
    factors: Sequence[Factor], spanning: set[Factor | None], only: Mapping[str, str]
) -> tuple[Filter, ...]:
    found = []
    for factor in factors:
        if factor in spanning:
            continue
        levels = tuple(factor.levels.order_by("position"))
        wanted = only.get(factor.name, "")
        chosen = next((level for level in levels if level.value == wanted), None)
        if wanted and chosen is None:
            raise ShapeError(
                "plate.level",
                f"The level {wanted!r} is not one of {factor.name}; there are "
                f"{', '.join(level.value for level in levels)}.",
            )
        found.append(Filter(factor, levels, chosen))
    return tuple(found)


def plate_get(
    *,
    series: Series,
    now: datetime,
    across: str = "",
    down: str = "",
    metric: str = "peak_load",
    method: str = "",
    include: str = "judged",
    imported: str = "with",
    only: Mapping[str, str] | None = None,
) -> Plate:
    """The plate of a series; the caller has checked who asks.

    Args:
        series: the series.
        now: the present, up to which lives are drawn.
        across, down: names of the two factors that span the plate; the first two by default.
        metric, method, include, imported: the number in each square, as in a comparison.
        only: by name of a factor that does not span the plate, the level that alone is shown.

    Raises:
        ShapeError: an unknown factor or level, or a choice that the comparison refuses.
    """
    factors = list(Factor.objects.filter(series=series).order_by("position"))
    column_factor, row_factor = _chosen(factors, across, 1), _chosen(factors, down, 0)
    if column_factor == row_factor:
        column_factor = next((f for f in factors if f != row_factor), None)
    spanning = {column_factor, row_factor}
    filters = _filters(factors, spanning, only or {})
    comparison = comparison_get(
        series=series, metric=metric, method=method, include=include, imported=imported
    )
    painter = _painter(series, comparison, filters, now)
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
        counts=dict(Counter(s.stage for own in painter.members.values() for s in own)),
        scale=painter.scale,
        filters=filters,
        has_curves=bool(painter.curves or painter.expected),
    )


def _cell_levels(series: Series) -> dict[int, dict[int, Level]]:
    levels: dict[int, dict[int, Level]] = defaultdict(dict)
    for entry in CellLevel.objects.filter(cell__series=series).select_related("level"):
        levels[entry.cell_id][entry.factor_id] = entry.level
    return levels


def _painter(
    series: Series, comparison: Comparison, filters: Sequence[Filter], now: datetime
) -> _Painter:
    levels = _cell_levels(series)
    rows = [
        row
        for row in comparison.rows
        if all(_has(levels[row.cell.pk], f.factor, f.chosen) for f in filters)
    ]
    shown = {row.cell.pk for row in rows}
    specimens = members_of(shown)
    members: dict[int, list[Member]] = defaultdict(list)
    for specimen in specimens:
        members[specimen.cell_id].append(specimen)
    curves = curves_of(specimens)
    predictions = {
        cell: found for cell, found in prediction_list_of_cells(series).items() if cell in shown
    }
    expected = {cell: (p.curve["x"], p.curve["y"]) for cell, p in predictions.items() if p.curve}
    drawn = [*curves.values(), *expected.values()]
    state = series_get_state(series)
    return _Painter(
        rows=rows,
        levels=levels,
        filters=filters,
        members=members,
        controls={row.cell.gain_control_id for row in rows},
        lives=lives_of(specimens, now),
        curves=curves,
        frame=frame_for(drawn, width=CURVE_WIDTH, height=CURVE_HEIGHT),
        said=said_by_cell(state),
        predictions=predictions,
        expected=expected,
        state=state,
        scale=scale_for([x.value for row in rows for x in row.samples], width=CURVE_WIDTH),
    )


@dataclass(frozen=True)
class _Painter:
    """All that the squares are drawn from, read once."""

    rows: Sequence[Row]
    levels: Mapping[int, Mapping[int, Level]]
    filters: Sequence[Filter]
    members: Mapping[int, Sequence[Member]]
    controls: Set[int | None]
    lives: Lives
    curves: Mapping[int, tuple[list[float], list[float]]]
    frame: Frame
    said: Mapping[str, tuple[Said, ...]]
    predictions: Mapping[int, Prediction]
    expected: Mapping[int, tuple[list[float], list[float]]]
    state: MatrixState
    scale: Scale

    def square(self, *spanned: tuple[Factor | None, Level | None]) -> Square:
        """The cells that have these levels of the two factors, and what may be planned there."""
        fixed = [*spanned, *((f.factor, f.chosen) for f in self.filters)]
        named = {factor.name: level.value for factor, level in fixed if factor and level}
        cells = tuple(
            self.cell(row)
            for row in self.rows
            if all(_has(self.levels[row.cell.pk], factor, level) for factor, level in spanned)
        )
        return Square(cells, open_in(self.state, named))

    def cell(self, row: Row) -> PlateCell:
        """One cell with its lives, curves, counts and questions."""
        cell, levels = row.cell, self.levels[row.cell.pk]
        own = self.members.get(cell.pk, ())
        made = [s for s in own if s.stage != "planned"]
        others = [f.factor for f in self.filters if f.chosen is None]
        return PlateCell(
            code=cell.code,
            other_levels=tuple(f"{f.name} {levels[f.pk].shown}" for f in others if f.pk in levels),
            planned=cell.replicates,
            made=len(made),
            in_progress=sum(not s.end for s in made),
            ends=dict(Counter(s.end for s in own if s.end)),
            ribbons=tuple(self.lives.drawn(s) for s in own),
            paths=tuple(
                (s.code, path_of(*self.curves[s.pk], self.frame))
                for s in own
                if s.pk in self.curves
            ),
            row=row,
            is_control=cell.pk in self.controls,
            open_questions=sum(s.questions for s in own),
            said=self.said.get(cell.code, ()),
            prediction=self.predictions.get(cell.pk),
            predicted_path=(
                path_of(*self.expected[cell.pk], self.frame) if cell.pk in self.expected else ""
            ),
            strip=_strip(row, self.scale),
        )


def _strip(row: Row, scale: Scale) -> Strip:
    """A dot for each specimen; sub-samples of one are one dot at their mean."""
    by_specimen: dict[str, list[Sample]] = defaultdict(list)
    for sample in row.samples:
        by_specimen[sample.specimen].append(sample)
    values = {
        code: Value(
            fmean(x.value for x in own),
            bound=any(x.bound for x in own),
            imported=any(x.imported for x in own),
        )
        for code, own in by_specimen.items()
    }
    return strip_of(values, row.group.mean, row.group.s, scale)


def _levels_of(factor: Factor | None) -> list[Level | None]:
    return list(factor.levels.order_by("position")) if factor else [None]


def _shown(level: Level | None) -> str:
    return level.shown if level else "all"


def _has(own: Mapping[int, Level], factor: Factor | None, level: Level | None) -> bool:
    if factor is None or level is None:
        return True
    return factor.pk in own and own[factor.pk].pk == level.pk
