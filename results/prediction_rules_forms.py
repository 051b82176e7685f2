"""The form of the rules: one choice for each rule, value and edition for each limit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from django import forms

from labmatrix.kernel.errors import UserError
from labmatrix.web.refused import refuse
from results.domain.mechanics.limits import DEFAULT_LIMITS, Limit, Limits
from results.domain.prediction.rules import DEFAULTS, RULES

_PLACES = 12


class PredictionRulesForm(forms.Form):
    """All rules and limits of a series; what is left at its default is not kept."""

    fabric_factor = forms.FloatField(
        label="Factor on the fabric's part, ψf",
        min_value=0.0,
        max_value=1.0,
        help_text="1 in ACI 549.4R, 0.85 in ACI 440.2R (recalled, not re-read).",
        widget=forms.NumberInput(attrs={"step": "any"}),
    )
    why = forms.CharField(
        label="Why", max_length=240, help_text="Kept with the choice and in the ledger."
    )

    def __init__(self, options: Mapping[str, Any], data: Mapping[str, Any] | None = None) -> None:
        super().__init__(data)
        self.limits = Limits.from_dict(options.get("limits"))
        for rule in RULES:
            self.fields[rule.name] = forms.ChoiceField(
                label=rule.words,
                choices=[(name, f"{name}: {words}") for name, words in rule.allowed.items()],
                initial=options.get(rule.name, DEFAULTS[rule.name]),
            )
        self.fields["fabric_factor"].initial = options.get(
            "fabric_factor", DEFAULTS["fabric_factor"]
        )
        for key, limit in self.limits.items.items():
            self._add_limit(key, limit)

    def _add_limit(self, key: str, limit: Limit) -> None:
        unit = "" if limit.unit == "1" else f" ({limit.unit})"
        self.fields[f"{key}-value"] = forms.FloatField(
            label=f"{limit.words}{unit}",
            initial=float(f"{limit.value:.{_PLACES}g}"),
            widget=forms.NumberInput(attrs={"step": "any"}),
        )
        self.fields[f"{key}-edition"] = forms.CharField(
            label=f"{limit.words}: on what authority", initial=limit.edition, max_length=200
        )

    def rule_fields(self) -> Iterator[forms.BoundField]:
        """The choices among rules."""
        yield from (self[rule.name] for rule in RULES)
        yield self["fabric_factor"]

    def limit_rows(self) -> Iterator[dict[str, Any]]:
        """Each limit with its two fields."""
        for key, limit in self.limits.items.items():
            yield {
                "limit": limit,
                "value": self[f"{key}-value"],
                "edition": self[f"{key}-edition"],
                "is_changed": limit != DEFAULT_LIMITS[key],
            }

    def options(self) -> dict[str, Any]:
        """What the form says, as a prediction takes it."""
        said = self.cleaned_data
        chosen = {rule.name: said[rule.name] for rule in RULES}
        limits = {
            key: {"value": said[f"{key}-value"], "edition": said[f"{key}-edition"]}
            for key in self.limits.items
        }
        return {**chosen, "fabric_factor": said["fabric_factor"], "limits": limits}

    def refuse(self, error: UserError) -> None:
        """Say beside the form why nothing was kept."""
        refuse(self, error)
