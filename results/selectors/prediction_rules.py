"""By which rules a series is predicted, now and before."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from labmatrix.matrix.models import Series
from results.domain.mechanics.limits import Limits
from results.domain.prediction.rules import DEFAULTS, RULES, options_in_words
from results.models import PredictionRules


def rules_of_series(series: Series) -> dict[str, Any]:
    """What differs from the defaults of the mechanics; empty where nothing was chosen."""
    newest = PredictionRules.objects.filter(series=series).order_by("-id").first()
    return {} if newest is None else dict(newest.options)


def rules_of_many(series: Sequence[int]) -> dict[int, dict[str, Any]]:
    """The same for the series with these keys, by key; one query."""
    newest = PredictionRules.objects.filter(series__in=series).order_by("id")
    return {one.series_id: dict(one.options) for one in newest}


def rules_as_dict(series: Series) -> dict[str, Any]:
    """Every rule and limit in force with its words and source, and who chose them when and why."""
    options = rules_of_series(series)
    history = PredictionRules.objects.filter(series=series).select_related("chosen_by")
    return {
        "series": series.code,
        "options": options,
        "rules": [
            {
                "name": rule.name,
                "words": rule.words,
                "chosen": options.get(rule.name, DEFAULTS[rule.name]),
                "source": rule.allowed[options.get(rule.name, DEFAULTS[rule.name])],
                "allowed": dict(rule.allowed),
            }
            for rule in RULES
        ],
        "fabric_factor": options.get("fabric_factor", DEFAULTS["fabric_factor"]),
        "limits": Limits.from_dict(options.get("limits")).as_dict(),
        "history": [
            {
                "options": choice.options,
                "lines": options_in_words(choice.options),
                "why": choice.why,
                "by": choice.chosen_by.shown_name,
                "at": choice.chosen_at,
            }
            for choice in history
        ],
    }
