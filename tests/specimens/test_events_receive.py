"""Admission: schema, identity and permission decide; rules only say what has effect."""

from __future__ import annotations

import random
import uuid
from datetime import timedelta

import pytest
from django.db import connection, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from labmatrix.evidence.models import LedgerEntry
from labmatrix.kernel.clock import iso
from labmatrix.kernel.errors import ShapeError
from labmatrix.web.domain.roles import NOT_YOURS
from specimens.domain import rules
from specimens.domain.fold import fold, stage_of
from specimens.domain.life_read import life_from
from specimens.domain.plan import Plan
from specimens.models import Deviation, Event, Specimen
from specimens.services import event as event_service
from specimens.services.event import ID_REUSED, LOCATION_KIND, MACHINE_KIND, event_foresee
from specimens.services.event_parse import event_parse
from specimens.services.projection import specimens_fold
from tests.specimens.life_events import histories
from tests.specimens.scene import NOW, new_id, raw_event, sound_life

pytestmark = pytest.mark.django_db


def answers(found):
    return [one.answer for one in found]


def test_stores_a_life_and_projects_its_state(cast):
    specimen = cast.specimen()
    assert answers(cast.send(*sound_life(specimen.code))) == ["stored"] * 12
    state = cast.state(specimen)
    assert (state.stage, state.end, state.plies, state.load_cycles) == (
        "run-out, then broken",
        "run-out, then broken",
        2,
        2_000_000,
    )
    assert (state.conflict_count, state.open_deviation_count) == (0, 0)
    assert state.last_entry == LedgerEntry.objects.order_by("-seq")[0].seq


def test_the_same_event_again_is_a_duplicate_and_adds_nothing(cast):
    specimen = cast.specimen()
    life = sound_life(specimen.code)
    cast.send(*life)
    entries = LedgerEntry.objects.count()
    assert answers(cast.send(*life)) == ["duplicate"] * len(life)
    twice = raw_event(specimen.code, "note", 1, {"text": "seen"})
    assert answers(cast.send(twice, dict(twice))) == ["stored", "duplicate"]
    assert LedgerEntry.objects.count() == entries + 1


def test_an_id_that_belongs_to_another_event_is_said_and_changes_nothing(cast):
    specimen = cast.specimen()
    first = raw_event(specimen.code, "cast", 0, {"batch": "C-01"})
    cast.send(first)
    other = {**first, "payload": {"batch": "C-02"}}
    [answer] = cast.send(other)
    assert answer.answer == "conflict"
    assert answer.error["message"] == ID_REUSED.format(id=first["id"])
    assert Event.objects.get().payload == {"batch": "C-01"}
    new = raw_event(specimen.code, "demoulded", 1)
    assert answers(cast.send(new, {**new, "occurred_at": iso(NOW)})) == ["stored", "conflict"]


def test_an_event_against_a_rule_is_kept_without_effect_until_another_makes_room(cast):
    specimen = cast.specimen()
    layer = raw_event(specimen.code, "layer", 28, {"kind": "fabric", "ply": 1, "lot": "F-1"})
    [answer] = cast.send(layer)
    assert (answer.answer, answer.error["message"]) == ("conflict", rules.NOT_THERE_YET)
    assert Event.objects.filter(pk=layer["id"]).exists()
    assert cast.state(specimen).plies == 0
    assert cast.log(specimen.code, "cast", 0, {"batch": "C-01"}).answer == "stored"
    assert cast.state(specimen).plies == 1
    assert cast.state(specimen).conflict_count == 0


def test_what_is_malformed_or_not_theirs_is_rejected_and_the_rest_stored(cast):
    specimen = cast.specimen()
    good = raw_event(specimen.code, "note", 1, {"text": "seen"})
    found = cast.send(
        raw_event(specimen.code, "melted"),
        raw_event(specimen.code, "cast", 0, {"batch": 7}),
        raw_event("QS-NOT-THERE", "note", 0, {"text": "?"}),
        "not an object",
        good,
    )
    assert answers(found) == ["rejected"] * 4 + ["stored"]
    assert [one.error["code"] for one in found[:4]] == [
        "event.kind-unknown",
        "event.payload",
        "access.not-yours",
        "event.shape",
    ]
    assert Event.objects.count() == 1


@pytest.mark.parametrize("who", ["sponsor", "stranger"])
def test_refuses_an_event_from_people_who_do_not_log_here(cast, who):
    specimen = cast.specimen()
    [answer] = cast.send(raw_event(specimen.code, "note", 0, {"text": "hello"}), by=who)
    assert answer.answer == "rejected"
    assert answer.error["code"].startswith("access.")
    if who == "stranger":
        assert answer.error["message"] == NOT_YOURS
    assert not Event.objects.exists()


def test_only_what_fits_a_machine_or_a_location_is_logged_on_it(cast):
    specimen = cast.specimen(locations=["A"])
    on_machine = cast.log("OLD-RIG", "cast", 0, {"batch": "C"})
    on_place = cast.log(f"{specimen.code}-A", "demoulded", 0)
    assert on_machine.error["message"].startswith(MACHINE_KIND.format(kind="cast", allowed="")[:40])
    assert on_place.error["message"].startswith(
        LOCATION_KIND.format(kind="demoulded", allowed="")[:40]
    )
    words = {"machine": "OLD-RIG", "words": "oil on the floor"}
    assert cast.log("OLD-RIG", "incident", 0, words).answer == "stored"
    assert cast.log("OLD-RIG", "incident", 0, words, by="sponsor").answer == "rejected"
    assert cast.log(f"{specimen.code}-A", "note", 0, {"text": "crack"}).answer == "stored"


def judged(cast, specimen: Specimen, **more):
    deviation = Deviation.objects.get(specimen=specimen)
    payload = {"deviation": str(deviation.pk), "decision": "exclude", "why": "pump failed"}
    return raw_event(specimen.code, "judged", 170, payload, **more)


def specimen_with_deviation(cast):
    specimen = cast.specimen("P0")
    cast.log(specimen.code, "cast", 0, {"batch": "C-01"})
    mode = {"scheme": "member", "letter": "", "words": "crushed"}
    cast.log(specimen.code, "broken", 250, {"end": "broken", "mode": mode})
    return specimen


def test_only_the_lead_judges_and_only_the_lead_takes_it_back(cast):
    specimen = specimen_with_deviation(cast)
    assert cast.state(specimen).open_deviation_count == 1
    decision = judged(cast, specimen)
    assert answers(cast.send(decision, by="manager")) == ["rejected"]
    assert answers(cast.send(decision, by="lead")) == ["stored"]
    assert cast.state(specimen).is_excluded
    struck = raw_event(specimen.code, "corrected", 171, {"event": decision["id"], "why": "no"})
    replaced = raw_event(specimen.code, "note", 171, {"text": "-"}, corrects=decision["id"])
    assert answers(cast.send(struck, replaced)) == ["rejected", "rejected"]
    assert answers(cast.send(struck, by="lead")) == ["stored"]
    assert not cast.state(specimen).is_excluded
    given_back = raw_event(specimen.code, "corrected", 172, {"event": struck["id"], "why": "yes"})
    assert answers(cast.send(given_back)) == ["rejected"]
    assert answers(cast.send(given_back, by="lead")) == ["stored"]
    assert cast.state(specimen).is_excluded


def test_a_judgement_of_a_deviation_that_is_not_open_here_is_in_conflict(cast):
    specimen = cast.specimen()
    payload = {"deviation": str(uuid.uuid4()), "decision": "accept", "why": "fine"}
    assert cast.log(specimen.code, "judged", 1, payload, by="lead").answer == "conflict"


def test_a_batch_beyond_the_limit_is_refused_as_a_whole(cast, monkeypatch):
    monkeypatch.setattr(event_service, "BATCH_MAX", 3)
    with pytest.raises(ShapeError) as refused:
        cast.send(*[raw_event("X", "note", 0, {"text": "t"}) for _ in range(4)])
    assert refused.value.code == "event.batch"


def test_the_clock_of_a_device_is_measured_when_it_sends(cast):
    specimen = cast.specimen()
    slow = NOW - timedelta(hours=3)
    note = raw_event(specimen.code, "note", 0, {"text": "late"})
    note.update(device="tablet-1", device_at=iso(slow), occurred_at=iso(slow), sequence=1)
    cast.send(note, device_clock=slow)
    assert Event.objects.get().skew_seconds == 3 * 3600
    assert cast.state(specimen).folded["skewed"] == [note["id"]]


def test_page_and_tablet_foresee_with_the_rule_of_the_fold(cast):
    specimen = cast.specimen()
    layer = raw_event(specimen.code, "layer", 28, {"kind": "mortar", "lot": "M-1"})
    _, fact = event_parse(layer, actor=cast.technician, skew_seconds=0.0)
    assert event_foresee(specimen=specimen, fact=fact) == rules.NOT_THERE_YET
    cast.log(specimen.code, "cast", 0, {"batch": "C-01"})
    assert event_foresee(specimen=specimen, fact=fact) is None


def test_a_batch_of_hundreds_of_events_of_one_specimen_stays_quick(
    cast, django_assert_max_num_queries
):
    specimen = cast.specimen()
    notes = [raw_event(specimen.code, "note", n, {"text": str(n)}) for n in range(400)]
    with django_assert_max_num_queries(40):
        assert answers(cast.send(*notes)) == ["stored"] * 400


def _sent(cast, code, history):
    """A history through the service, each event in a request of its own."""
    for fact in history:
        raw = {
            "id": fact.id,
            "subject": code,
            "kind": fact.kind,
            "occurred_at": iso(fact.occurred_at),
            "payload": dict(fact.payload),
            "device": fact.device,
            "device_at": iso(fact.device_at) if fact.device_at else None,
            "sequence": fact.sequence,
            "corrects": fact.corrects,
        }
        clock = NOW - timedelta(seconds=fact.skew_seconds)
        [answer] = cast.send(raw, by="lead", device_clock=clock)
        assert answer.answer in ("stored", "conflict"), answer


def _folded_after(cast, history):
    """The state after a history, all of it taken back."""
    with transaction.atomic():
        specimen = cast.specimen()
        _sent(cast, specimen.code, history)
        state = cast.state(specimen)
        kept, _ = specimens_fold([specimen])[0]
        assert state.folded == kept.as_dict()
        assert life_from(state.folded["life"]) == kept.life
        assert (state.stage, state.end, state.load_cycles) == (
            stage_of(kept.life),
            kept.life.end,
            kept.life.cycles,
        )
        alone = fold(specimen.code, history, Plan(specimen.planned_route))
        assert alone.as_dict()["life"] == state.folded["life"]
        assert Deviation.objects.filter(specimen=specimen).count() == len(kept.deviations)
        transaction.set_rollback(True)
    return state.folded


@settings(
    max_examples=12 if connection.vendor == "sqlite" else 6,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(history=histories(), seed=st.integers(0, 2**16))
def test_any_order_of_arrival_gives_the_same_state(cast, history, seed):
    shuffled = list(history)
    random.Random(seed).shuffle(shuffled)
    assert _folded_after(cast, shuffled) == _folded_after(cast, history)


def test_ids_are_told_apart_whatever_their_spelling(cast):
    specimen = cast.specimen()
    note = raw_event(specimen.code, "note", 0, {"text": "seen"})
    shouted = {**note, "id": note["id"].upper()}
    assert answers(cast.send(note, shouted)) == ["stored", "duplicate"]
    assert cast.send({**note, "id": "7"})[0].error["code"] == "event.id"
    assert cast.send({**note, "id": new_id(), "occurred_at": "0202-01-05T08:00:00Z"})[0].error[
        "code"
    ] == ("event.years")
