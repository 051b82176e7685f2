"""Lots, batches and heats; what is specified of them; tests that people type and strike."""

from __future__ import annotations

from datetime import date

import pytest
from django.db import DatabaseError, connection, transaction

from labmatrix.evidence.models import LedgerEntry, Subject
from labmatrix.evidence.services.ledger import ledger_verify
from labmatrix.kernel.errors import NotFound, RangeError, RuleBroken, ShapeError
from specimens.models import Lot, TypedTest
from specimens.selectors.lot import lots_named, specimens_of_lot, typed_test_list
from specimens.services.lot import SOURCE_MISSING, WHY_MISSING, lot_add, lot_change
from specimens.services.typed_test import typed_test_add, typed_test_strike
from tests.specimens.scene import CAST_AT, NOW, raw_event
from tests.specimens.test_ledger import drop_guards

pytestmark = pytest.mark.django_db
CYLINDER = {"diameter_mm": 150.0, "length_mm": 300.0, "load_kn": 540.0}


def _lot(cast, code="C-01", kind="concrete", **more) -> Lot:
    said = {"title": "C30/37", "made_on": CAST_AT.date(), "now": NOW, **more}
    return lot_add(actor=cast.lead, programme=cast.series.programme, code=code, kind=kind, **said)


def _typed(cast, lot, test="cylinder", values=None, **more) -> TypedTest:
    said = {"mark": "C1", "tested_on": date(2026, 2, 2), "now": NOW, "actor": cast.technician}
    return typed_test_add(lot=lot, test=test, values=values or CYLINDER, **{**said, **more})


def test_a_lot_is_kept_with_its_source_and_in_the_ledger(cast):
    lot = _lot(cast, specified={"fc_mpa": 30}, source="mix design 7")
    assert lot.specified == {"fc_mpa": 30.0}
    assert lot.subject.kind == Subject.Kind.LOT
    entry = LedgerEntry.objects.get(subject="C-01")
    assert '"source":"mix design 7"' in entry.content
    assert '"why":"added"' in entry.content


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"code": "c 1"}, "The lot's code is 'c 1'"),
        ({"kind": "glass"}, "kind is 'glass'; allowed is one of fabric, mortar, concrete"),
        ({"title": " "}, "title is ' '; allowed is a text of 1 to 160"),
        ({"specified": {"fc_mpa": 3.0}, "source": "s"}, "fc_mpa is 3.0; allowed is a number"),
        ({"specified": {"fc_mpa": "strong"}, "source": "s"}, "fc_mpa is strong; allowed is a"),
        ({"specified": {"fy_mpa": 420}, "source": "s"}, "'fy_mpa' was given for specified"),
        ({"specified": {"fc_mpa": True}, "source": "s"}, "fc_mpa is True; allowed is a number"),
        ({"specified": {"fc_mpa": 30}}, SOURCE_MISSING),
        ({"specified": [30], "source": "s"}, "allowed is an object"),
        ({"made_on": date(2026, 12, 24)}, "made_on is 2026-12-24, which is still to come"),
        ({"kind": "fabric", "specified": {"fibre": "hemp"}, "source": "s"},
         "fibre is 'hemp'; allowed is one of ar-glass, basalt, aramid, pbo, carbon"),
    ],
)  # fmt: skip
def test_refuses_a_lot_in_a_sentence(cast, more, words):
    with pytest.raises((ShapeError, RangeError)) as refused:
        _lot(cast, **more)
    assert words in refused.value.message
    assert not Lot.objects.exists()


def test_a_code_that_is_on_another_label_is_refused(cast):
    specimen = cast.specimen("P0")
    with pytest.raises(RuleBroken, match="is on another label"):
        _lot(cast, code=specimen.code)


def test_a_change_is_kept_with_before_after_and_why(cast):
    lot = _lot(cast)
    changed = lot_change(actor=cast.lead, lot=lot, specified={"fc_mpa": 28.0}, source="sheet 2",
                         why="the sheet came later", now=NOW)  # fmt: skip
    assert changed.specified == {"fc_mpa": 28.0}
    last = LedgerEntry.objects.filter(subject="C-01").latest("seq").content
    assert '"why":"the sheet came later"' in last
    assert '"before":{' in last
    with pytest.raises(ShapeError) as refused:
        lot_change(actor=cast.lead, lot=lot, title="x", why="  ", now=NOW)
    assert refused.value.message == WHY_MISSING
    with pytest.raises(ShapeError, match="'code' cannot change"):
        lot_change(actor=cast.lead, lot=lot, why="renamed", code="C-02", now=NOW)
    before = LedgerEntry.objects.count()
    lot_change(actor=cast.lead, lot=lot, specified={"fc_mpa": 28.0}, why="again", now=NOW)
    assert LedgerEntry.objects.count() == before


def test_who_may_not_keep_materials_may_not(cast):
    for name in ("technician", "sponsor", "stranger"):
        with pytest.raises(NotFound):
            lot_add(actor=cast.people[name], programme=cast.series.programme, code="C-01",
                    kind="concrete", title="t", now=NOW)  # fmt: skip


def test_a_typed_test_says_who_and_when_and_is_never_changed(cast):
    test = _typed(cast, _lot(cast))
    assert test.typed_by == str(cast.technician.id)
    assert test.typed_at == NOW
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE specimens_typedtest SET mark = 'X'")
    assert list(ledger_verify()) == []


def test_the_ledger_tells_a_typed_value_that_was_changed_behind_it(cast):
    test = _typed(cast, _lot(cast))
    drop_guards()
    TypedTest.objects.filter(pk=test.pk).update(values={**CYLINDER, "load_kn": 640.0})
    found = list(ledger_verify())
    assert [finding.where for finding in found] == [f"typed test {test.pk}"]


@pytest.mark.parametrize(
    ("kind", "test", "values", "words"),
    [
        ("concrete", "bar", {"fy_mpa": 420}, "The test of concrete is 'bar'; allowed is one of"),
        ("anchor", "cylinder", CYLINDER, "No test is typed for anchor"),
        ("concrete", "cylinder", {**CYLINDER, "load_kn": 0}, "load_kn is 0; allowed is a number"),
        ("concrete", "cylinder", {"load_kn": 9}, "diameter_mm (diameter) is missing"),
        ("concrete", "cylinder", {**CYLINDER, "fy_mpa": 1}, "'fy_mpa' was given for the cylinder"),
        ("concrete", "cube", {"side_mm": 150, "load_kn": 700, "conversion": "by eye"},
         "conversion is 'by eye'; allowed is one of none, EN 206 classes"),
        ("concrete", "cylinder", {**CYLINDER, "length_mm": 100.0},
         "length_mm / diameter_mm is 0.667; allowed is from 1 to 2.5"),
        ("concrete", "cube", {"side_mm": 150, "load_kn": 9000, "conversion": "EN 206 classes"},
         "load_kn / side_mm² is 400.0 MPa; allowed is from 10 to 115 MPa"),
        ("fabric", "coupon", {"ef_mpa": 1e5}, "grip (grip) is missing for the coupon test"),
        ("mortar", "prism", {"width_mm": 40, "height_mm": 40, "span_mm": 100,
                             "flexural_load_kn": 3, "half_1_load_kn": 60}, "without plate_mm"),
    ],
)  # fmt: skip
def test_refuses_a_typed_test_in_a_sentence(cast, kind, test, values, words):
    lot = _lot(cast, kind=kind)
    with pytest.raises((ShapeError, RangeError)) as refused:
        _typed(cast, lot, test, values)
    assert words in refused.value.message


def test_a_test_lies_between_the_making_and_today(cast):
    lot = _lot(cast)
    with pytest.raises(ShapeError, match="still to come"):
        _typed(cast, lot, tested_on=date(2027, 1, 1))
    with pytest.raises(ShapeError, match="before C-01 was made"):
        _typed(cast, lot, tested_on=date(2025, 12, 1))


def test_a_struck_test_stays_readable_and_is_struck_once(cast):
    lot = _lot(cast)
    test = _typed(cast, lot)
    with pytest.raises(ShapeError, match="Say why"):
        typed_test_strike(actor=cast.technician, test=test, why=" ", now=NOW)
    typed_test_strike(actor=cast.technician, test=test, why="another cylinder", now=NOW)
    [shown] = typed_test_list(lot)
    assert shown.struck_by.note == "another cylinder"
    with pytest.raises(RuleBroken, match="is struck already"):
        typed_test_strike(actor=cast.technician, test=test, why="again", now=NOW)
    assert list(ledger_verify()) == []


def test_events_name_batch_bars_fabric_mortar_and_anchors(cast):
    specimen = cast.specimen("P2")
    cast.send(
        raw_event(specimen.code, "cast", 0, {"batch": "C-01", "bars": "H-7"}),
        raw_event(specimen.code, "layer", 28.1, {"kind": "fabric", "ply": 1, "lot": "F-1"}),
        raw_event(specimen.code, "layer", 28.2, {"kind": "mortar", "lot": "M-1"}),
        raw_event(specimen.code, "anchored", 28.3,
                  {"type": "spike", "position": "end", "lot": "A-1"}),
    )  # fmt: skip
    named = lots_named(cast.state(specimen).folded["life"]).by_kind
    assert named == {"concrete": ("C-01",), "bar": ("H-7",), "fabric": ("F-1",), "mortar": ("M-1",),
                     "anchor": ("A-1",)}  # fmt: skip
    assert specimens_of_lot(_lot(cast)) == [specimen.code]


def test_a_cast_without_bars_is_kept_as_it_was_sent(cast):
    specimen = cast.specimen("P2")
    sent = raw_event(specimen.code, "cast", 0, {"batch": "C-01"})
    assert cast.send(sent)[0].answer == "stored"
    assert cast.send(sent)[0].answer == "duplicate"


def test_a_lot_takes_notes_and_no_life_of_a_specimen(cast):
    _lot(cast)
    assert cast.log("C-01", "note", 0, {"text": "came in dry"}).answer == "stored"
    refused = cast.log("C-01", "cast", 0, {"batch": "C-01"})
    assert refused.answer == "rejected"
    assert "is not logged on a lot of material" in refused.error["message"]
