"""The form of a series' route: one row a step, in the order of their numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from labmatrix.kernel.canonical import content_key
from labmatrix.matrix.domain.design import FactorKind, FactorPart, FactorPlan
from labmatrix.matrix.domain.route_rows import (
    BESIDE,
    SETTINGS,
    THEN,
    WITHIN,
    RouteRow,
    rows_of,
    template_of,
    usual_rows,
)
from labmatrix.matrix.domain.route_template import StageKind
from labmatrix.matrix.domain.wording import named_value_in_words
from labmatrix.matrix.models import Series
from labmatrix.matrix.plan_forms import WhyForm, setting_shown
from labmatrix.web.number_field import NumberField

STEPS_MAX = 40
JOINS = (
    (THEN, "after the step above"),
    (BESIDE, "at the same time as the step above"),
    (WITHIN, "after the step above, in its branch"),
)
STAYS = "as it is now"
PLIES_MISSING = "Say how many plies: a number, or “level of” the factor that varies them."
NO_FACTOR = "{text!r} names no factor of this series; it has {names}."


class SettingField(NumberField):
    """A number, or for some settings a text, or the cell's level of a factor."""

    def __init__(self, name: str, factors: Sequence[FactorPlan]) -> None:
        """The field of a setting."""
        said = SETTINGS[name]
        super().__init__(unit=said.unit, at_least=0, required=False, label=said.label)
        self.is_text, self.names = said.is_text, [factor.name for factor in factors]
        self.widget.attrs["list"] = "levels-of-factors"
        if said.is_text:
            del self.widget.attrs["inputmode"]
        self.classes = " ".join(f"for-{kind}" for kind in said.kinds)

    def number(self, text: str) -> Any:
        """A reference, the text, or the number."""
        if text.startswith("level of "):
            name = text.removeprefix("level of ").strip()
            if name not in self.names:
                names = ", ".join(self.names) or "none yet"
                raise forms.ValidationError(NO_FACTOR.format(text=text, names=names))
            return {"factor": name}
        return text if self.is_text else super().number(text)


def _conditions(factors: Sequence[FactorPlan]) -> dict[str, tuple[str, dict[str, Any]]]:
    """What one condition may be: key, words, and the template's own."""
    found: dict[str, tuple[str, dict[str, Any]]] = {}
    for place, factor in enumerate(factors):
        for level in factor.levels:
            for word, words in (("unless", "not where"), ("when", "only where")):
                key = f"{word}-{place}-{level.code}"
                shown = factor.in_words(level.value).replace(factor.name, f"{factor.name} is", 1)
                found[key] = f"{words} {shown}", {word: {factor.name: level.setting}}
    return found


class StepForm(forms.Form):
    """One step; without a kind the row is not used."""

    place = forms.IntegerField(label="No.", min_value=0, max_value=999, required=False)
    kind = forms.ChoiceField(
        label="Step",
        required=False,
        choices=[("", "no step"), *((str(k), str(k).replace("-", " ")) for k in StageKind)],
    )
    joins = forms.ChoiceField(label="When", choices=JOINS, initial=THEN, required=False)
    condition = forms.ChoiceField(label="Of which specimens", required=False)
    is_optional = forms.BooleanField(label="A specimen may leave it out", required=False)
    source = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(
        self,
        data: Any,
        factors: Sequence[FactorPlan],
        stored: Sequence[RouteRow],
        *,
        prefix: str,
        row: RouteRow | None = None,
        place: int = 0,
        source: int | None = None,
    ) -> None:
        """A row.

        Args:
            data: as sent; None to show ``row``.
            factors: of the series.
            stored: the rows of the series' route as it is now.
            prefix: of the row's fields.
            row: shown; None for an empty one.
            place: its number.
            source: which stored row it is.
        """
        super().__init__(data, prefix=prefix, initial={"place": place, "source": source})
        self._stored, self._known = stored, _conditions(factors)
        for name in SETTINGS:
            self.fields[name] = SettingField(name, factors)
            if row:
                self.initial[name] = setting_shown(row.settings.get(name))
        if row:
            self.initial.update(kind=row.kind, joins=row.joins, is_optional=row.is_optional)
            self.initial["condition"] = self._key_of(row.conditions)
        kept = self._source()
        choices = [("", "all"), *((key, words) for key, (words, _) in self._known.items())]
        if kept and kept.conditions and self._key_of(kept.conditions) == STAYS:
            said = "; ".join(
                f"{'not where' if word == 'unless' else 'only where'} "
                f"{named_value_in_words('', value)[1]}"
                for word, value in sorted(kept.conditions.items())
            )
            choices.append((STAYS, said))
        field = self.fields["condition"]
        if isinstance(field, forms.ChoiceField):
            field.choices = choices

    def _key_of(self, conditions: Mapping[str, Any]) -> str:
        if not conditions:
            return ""
        return next((k for k, (_, own) in self._known.items() if own == conditions), STAYS)

    def _source(self) -> RouteRow | None:
        """The stored row that this one was, where it was one."""
        told = self["source"].value()
        is_place = str(told).isdigit() and int(told) < len(self._stored)
        return self._stored[int(told)] if is_place else None

    @property
    def setting_fields(self) -> list[forms.BoundField]:
        """The settings' fields."""
        return [self[name] for name in SETTINGS]

    @property
    def further(self) -> dict[str, Any]:
        """What the stored row says beside what is asked, carried along."""
        kept = self._source()
        return {k: v for k, v in kept.settings.items() if k not in SETTINGS} if kept else {}

    @property
    def further_in_words(self) -> list[str]:
        """The same in words."""
        return [" ".join(filter(None, named_value_in_words(*i))) for i in self.further.items()]

    def clean(self) -> dict[str, Any]:
        """A strengthening without plies is none."""
        data = super().clean() or {}
        if data.get("kind") == "strengthen" and data.get("plies", 0) is None:
            self.add_error("plies", PLIES_MISSING)
        return data

    def row(self) -> RouteRow | None:
        """The row, None where it is not used."""
        data = self.cleaned_data
        kind = data["kind"]
        if not kind:
            return None
        settings = {
            name: data[name]
            for name, said in SETTINGS.items()
            if kind in said.kinds and data[name] not in (None, "")
        }
        kept, key = self._source(), data["condition"]
        if kept and kept.kind == kind:
            settings = {**self.further, **settings}
        stays = kept.conditions if kept and key == STAYS else {}
        conditions = self._known[key][1] if key in self._known else stays
        return RouteRow(kind, data["joins"] or THEN, settings, conditions, data["is_optional"])


class RouteForm(WhyForm):
    """All steps with the reason of the change."""

    count = forms.IntegerField(min_value=1, max_value=STEPS_MAX, widget=forms.HiddenInput)

    def __init__(self, data: Any, series: Series, factors: Sequence[FactorPlan]) -> None:
        """The rows of the series' route; of a route not yet written, the usual ones to begin with.

        Args:
            data: as sent, or None.
            series: whose route.
            factors: of the series.
        """
        stored = rows_of(series.route)
        self.is_readable, self._stored = stored is not None, stored or []
        rows = self._stored or usual_rows(_plies(factors))
        self.is_new = not self._stored
        asked = len(rows) + 1
        if data is not None:
            told = str(data.get("count", ""))
            asked = int(told) if told.isdigit() and 0 < int(told) <= STEPS_MAX else 1
            if "more" in data:
                asked, data = min(asked + 1, STEPS_MAX), data.copy()
                data["count"] = str(asked)
                data.setdefault(f"step{asked - 1}-place", str(asked))
        first = {"seen": content_key(series.route), "count": asked}
        super().__init__(data, initial={**first, "why": "first route" if self.is_new else ""})
        self.steps = [
            StepForm(
                data,
                factors,
                self._stored,
                prefix=f"step{n}",
                row=rows[n] if n < len(rows) and data is None else None,
                place=n + 1,
                source=n if n < len(self._stored) else None,
            )
            for n in range(asked)
        ]

    def is_valid(self) -> bool:
        """The reason and every step."""
        return all([super().is_valid(), *(step.is_valid() for step in self.steps)])

    def route(self) -> dict[str, Any]:
        """The template, steps in the order of their numbers."""
        told = [(step.cleaned_data["place"] or n, n, step) for n, step in enumerate(self.steps, 1)]
        rows = [step.row() for _, _, step in sorted(told, key=lambda one: one[:2])]
        return template_of([row for row in rows if row])


def _plies(factors: Sequence[FactorPlan]) -> str:
    """The factor whose levels are plies, by its part and its control; empty for none."""
    for factor in factors:
        is_count = factor.kind is FactorKind.NUMERIC and factor.part is FactorPart.STRENGTHENING
        if is_count and any(level.number == 0 for level in factor.levels):
            return factor.name
    return ""
