"""Each role finds its first question answered on the page that the sign-in leads to."""

from __future__ import annotations

import html
import re
from datetime import timedelta

import pytest
from django.utils import timezone

from conditioning.models import Calibration
from labmatrix.evidence.models import Record
from labmatrix.kernel.clock import now
from labmatrix.matrix.models import Series
from results.domain.invented.programme import PROGRAMME
from results.selectors.comparison import comparison_get
from results.selectors.first_page import to_do_get
from specimens.models import Deviation, SpecimenState
from specimens.selectors.access import programme_roles
from tests.pages.outcomes import signed_in
from tests.pages.world import World


def _words(world: World, who: str) -> str:
    answer = signed_in(world, who).get("/")
    assert answer.status_code == 200
    main = answer.content.decode().partition("<main")[2].partition("</main>")[0]
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", main)))


def _heads(world: World, who: str) -> list[str]:
    answer = signed_in(world, who).get("/")
    return re.findall(r"<h2>([^<]+)</h2>", answer.content.decode())


PROGRESS, JUDGE, PERSON = "Plan and progress", "Waits for your judgement", "Waits for a person"
SAID = "What can be said so far of QS"
TO_DO, MACHINES = "To do at the rigs", "Chambers, rigs and calibrations"


@pytest.mark.parametrize(
    ("who", "heads"),
    [
        ("lead", [PROGRESS, SAID, JUDGE, TO_DO, MACHINES]),
        ("manager", [MACHINES, TO_DO, PERSON, PROGRESS]),
        ("technician", [TO_DO, PERSON, MACHINES, PROGRESS]),
        ("sponsor", [PROGRESS]),
    ],
)
def test_what_a_role_asks_first_comes_first(world: World, who: str, heads: list[str]) -> None:
    assert _heads(world, who) == heads


def test_the_lead_sees_progress_questions_conflicts_and_the_next_decision(world: World) -> None:
    words = _words(world, "lead")
    question = Deviation.objects.get(decision="")
    assert "1 deviation waits for judgement" in words
    assert question.words in words
    in_conflict = SpecimenState.objects.get(conflict_count__gt=0).specimen.code
    assert in_conflict in words
    [refused] = Record.objects.filter(status="refused")
    assert refused.error["message"] in words
    days = (PROGRAMME["ends_on"] - timezone.localdate()).days
    assert re.search(rf"Next decision: 2027-06-30 , in {days} days?\.", words)
    assert "Numbers have come in since" not in words  # the release is newer than every number


def test_the_lead_sees_what_can_be_said_as_the_comparison_has_it(world: World) -> None:
    words = _words(world, "lead").partition(SAID)[2]
    series = Series.objects.get(code="QS")
    table = comparison_get(series=series, metric="peak_load")
    [row] = [row for row in table.rows if row.cell.code == "P2-LAB-S0-M"]
    assert row.against.gain_percent is not None
    shown = f"{row.against.gain_percent:.1f}".replace(".", " ?.")
    assert re.search(rf"P2-LAB-S0-M {row.group.n} .*?{shown} {row.against.control}", words)
    thin = [
        row.cell.code for row in table.rows
        if row.against.gain is not None and min(row.group.n, row.against.control_n) < 2
    ]  # fmt: skip
    assert thin
    assert f"{len(thin)} gains rest on a single specimen" in words


def test_the_first_sentence_answers_each_roles_question(world: World) -> None:
    cycling = SpecimenState.objects.get(stage="cycling").specimen.code
    assert re.search(rf"First: count load cycles, {cycling}", _words(world, "technician"))
    assert re.search(r"\d of 7 machines (is|are) in use\.", _words(world, "manager"))
    sponsor = _words(world, "sponsor")
    assert "the next decision is on 2027-06-30" in sponsor
    assert "1 series has released results" in sponsor
    assert "Valid for beams of series QS" in sponsor


def test_what_is_due_is_what_the_plan_and_the_events_say(world: World) -> None:
    """The demo has one beam under exposure and one cycling; the clock is moved, not they."""
    exposed = SpecimenState.objects.get(stage="under exposure")
    roles = programme_roles(world.people["technician"])
    assert exposed.due_at is not None
    assert exposed.late_at is not None
    before = to_do_get(roles=roles, now=exposed.due_at - timedelta(days=3))
    assert [step.state.pk for step in before.soon] == [exposed.pk]
    assert exposed.pk not in [step.state.pk for step in before.now.rows]
    at_last = to_do_get(roles=roles, now=exposed.due_at + timedelta(hours=1))
    [step] = [s for s in at_last.now.rows if s.state.pk == exposed.pk]
    assert (step.what, step.when) == ("Take out of exposure", "ready since")
    late = to_do_get(roles=roles, now=exposed.late_at + timedelta(hours=1))
    [step] = [s for s in late.now.rows if s.state.pk == exposed.pk]
    assert step.when == "overdue since"
    assert late.late == at_last.late + 1


def test_the_technician_sees_what_to_do_with_the_cautions_it_calls_for(world: World) -> None:
    words = _words(world, "technician")
    cycling = SpecimenState.objects.get(stage="cycling")
    assert f"{cycling.specimen.code} Count load cycles" in words
    assert "Moving rig" in words


def test_the_manager_sees_who_stands_where_and_what_lapses(world: World) -> None:
    today = timezone.localdate(now())
    calibration = Calibration.objects.order_by("-calibrated_at")[0]
    words = _words(world, "manager")
    exposed = SpecimenState.objects.get(stage="under exposure")
    machine = exposed.place.split()[0]
    assert re.search(rf"{machine} [^|]*? {exposed.specimen.code}", words)
    assert calibration.due_on is not None
    lapses = calibration.due_on <= today + timedelta(days=30)
    assert (calibration.sensor.serial in words.partition("Calibrations that")[2]) == lapses


def test_the_sponsor_sees_progress_the_decision_and_the_release_and_no_work(world: World) -> None:
    words = _words(world, "sponsor")
    assert "23 of 26 planned specimens have ended." in words
    assert "Next decision: 2027-06-30" in words
    assert "Version 1 of QS" in words
    for kept_inside in ("overdue", "conflict", "Plate", "Comparison", "QS-P"):
        assert kept_inside not in words


def test_who_has_nothing_yet_is_told_what_to_do_first(world: World) -> None:
    words = _words(world, "stranger")
    assert "Nothing is ready or due today." in words
    assert "Nothing: no open deviation, no event in conflict, no refused record." in words
