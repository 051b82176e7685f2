"""Plan a matrix: permission, change and ledger in one."""

from __future__ import annotations

import json
from datetime import date

import pytest

from labmatrix.evidence.models import LedgerEntry
from labmatrix.evidence.services.ledger import ledger_verify
from labmatrix.kernel.errors import NotFound, RuleBroken, ShapeError, UserError
from labmatrix.matrix.domain.design import FactorKind, FactorPart
from labmatrix.matrix.domain.document import DeclaredLevel
from labmatrix.matrix.models import Cell, Factor, Level, Membership, Programme, Series
from labmatrix.matrix.selectors.series import series_get_state
from labmatrix.matrix.services.cell import (
    cell_add,
    cell_change,
    cells_generate,
    controls_assign,
    forbidden_add,
)
from labmatrix.matrix.services.factor import factor_add, factor_change, level_add
from labmatrix.matrix.services.matrix_import import matrix_import
from labmatrix.matrix.services.programme import (
    LAST_LEAD,
    membership_remove,
    membership_set,
    programme_create,
)
from labmatrix.matrix.services.series import series_change, series_create
from labmatrix.web.domain.roles import Role
from labmatrix.web.models import Person
from tests.matrix.conftest import EVERYONE, NOW, Cast
from tests.matrix.factories import CellFactory, PersonFactory
from tests.matrix.files import csv_file

pytestmark = pytest.mark.django_db


def last_body() -> dict:
    """What the ledger's last entry says."""
    return json.loads(LedgerEntry.objects.latest("seq").content)["body"]


def generated(cast: Cast, series: Series) -> dict[str, Cell]:
    """All cells of the series, by code."""
    cells_generate(actor=cast.lead, series=series, replicates=3, now=NOW)
    return {cell.code: cell for cell in Cell.objects.filter(series=series)}


def _ask(service: str, cast: Cast, series: Series, actor: Person) -> None:
    """One plausible call of each service that plans."""
    cell = Cell.objects.filter(series=series).first()
    factor = Factor.objects.filter(series=series).first()
    asked = {
        "membership_set": lambda: membership_set(
            actor=actor,
            programme=cast.programme,
            person=cast.technician,
            role=Role.MANAGER,
            now=NOW,
        ),
        "membership_remove": lambda: membership_remove(
            actor=actor, programme=cast.programme, person=cast.sponsor, now=NOW
        ),
        "series_create": lambda: series_create(
            actor=actor,
            programme=cast.programme,
            code="QV-C",
            title="Coupons",
            specimen_type="coupon",
            now=NOW,
        ),
        "series_change": lambda: series_change(
            actor=actor,
            series=series,
            title="Beams",
            route={},
            member={},
            responses=[],
            why="shorter",
            now=NOW,
        ),
        "factor_change": lambda: factor_change(
            actor=actor,
            factor=factor,
            part=FactorPart.OTHER,
            control=None,
            is_open=True,
            why="asked by the sponsor",
            now=NOW,
        ),
        "level_add": lambda: level_add(actor=actor, factor=factor, value=4, now=NOW),
        "cells_generate": lambda: cells_generate(actor=actor, series=series, replicates=2, now=NOW),
        "cell_add": lambda: cell_add(
            actor=actor,
            series=series,
            levels={"plies": 2, "exposure": "laboratory"},
            replicates=3,
            now=NOW,
        ),
        "cell_change": lambda: cell_change(
            actor=actor,
            cell=cell,
            replicates=9,
            gain_control=None,
            conditioning_control=None,
            note="",
            why="more",
            now=NOW,
        ),
        "controls_assign": lambda: controls_assign(actor=actor, series=series, now=NOW),
        "forbidden_add": lambda: forbidden_add(
            actor=actor,
            series=series,
            levels={"plies": 1, "exposure": "laboratory"},
            why="done before",
            now=NOW,
        ),
        "matrix_import": lambda: matrix_import(
            actor=actor, series=series, filename="m.csv", content=csv_file(), now=NOW
        ),
    }
    asked[service]()


PLANNING = (
    "membership_set",
    "membership_remove",
    "series_create",
    "series_change",
    "factor_change",
    "level_add",
    "cells_generate",
    "cell_add",
    "cell_change",
    "controls_assign",
    "forbidden_add",
    "matrix_import",
)


@pytest.mark.parametrize("name", EVERYONE)
@pytest.mark.parametrize("service", PLANNING)
def test_only_a_lead_of_the_programme_plans(service, name, cast, series):
    cell_add(
        actor=cast.lead,
        series=series,
        levels={"plies": 0, "exposure": "laboratory"},
        replicates=3,
        code="U-LAB",
        note="reference",
        now=NOW,
    )
    before = LedgerEntry.objects.count()
    if name == "lead":
        _ask(service, cast, series, cast.lead)
        if service != "controls_assign":  # one cell alone has nothing to assign
            assert LedgerEntry.objects.count() == before + 1
        return
    with pytest.raises(NotFound) as refused:
        _ask(service, cast, series, cast.of(name))
    known = name in ("manager", "technician", "sponsor")
    assert refused.value.code == ("access.not-allowed" if known else "access.not-yours")
    assert LedgerEntry.objects.count() == before


@pytest.mark.parametrize("name", EVERYONE)
def test_a_lead_of_the_laboratory_starts_programmes(name, cast):
    if name in ("lead", "stranger"):
        programme = programme_create(actor=cast.of(name), code="NEW", title="New", now=NOW)
        member = Membership.objects.get(programme=programme)
        assert (member.person, member.role) == (cast.of(name), "lead")
        return
    with pytest.raises(NotFound):
        programme_create(actor=cast.of(name), code="NEW", title="New", now=NOW)
    assert not Programme.objects.filter(code="NEW").exists()


def test_a_new_programme_is_in_the_ledger_without_names(cast):
    programme_create(
        actor=cast.lead,
        code="NEW",
        title=" New ",
        sponsor_question="Does it last?\nAnd where?",
        starts_on=date(2026, 1, 1),
        now=NOW,
    )
    entry = LedgerEntry.objects.latest("seq")
    assert (entry.subject, entry.actor) == ("programme/NEW", str(cast.lead.id))
    assert last_body()["after"]["members"] == {str(cast.lead.id): "lead"}
    assert last_body()["after"]["title"] == "New"
    assert cast.lead.display_name not in entry.content


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"code": "qv"}, "code.shape"),
        ({"code": "QUAYSIDE"}, "programme.code-taken"),
        ({"title": " "}, "text.empty"),
        ({"title": "x" * 161}, "text.long"),
        ({"title": "a\x00"}, "text.characters"),
        ({"starts_on": date(2026, 2, 1), "ends_on": date(2026, 1, 1)}, "programme.dates"),
    ],
)
def test_refuses_a_programme_that_cannot_be(fields, code, cast):
    with pytest.raises(UserError) as refused:
        programme_create(actor=cast.lead, **{"code": "NEW", "title": "New", "now": NOW} | fields)
    assert refused.value.code == code


def test_the_last_lead_stays(cast):
    words = LAST_LEAD.format(person="The lead", programme="QUAYSIDE")
    for change in (
        lambda: membership_remove(
            actor=cast.lead, programme=cast.programme, person=cast.lead, now=NOW
        ),
        lambda: membership_set(
            actor=cast.lead,
            programme=cast.programme,
            person=cast.lead,
            role=Role.MANAGER,
            now=NOW,
        ),
    ):
        with pytest.raises(RuleBroken) as refused:
            change()
        assert refused.value.message == words
    membership_set(
        actor=cast.lead, programme=cast.programme, person=cast.manager, role=Role.LEAD, now=NOW
    )
    membership_remove(actor=cast.manager, programme=cast.programme, person=cast.lead, now=NOW)
    assert last_body()["before"] == {"members": {str(cast.lead.id): "lead"}}
    assert last_body()["after"] is None


def test_the_same_part_again_changes_nothing(cast):
    before = LedgerEntry.objects.count()
    membership_set(
        actor=cast.lead,
        programme=cast.programme,
        person=cast.sponsor,
        role=Role.SPONSOR,
        now=NOW,
    )
    membership_remove(actor=cast.lead, programme=cast.programme, person=PersonFactory(), now=NOW)
    assert LedgerEntry.objects.count() == before


def test_nobody_who_has_left_takes_part(cast):
    with pytest.raises(RuleBroken) as refused:
        membership_set(
            actor=cast.lead, programme=cast.programme, person=cast.gone, role=Role.LEAD, now=NOW
        )
    assert refused.value.code == "membership.left"


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"code": "QV-B"}, "series.code-taken"),
        ({"code": "x"}, "code.shape"),
        ({"specimen_type": "bridge"}, "series.specimen-type"),
        ({"code_template": "{n}"}, "code.template"),
        ({"route": {"stages": [{"stage": "paint"}]}}, "route.stage-unknown"),
        ({"route": {"stages": [{"stage": "cast", "mix": "\x00"}]}}, "input.text"),
        ({"member": {"Width": 200}}, "series.member"),
        ({"member": {"width_mm": float("nan")}}, "series.member"),
        ({"member": []}, None),
        ({"responses": ["Peak load"]}, "series.responses"),
        ({"responses": ["gain", "gain"]}, "series.responses"),
        ({"responses": "gain"}, "series.responses"),
    ],
)
def test_refuses_a_series_that_cannot_be(fields, code, cast, empty_series):
    plain = {"code": "QV-C", "title": "Coupons", "specimen_type": "coupon"}

    def ask() -> Series:
        return series_create(actor=cast.lead, programme=cast.programme, now=NOW, **(plain | fields))

    if code is None:
        assert ask().member == {}
        return
    with pytest.raises(UserError) as refused:
        ask()
    assert refused.value.code == code


def test_a_change_of_a_series_is_kept_with_its_reason(cast, series):
    fields = {
        "actor": cast.lead,
        "series": series,
        "title": series.title,
        "route": {"stages": [{"stage": "cast"}, {"stage": "break", "unless": {"plies": 1}}]},
        "member": {"width_mm": 200, "bars": [{"diameter_mm": 12, "count": 3}]},
        "responses": ["peak_load"],
        "now": NOW,
    }
    series_change(**fields, why="drawings came")
    body = last_body()
    assert body["why"] == "drawings came"
    assert set(body["before"]) == set(body["after"]) == {"route", "member", "responses"}
    count = LedgerEntry.objects.count()
    series_change(**fields, why="again")
    assert LedgerEntry.objects.count() == count
    wrong = {"stages": [{"stage": "break", "when": {"plies": 7}}]}
    with pytest.raises(ShapeError) as refused:
        series_change(**fields | {"route": wrong}, why="typing")
    assert refused.value.code == "route.level-unknown"
    with pytest.raises(ShapeError) as refused:
        series_change(**fields, why=" ")
    assert refused.value.code == "text.empty"


def test_a_factor_keeps_units_codes_and_labels(cast, empty_series):
    factor = factor_add(
        actor=cast.lead,
        series=empty_series,
        name="width",
        kind=FactorKind.NUMERIC,
        unit="millimeter",
        part=FactorPart.MEMBER,
        levels=[DeclaredLevel("4", unit="in", label="four inches"), 50, "200"],
        now=NOW,
    )
    assert factor.unit == "mm"
    found = list(Level.objects.filter(factor=factor).values_list("value", "code", "position"))
    assert found == [("50", "W50", 0), ("101.6", "W101P6", 1), ("200", "W200", 2)]
    assert last_body()["after"]["added"]["factors"][0]["levels"][1]["label"] == "four inches"


def test_a_level_between_others_moves_them_up(cast, series):
    factor = Factor.objects.get(series=series, name="plies")
    level_add(actor=cast.lead, factor=factor, value="0.5", now=NOW)
    found = Level.objects.filter(factor=factor).order_by("position")
    assert [level.value for level in found] == ["0", "0.5", "1", "2"]
    assert [level.position for level in found] == [0, 1, 2, 3]


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"name": "Plies"}, "factor.name-taken"),
        ({"name": "replicates"}, "matrix.factor-name"),
        ({"levels": ["a", "a"]}, "matrix.level-twice"),
        ({"control": "b"}, "matrix.level-unknown"),
        ({"levels": [True]}, "matrix.level"),
        ({"unit": "mm"}, "unit.mismatch"),
    ],
)
def test_refuses_a_factor_that_cannot_be(fields, code, cast, series):
    plain = {"name": "mortar", "kind": FactorKind.NAMED, "levels": ["a"], "now": NOW}
    with pytest.raises(UserError) as refused:
        factor_add(actor=cast.lead, series=series, **plain | fields)
    assert refused.value.code == code
    assert Factor.objects.filter(series=series).count() == 2


def test_a_factor_comes_before_the_cells(cast, series):
    generated(cast, series)
    with pytest.raises(RuleBroken) as refused:
        factor_add(actor=cast.lead, series=series, name="mortar", kind=FactorKind.NAMED, now=NOW)
    assert refused.value.code == "factor.cells-exist"


def test_what_a_factor_is_for_can_be_said_later(cast, empty_series):
    matrix_import(
        actor=cast.lead,
        series=empty_series,
        filename="m.csv",
        content=b"plies,replicates\n0,3\n2,3\n",
        now=NOW,
    )
    assert controls_assign(actor=cast.lead, series=empty_series, now=NOW) == ()
    factor = Factor.objects.get(series=empty_series)
    change = {
        "actor": cast.lead,
        "factor": factor,
        "part": FactorPart.STRENGTHENING,
        "control": 0,
        "is_open": False,
        "now": NOW,
    }
    factor_change(**change, why="said by the sponsor")
    assert last_body()["before"] == {
        "factor": "plies",
        "part": "other",
        "control": None,
        "open": False,
    }
    count = LedgerEntry.objects.count()
    factor_change(**change, why="again")
    assert LedgerEntry.objects.count() == count
    assert controls_assign(actor=cast.lead, series=empty_series, now=NOW) == ("P2",)
    assert last_body()["after"]["gain_control"] == "P0"
    factor_change(**change | {"control": 2}, why="turned round")
    assert Level.objects.get(factor=factor, is_control=True).value == "2"


def test_a_full_factorial_is_made_once(cast, series):
    made = cells_generate(actor=cast.lead, series=series, replicates=3, now=NOW)
    assert made.created == ("P0-LAB", "P0-WDS", "P1-LAB", "P1-WDS", "P2-LAB", "P2-WDS")
    count = LedgerEntry.objects.count()
    again = cells_generate(actor=cast.lead, series=series, replicates=9, now=NOW)
    assert (again.created, again.unchanged) == ((), made.created)
    assert LedgerEntry.objects.count() == count
    assert set(Cell.objects.values_list("replicates", flat=True)) == {3}
    cell = Cell.objects.get(code="P2-WDS")
    assert (cell.gain_control.code, cell.conditioning_control.code) == ("P0-WDS", "P2-LAB")


def test_forbidden_combinations_are_left_out(cast, series):
    levels = {"exposure": "wet-dry salt", "plies": 1}
    rule = forbidden_add(actor=cast.lead, series=series, levels=levels, why="no room", now=NOW)
    assert {level.value for level in rule.levels.all()} == {"wet–dry salt", "1"}
    made = cells_generate(actor=cast.lead, series=series, replicates=3, now=NOW)
    assert "P1-WDS" not in made.created
    assert len(made.created) == 5
    with pytest.raises(ShapeError) as refused:
        cell_add(actor=cast.lead, series=series, levels=levels, replicates=1, now=NOW)
    assert refused.value.message == "plies 1, exposure wet–dry salt is forbidden: no room."
    again = forbidden_add(actor=cast.lead, series=series, levels=levels, why="no room", now=NOW)
    assert again == rule
    with pytest.raises(ShapeError) as refused:
        forbidden_add(
            actor=cast.lead,
            series=series,
            levels={"plies": 1, "exposure": "laboratory"},
            why="late",
            now=NOW,
        )
    assert refused.value.facts["cells"] == ["P1-LAB"]


def test_a_cell_is_added_by_hand(cast, series):
    cell = cell_add(
        actor=cast.lead,
        series=series,
        levels={"plies": 2, "exposure": "wet-dry salt"},
        replicates=4,
        note=" spare girder ",
        now=NOW,
    )
    assert (cell.code, cell.replicates, cell.note) == ("P2-WDS", 4, "spare girder")
    assert {entry.level.value for entry in cell.cell_levels.all()} == {"2", "wet–dry salt"}
    assert last_body()["after"]["added"]["cells"][0]["levels"] == {
        "plies": 2,
        "exposure": "wet–dry salt",
    }
    with pytest.raises(RuleBroken) as refused:
        cell_add(
            actor=cast.lead,
            series=series,
            levels={"plies": 2.0, "exposure": "Wet–dry salt"},
            replicates=4,
            now=NOW,
        )
    assert refused.value.facts["cell"] == "P2-WDS"


def test_a_change_of_a_cell_says_before_after_and_why(cast, series):
    cells = generated(cast, series)
    cell = cells["P2-WDS"]
    change = {
        "actor": cast.lead,
        "cell": cell,
        "replicates": 5,
        "gain_control": cells["P0-WDS"],
        "conditioning_control": None,
        "note": "",
        "now": NOW,
    }
    cell_change(**change, why="the scatter was large")
    entry = LedgerEntry.objects.latest("seq")
    assert (entry.kind, entry.subject) == ("plan", "cell/QV-B/P2-WDS")
    assert last_body() == {
        "before": {"replicates": 3, "conditioning_control": "P2-LAB"},
        "after": {"replicates": 5, "conditioning_control": None},
        "why": "the scatter was large",
    }
    stored = Cell.objects.get(id=cell.id)
    assert (stored.replicates, stored.conditioning_control, stored.code) == (5, None, "P2-WDS")
    cell_change(**change, why="again")
    assert LedgerEntry.objects.latest("seq") == entry
    assert list(ledger_verify()) == []


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"why": "x" * 241, "note": "other"}, "text.long"),
        ({"replicates": -1}, "input.out-of-range"),
        ({"gain_control": "itself"}, "cell.control"),
        ({"conditioning_control": "other series"}, "cell.control"),
        ({"note": "x" * 2001}, "text.long"),
    ],
)
def test_refuses_a_change_that_cannot_be(fields, code, cast, series):
    cell = generated(cast, series)["P2-WDS"]
    others = {"itself": cell, "other series": CellFactory()}
    change = {
        "replicates": 3,
        "gain_control": None,
        "conditioning_control": None,
        "note": "",
        "why": "because",
    }
    change |= {name: others.get(value, value) for name, value in fields.items()}
    before = Cell.objects.values().get(id=cell.id)
    with pytest.raises(UserError) as refused:
        cell_change(actor=cast.lead, cell=cell, now=NOW, **change)
    assert refused.value.code == code
    assert Cell.objects.values().get(id=cell.id) == before


def test_the_state_that_was_written_is_the_state_that_is_read(cast, series):
    generated(cast, series)
    forbidden_series = series_get_state(series)
    assert len(forbidden_series.cells) == 6
    assert forbidden_series.by_code["P2-WDS"].gain_control == "P0-WDS"
    assert [f.name for f in forbidden_series.factors] == ["plies", "exposure"]
