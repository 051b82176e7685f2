"""Choose by which rules and limits a series is predicted."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from labmatrix.evidence.services.ledger import ledger_append, ledger_transaction
from labmatrix.kernel.errors import RuleBroken, ShapeError
from labmatrix.matrix.models import Series
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.matrix.services.series import check_why, series_subject
from labmatrix.web.domain.roles import Action, require
from labmatrix.web.models import Person
from results.domain.prediction.rules import changed_options
from results.models import PredictionRules
from results.selectors.prediction_rules import rules_of_series

UNCHANGED = "The rules of {series} are these already; nothing was changed."
NO_OBJECT = "options is {value!r}; allowed is an object with named fields."


def prediction_rules_choose(
    *, actor: Person, series: Series, options: Mapping[str, Any], why: str, now: datetime
) -> PredictionRules:
    """Keep a choice; predictions that were made by other rules are stale from then on.

    Args:
        actor: a lead of the programme.
        series: with its programme.
        options: all that is to differ from the defaults; limits as {key: {value, edition}}.
        why: the reason, kept with the choice.
        now: of the choice.

    Raises:
        NotFound: not the person's to do.
        ShapeError, RangeError: an unknown rule or a number out of range; no reason.
        RuleBroken: ``prediction-rules.unchanged``.
    """
    require(programme_role(actor, series.programme), Action.PLAN_MATRIX)
    if not isinstance(options, Mapping):
        raise ShapeError("prediction-rules.shape", NO_OBJECT.format(value=options))
    reason, changed = check_why(why), changed_options(options)
    with ledger_transaction():
        before = rules_of_series(series)
        if before == changed:
            raise RuleBroken("prediction-rules.unchanged", UNCHANGED.format(series=series.code))
        kept = PredictionRules.objects.create(
            series=series, options=changed, why=reason, chosen_by=actor, chosen_at=now
        )
        ledger_append(
            actor=str(actor.id),
            kind="prediction-rules",
            subject=series_subject(series),
            body={"before": before, "after": changed, "why": reason},
            now=now,
        )
    return kept
