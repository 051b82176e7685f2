"""By which rules a series is predicted: chosen, kept, used, and said."""

from __future__ import annotations

import json

import pytest
from django.test import Client

from labmatrix.evidence.models import LedgerEntry
from labmatrix.kernel.errors import NotFound, RuleBroken, ShapeError
from results.domain.prediction.rules import DEFAULTS, RULES, changed_options
from results.models import Prediction, PredictionRules
from results.services.prediction import prediction_is_stale, prediction_make
from results.services.prediction_rules import prediction_rules_choose
from tests.results.scene import NOW
from tests.results.test_predictions import WHOLE

CAP = {"limits": {"strain-cap": {"value": 0.010, "edition": "coupons of lot Q-3"}}}


def test_what_equals_the_defaults_is_not_kept():
    assert changed_options({}) == {}
    assert changed_options(DEFAULTS) == {}
    assert changed_options({"block": "parabolic"}) == {}
    assert changed_options({"block": "rectangular", **CAP}) == {"block": "rectangular", **CAP}


def test_keeping_what_was_kept_keeps_the_same():
    kept = changed_options({"shear_edition": "aci318-14", "fabric_factor": 0.85, **CAP})
    assert changed_options(kept) == kept


def test_every_named_rule_is_one_that_mechanics_takes():
    for rule in RULES:
        for name in rule.allowed:
            changed_options({rule.name: name})
        assert DEFAULTS[rule.name] in rule.allowed


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        ({"block": "round"}, "options.block is 'round'"),
        ({"limits": {"strain-cap": {"value": 0}}}, "options.limits.strain-cap.value is 0"),
        ({"limits": {"luck": {"value": 1}}}, "The limit 'luck' is not known"),
        ({"surprise": 1}, "options.surprise is not known"),
    ],
)
def test_wrong_rules_get_argument_value_and_range(options, sentence):
    with pytest.raises(ShapeError) as refused:
        changed_options(options)
    assert sentence in refused.value.message


@pytest.fixture
def planned(cast):
    """The standing cast with a member that can be predicted."""
    cast.series.member = WHOLE
    cast.series.save()
    return cast


def choose(cast, options, why="as the committee asked", actor=None):
    return prediction_rules_choose(
        actor=actor or cast.lead, series=cast.series, options=options, why=why, now=NOW
    )


@pytest.mark.django_db
def test_a_lower_strain_cap_lowers_the_strength_and_makes_the_earlier_stale(planned):
    cell = planned.cells["P2-LAB"]
    first = prediction_make(actor=planned.lead, cell=cell, now=NOW)
    assert not prediction_is_stale(first)
    choose(planned, CAP)
    assert prediction_is_stale(first)
    later = prediction_make(actor=planned.lead, cell=cell, now=NOW)
    first.refresh_from_db()
    assert (first.superseded_by, later.is_current) == (later, True)
    before, after = (one.outcome["ultimate_moment"]["value"] for one in (first, later))
    # Fabric governs: its part falls with the strain, the bars' part hardly moves.
    assert after == pytest.approx(before - 20.0 * 128e3 * 0.002 * 280.0 / 1e6, rel=0.01)
    assert json.loads(later.inputs)["options"]["limits"] == CAP["limits"]
    assert "coupons of lot Q-3" in json.dumps(later.sheet, ensure_ascii=False)


@pytest.mark.django_db
def test_going_back_gives_the_first_key_again(planned):
    cell = planned.cells["P2-LAB"]
    first = prediction_make(actor=planned.lead, cell=cell, now=NOW)
    choose(planned, CAP)
    prediction_make(actor=planned.lead, cell=cell, now=NOW)
    choose(planned, {}, why="back to the defaults")
    again = prediction_make(actor=planned.lead, cell=cell, now=NOW)
    assert again.key == first.key
    assert Prediction.objects.filter(cell=cell).count() == 2


@pytest.mark.django_db
def test_a_choice_is_in_the_ledger_with_what_stood_before(planned):
    choose(planned, {"block": "rectangular"})
    choose(planned, CAP, why="coupons came in")
    entry = LedgerEntry.objects.filter(kind="prediction-rules").order_by("-seq")[0]
    assert entry.subject == "series/QS"
    assert json.loads(entry.content)["body"] == {
        "before": {"block": "rectangular"}, "after": CAP, "why": "coupons came in"
    }  # fmt: skip
    assert PredictionRules.objects.count() == 2


@pytest.mark.django_db
def test_the_same_choice_twice_is_refused_and_nobody_else_may_choose(planned):
    choose(planned, CAP)
    with pytest.raises(RuleBroken) as refused:
        choose(planned, CAP)
    assert refused.value.code == "prediction-rules.unchanged"
    for person in (planned.manager, planned.technician, planned.sponsor, planned.stranger):
        with pytest.raises(NotFound):
            choose(planned, {}, actor=person)
    with pytest.raises(ShapeError):
        choose(planned, {}, why="  ")
    assert PredictionRules.objects.count() == 1


@pytest.mark.django_db
def test_the_page_chooses_and_shows_what_was_chosen(planned):
    client = Client()
    client.force_login(planned.lead)
    address = "/series/QS/predictions/rules/"
    form = client.get(address).context["form"]
    sent = {field.name: field.value() for field in form if field.name != "why"}
    sent |= {"strain-cap-value": "0.010", "strain-cap-edition": "coupons of lot Q-3"}
    assert client.post(address, {**sent, "why": ""}).status_code == 400
    assert client.post(address, {**sent, "why": "coupons"}).status_code == 302
    assert PredictionRules.objects.get().options == CAP
    page = client.get(address).content.decode()
    assert "design strain of the fabric: 0.01 (coupons of lot Q-3)" in page
    assert "set by the laboratory" in page
