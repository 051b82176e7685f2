"""``manage.py rebuild-states``: a state is what the events say, and can be thrown away."""

from __future__ import annotations

import pytest
from django.core.management import call_command

from specimens.domain.fold import FOLD_VERSION
from specimens.models import Deviation, SpecimenState
from specimens.services import rebuild
from specimens.services.rebuild import states_rebuild
from tests.specimens.scene import MODE, sound_life

pytestmark = pytest.mark.django_db


@pytest.fixture
def four(cast):
    specimens = [cast.specimen() for _ in range(3)]
    for specimen in specimens[:2]:
        cast.send(*sound_life(specimen.code))
    off = cast.specimen("P0")
    cast.log(off.code, "cast", 0, {"batch": "C"})
    cast.log(off.code, "broken", 250, {"end": "broken", "mode": MODE})
    return [*specimens, off]


def test_rebuilding_sound_states_changes_nothing(four):
    before = list(SpecimenState.objects.order_by("pk").values())
    assert states_rebuild().differing == ()
    assert list(SpecimenState.objects.order_by("pk").values()) == before


def test_says_whose_state_differed_and_puts_it_right(four, capsys):
    SpecimenState.objects.filter(specimen=four[0]).update(stage="lost")
    SpecimenState.objects.filter(specimen=four[1]).delete()
    Deviation.objects.filter(specimen=four[3]).update(words="")
    SpecimenState.objects.filter(specimen=four[2]).update(fold_version=FOLD_VERSION - 1)
    call_command("rebuild-states")
    said = capsys.readouterr().out
    assert "4 states rebuilt; 3 differed from what was stored." in said
    assert all(specimen.code in said for specimen in (four[0], four[1], four[3]))
    assert four[2].code not in said
    assert SpecimenState.objects.get(specimen=four[0]).stage == "run-out, then broken"
    assert SpecimenState.objects.get(specimen=four[2]).fold_version == FOLD_VERSION
    assert Deviation.objects.get(specimen=four[3]).words != ""
    assert states_rebuild().differing == ()


def test_works_in_parts_and_reports(four, monkeypatch):
    monkeypatch.setattr(rebuild, "AT_ONCE", 3)
    told: list[int] = []
    assert states_rebuild(report=told.append).count == 4
    assert told == [3, 4]
