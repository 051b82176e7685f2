"""Hold a matrix file against a series: what it adds, or everything that is wrong with it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from labmatrix.kernel.errors import RuleBroken, ShapeError, UserError
from labmatrix.matrix.domain.cell_plan import (
    make_cell,
    make_forbidden,
    read_code,
    read_control,
    read_note,
    read_replicates,
    says_the_same,
)
from labmatrix.matrix.domain.controls import with_controls
from labmatrix.matrix.domain.design import (
    CELLS_MAX,
    CellPlan,
    Combination,
    ForbiddenPlan,
    MatrixState,
    combination_in_words,
    full_factorial,
)
from labmatrix.matrix.domain.document import (
    CODE,
    CONDITIONING_CONTROL,
    GAIN_CONTROL,
    NOTE,
    REPLICATES,
    WHOLE_FILE,
    FactorColumn,
    LevelText,
    MatrixDocument,
    RawRow,
)
from labmatrix.matrix.domain.factor_book import FactorBook
from labmatrix.matrix.domain.level_text import folded
from labmatrix.matrix.domain.problems import MatrixRefused, Problems
from labmatrix.matrix.domain.wording import as_sentence

CODE_TWICE = "The code {code} belongs to another cell; each cell needs its own."
CELL_EXISTS = "{cell} holds this combination already; a planned cell is changed on its page."


@dataclass(frozen=True)
class MatrixChange:
    """What a file or a request adds to a series.

    Attributes:
        before, after: all that was and is planned.
        created: codes of the cells that are new.
        unchanged: codes of the cells that were named and are there already.
    """

    before: MatrixState
    after: MatrixState
    created: tuple[str, ...]
    unchanged: tuple[str, ...]

    @property
    def is_empty(self) -> bool:
        """Whether nothing is added."""
        return self.before == self.after


def plan_document(state: MatrixState, document: MatrixDocument) -> MatrixChange:
    """What a matrix file adds to a series.

    Args:
        state: all that is planned in the series.
        document: what the file says.

    Raises:
        MatrixRefused: its facts name row, column, code and sentence of each problem.
    """
    problems = Problems(document.problems)
    book = FactorBook(state.factors, problems)
    book.take(document)
    if len(problems) > len(document.problems):
        problems.stop()  # rows cannot be read before the factors are clear
    rows = _rows_by_levels(book, document, problems)
    forbidden = _all_forbidden(state, book, document, problems)
    known = MatrixState(book.factors, forbidden, state.cells)
    have = {cell.levels: cell for cell in state.cells}
    created = _new_cells(known, have, rows, problems)
    problems.stop()  # controls cannot be looked up before all cells are clear
    after = _with_all_controls(known, created, rows, problems)
    unchanged = [cell for levels, cell in have.items() if levels in rows]
    for cell in unchanged:
        _compare_cell(cell, rows[cell.levels], problems)
    problems.stop()
    return MatrixChange(
        state, after, tuple(c.code for c in created), tuple(c.code for c in unchanged)
    )


def plan_cell(
    state: MatrixState, levels: Mapping[str, LevelText], plain: Mapping[str, str]
) -> MatrixChange:
    """What one more cell adds.

    Args:
        state: all that is planned in the series.
        levels: of every factor, by the factor's name.
        plain: texts of replicates, code, controls and note, by column.

    Raises:
        ShapeError: the first problem, its facts naming the column.
        RuleBroken: ``cell.exists`` where a cell has the combination already.
    """
    row = RawRow(1, {folded(name): text for name, text in levels.items()}, plain)
    known = MatrixDocument(tuple(FactorColumn(f.name) for f in state.factors), (row,))
    try:
        change = plan_document(state, known)
    except MatrixRefused as refused:
        first = refused.problems[0]
        raise ShapeError(first.code, first.message, column=first.column) from refused
    for code in change.unchanged:
        raise RuleBroken("cell.exists", CELL_EXISTS.format(cell=code), cell=code)
    return change


def plan_factorial(state: MatrixState, replicates: int) -> MatrixChange:
    """Every combination that is not forbidden, as a cell; cells that are there stay as they are.

    Raises:
        ShapeError: ``matrix.no-levels``, ``matrix.too-many-cells``, ``matrix.code-twice`` or
            ``code.shape``.
    """
    if not state.factors or not all(factor.levels for factor in state.factors):
        raise ShapeError(
            "matrix.no-levels",
            "A full factorial needs at least one factor, and a level of every factor.",
        )
    taken = set(state.by_code)
    created: list[CellPlan] = []
    unchanged: list[str] = []
    for levels in full_factorial(state.factors, state.forbidden):
        have = state.by_levels.get(levels)
        if have is not None:
            unchanged.append(have.code)
            continue
        cell = make_cell(state, levels, {REPLICATES: str(replicates)})
        if cell.code in taken:
            raise ShapeError("matrix.code-twice", CODE_TWICE.format(code=cell.code), cell=cell.code)
        taken.add(cell.code)
        created.append(cell)
    codes = {cell.code for cell in created}
    after = with_controls(
        replace(state, cells=(*state.cells, *created)), gain=codes, conditioning=codes
    )
    return MatrixChange(state, after, tuple(c.code for c in created), tuple(unchanged))


def _rows_by_levels(
    book: FactorBook, document: MatrixDocument, problems: Problems
) -> dict[Combination, RawRow]:
    """The rows by their combinations; rows with a problem are noted and left out."""
    rows: dict[Combination, RawRow] = {}
    for row in document.rows:
        before = len(problems)
        combination = book.combination(row)
        _check_plain(row, problems)
        if combination is None or len(problems) > before:
            continue
        if combination in rows:
            problems.say(
                row.number,
                "",
                "matrix.row-twice",
                f"{combination_in_words(book.factors, combination)} is in row "
                f"{rows[combination].number} already.",
            )
            continue
        rows[combination] = row
    return rows


def _check_plain(row: RawRow, problems: Problems) -> None:
    for column, read in ((REPLICATES, read_replicates), (CODE, read_code), (NOTE, read_note)):
        if row.plain.get(column):
            try:
                read(row.plain[column])
            except UserError as error:
                problems.note(row.number, column, error)


def _all_forbidden(
    state: MatrixState, book: FactorBook, document: MatrixDocument, problems: Problems
) -> tuple[ForbiddenPlan, ...]:
    """The series' rules and those that the file adds."""
    rules = state.forbidden
    for declared in document.forbidden:
        try:
            rules = with_forbidden(
                replace(state, forbidden=rules),
                make_forbidden(book.factors, declared.levels, declared.why),
            ).forbidden
        except UserError as error:
            problems.note(declared.row, "forbidden", error)
    return rules


def with_forbidden(state: MatrixState, rule: ForbiddenPlan) -> MatrixState:
    """The state with one more rule; the same state where it has the rule already.

    Raises:
        ShapeError: ``matrix.forbidden-differs`` for another reason, ``matrix.forbidden-in-use``
            where cells hold the combination.
    """
    for have in state.forbidden:
        if dict(have.levels) == dict(rule.levels):
            if have.why == rule.why:
                return state
            raise ShapeError(
                "matrix.forbidden-differs",
                f"This combination is forbidden already, because: {as_sentence(have.why)}",
            )
    used = [cell.code for cell in state.cells if rule.forbids(state.named(cell.levels))]
    if used:
        raise ShapeError(
            "matrix.forbidden-in-use",
            f"{', '.join(used)} of the series {'hold' if len(used) > 1 else 'holds'} this "
            "combination; only one that no cell holds can be forbidden.",
            cells=used,
        )
    return replace(state, forbidden=(*state.forbidden, rule))


def _new_cells(
    state: MatrixState,
    have: dict[Combination, CellPlan],
    rows: dict[Combination, RawRow],
    problems: Problems,
) -> list[CellPlan]:
    created: list[CellPlan] = []
    taken = {cell.code for cell in state.cells}
    for levels, row in rows.items():
        if levels in have:
            continue
        try:
            cell = make_cell(state, levels, row.plain)
        except UserError as error:
            column = REPLICATES if error.code == "matrix.replicates" else ""
            problems.note(row.number, column, error)
            continue
        if cell.code in taken:
            problems.say(
                row.number,
                CODE,
                "matrix.code-twice",
                CODE_TWICE.format(code=cell.code),
            )
        taken.add(cell.code)
        created.append(cell)
    if len(taken) > CELLS_MAX:
        problems.say(
            WHOLE_FILE,
            "",
            "matrix.too-many-cells",
            f"The series would have {len(taken)} cells; allowed are {CELLS_MAX}.",
        )
    return created


def _with_all_controls(
    state: MatrixState,
    created: Sequence[CellPlan],
    rows: dict[Combination, RawRow],
    problems: Problems,
) -> MatrixState:
    """The state with the new cells: controls as the rows name them, proposed where mute."""
    codes = {cell.code for cell in (*state.cells, *created)}
    mute: dict[str, set[str]] = {GAIN_CONTROL: set(), CONDITIONING_CONTROL: set()}
    cells = list(state.cells)
    for cell in created:
        row = rows[cell.levels]
        named: dict[str, str | None] = {}
        for column, silent in mute.items():
            text = row.plain.get(column, "")
            if not text:
                silent.add(cell.code)
            try:
                named[column] = read_control(text, column, cell.code, codes)
            except ShapeError as error:
                problems.note(row.number, column, error)
        cells.append(
            replace(
                cell,
                gain_control=named.get(GAIN_CONTROL),
                conditioning_control=named.get(CONDITIONING_CONTROL),
            )
        )
    return with_controls(
        replace(state, cells=tuple(cells)),
        gain=mute[GAIN_CONTROL],
        conditioning=mute[CONDITIONING_CONTROL],
    )


def _compare_cell(cell: CellPlan, row: RawRow, problems: Problems) -> None:
    controls = {GAIN_CONTROL: cell.gain_control, CONDITIONING_CONTROL: cell.conditioning_control}
    have = {
        REPLICATES: str(cell.replicates),
        CODE: cell.code,
        NOTE: cell.note or "empty",
        **{column: control or "none" for column, control in controls.items()},
    }
    for column, text in row.plain.items():
        if text and not says_the_same(column, text, cell, controls.get(column)):
            problems.say(
                row.number,
                column,
                "matrix.cell-differs",
                f"{cell.code} is in the matrix with {column} {have[column]}; the file says "
                f"{text}. A planned cell is changed on its page, with a reason.",
            )
