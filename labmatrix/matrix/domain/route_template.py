"""Reading the template of routes that a series holds; its form is shown in ``route``."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from labmatrix.kernel.errors import ShapeError

LevelValue = str | float
Wanted = tuple[LevelValue, ...]
_SETTING = re.compile(r"^[a-z][a-z0-9_]*\Z")


class StageKind(StrEnum):
    """What can be done to a specimen on its route."""

    CAST = "cast"
    CURE = "cure"
    PRE_CRACK = "pre-crack"
    STRENGTHEN = "strengthen"
    ANCHOR = "anchor"
    CURE_MORTAR = "cure-mortar"
    EXPOSE = "expose"
    SUSTAIN = "sustain"
    CYCLE = "cycle"
    BREAK = "break"
    REPAIR = "repair"


@dataclass(frozen=True)
class FactorReference:
    """Stands in a template for the cell's level of a factor."""

    name: str


@dataclass(frozen=True)
class Conditions:
    """On which levels an item is kept (``when``) or dropped (``unless``)."""

    when: Mapping[str, Wanted]
    unless: Mapping[str, Wanted]

    def all(self) -> Iterator[tuple[str, Wanted]]:
        """Every factor named, with the levels wanted of it."""
        yield from self.when.items()
        yield from self.unless.items()


@dataclass(frozen=True)
class StageTemplate:
    """One stage of a template: its settings may hold references, at any depth."""

    place: str
    kind: StageKind
    settings: Mapping[str, Any]
    conditions: Conditions


@dataclass(frozen=True)
class ParallelTemplate:
    """Branches of a template that run at the same time."""

    place: str
    branches: tuple[tuple[StageTemplate, ...], ...]
    conditions: Conditions


def refusal(code: str, place: str, words: str, **facts: Any) -> ShapeError:
    """The error ``route.<code>`` with a sentence that begins with the place in the template."""
    return ShapeError(f"route.{code}", f"The route's {place} {words}", place=place, **facts)


def listed(names: Collection[Any]) -> str:
    """Names in a sentence."""
    return ", ".join(str(name) for name in names) if names else "none"


def is_number(value: Any) -> bool:
    """Whether a JSON value is a finite number; true and false are none."""
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _is_list(value: Any) -> bool:
    return isinstance(value, Sequence) and not isinstance(value, str)


def read_template(template: Mapping[str, Any]) -> tuple[StageTemplate | ParallelTemplate, ...]:
    """The items of a template; an empty object is a route without stages.

    Raises:
        ShapeError: ``route.shape``, ``route.stage-unknown``, ``route.setting`` or
            ``route.condition``.
    """
    if not isinstance(template, Mapping):
        raise refusal("shape", "template", f"is {template!r}; allowed is an object.")
    if not template:
        return ()
    stages = template.get("stages")
    if set(template) != {"stages"} or not _is_list(stages):
        raise refusal(
            "shape",
            "template",
            f"has {listed(sorted(map(str, template)))}; allowed is the list `stages` alone.",
        )
    return tuple(_item(item, f"stage {n}") for n, item in enumerate(stages or (), start=1))


def _item(item: Any, place: str) -> StageTemplate | ParallelTemplate:
    if isinstance(item, Mapping) and "parallel" in item and "stage" not in item:
        return _parallel(item, place)
    return _stage(item, place)


def _parallel(item: Mapping[str, Any], place: str) -> ParallelTemplate:
    extra = sorted(set(item) - {"parallel", "when", "unless"})
    if extra:
        raise refusal(
            "shape",
            place,
            f"is parallel and has {listed(extra)}; allowed beside it are `when` and `unless`.",
        )
    if not _is_list(item["parallel"]) or not item["parallel"]:
        raise refusal("shape", place, "is parallel; allowed is a list of branches.")
    branches = tuple(
        _branch(branch, f"{place}, branch {n}") for n, branch in enumerate(item["parallel"], 1)
    )
    return ParallelTemplate(place, branches, _conditions(item, place))


def _branch(branch: Any, place: str) -> tuple[StageTemplate, ...]:
    stages = branch if _is_list(branch) else [branch]
    return tuple(_stage(stage, place) for stage in stages)


def _stage(item: Any, place: str) -> StageTemplate:
    if not isinstance(item, Mapping) or "stage" not in item or "parallel" in item:
        raise refusal(
            "shape",
            place,
            f"is {item!r}; allowed is an object that names its `stage`, or outside a branch one "
            "with the branches of `parallel`.",
        )
    try:
        kind = StageKind(item["stage"])
    except ValueError as error:
        raise refusal(
            "stage-unknown",
            place,
            f"is {item['stage']!r}; known are {listed(list(StageKind))}.",
            value=str(item["stage"]),
        ) from error
    settings = {
        _setting_name(name, place): _setting(value, place)
        for name, value in item.items()
        if name not in ("stage", "when", "unless")
    }
    return StageTemplate(place, kind, settings, _conditions(item, place))


def _setting_name(name: Any, place: str) -> str:
    if not isinstance(name, str) or not _SETTING.match(name):
        raise refusal(
            "setting",
            place,
            f"has the setting {name!r}; allowed are names in small letters with underscores, such "
            "as days or level_kn.",
        )
    return name


def _setting(value: Any, place: str) -> Any:
    if isinstance(value, Mapping):
        if set(value) == {"factor"}:
            return FactorReference(str(value["factor"]))
        return {str(key): _setting(item, place) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_setting(item, place) for item in value]
    if value is None or isinstance(value, str | bool) or is_number(value):
        return value
    raise refusal(
        "setting",
        place,
        f"holds {value!r}; allowed are texts, finite numbers, true, false, lists, objects and "
        "references to factors.",
    )


def _conditions(item: Mapping[str, Any], place: str) -> Conditions:
    return Conditions(_condition(item, "when", place), _condition(item, "unless", place))


def _condition(item: Mapping[str, Any], word: str, place: str) -> dict[str, Wanted]:
    if word not in item:
        return {}
    asked = item[word]
    if not isinstance(asked, Mapping) or not asked:
        raise refusal(
            "condition",
            place,
            f"has `{word}` as {asked!r}; allowed is an object of factor names and levels.",
        )
    found: dict[str, Wanted] = {}
    for name, wanted in asked.items():
        values = tuple(wanted) if isinstance(wanted, list | tuple) else (wanted,)
        if not values or not all(isinstance(v, str) or is_number(v) for v in values):
            raise refusal(
                "condition",
                place,
                f"wants with `{word}` that {name} is {wanted!r}; allowed is a level or a list of "
                "levels.",
            )
        found[str(name)] = values
    return found


def walk(
    items: tuple[StageTemplate | ParallelTemplate, ...],
) -> Iterator[StageTemplate | ParallelTemplate]:
    """Every item, parallel ones before the stages of their branches."""
    for item in items:
        yield item
        if isinstance(item, ParallelTemplate):
            for branch in item.branches:
                yield from branch


def references(value: Any) -> Iterator[str]:
    """The factors that a setting refers to, at any depth."""
    if isinstance(value, FactorReference):
        yield value.name
    elif isinstance(value, Mapping):
        for item in value.values():
            yield from references(item)
    elif isinstance(value, list):
        for item in value:
            yield from references(item)


def known_factor(name: str, factors: Collection[str], place: str) -> str:
    """The name itself, if the series has such a factor.

    Raises:
        ShapeError: ``route.factor-unknown``.
    """
    if name not in factors:
        raise refusal(
            "factor-unknown",
            place,
            f"names the factor {name!r}; the series has {listed(sorted(factors))}.",
            factor=name,
        )
    return name


def template_factors(template: Mapping[str, Any]) -> frozenset[str]:
    """The names of all factors that a template refers to, in settings and conditions.

    Raises:
        ShapeError: as ``read_template``.
    """
    names: set[str] = set()
    for item in walk(read_template(template)):
        names.update(name for name, _ in item.conditions.all())
        if isinstance(item, StageTemplate):
            names.update(references(item.settings))
    return frozenset(names)


def check_route(template: Mapping[str, Any], factors: Mapping[str, Collection[LevelValue]]) -> None:
    """Refuse a template that some cell could not follow.

    Args:
        template: what the series holds.
        factors: the levels of every factor, by the factor's name.

    Raises:
        ShapeError: as ``read_template``; ``route.factor-unknown``; ``route.level-unknown`` for a
            condition on a level that the factor does not have.
    """
    for item in walk(read_template(template)):
        if isinstance(item, StageTemplate):
            for name in references(item.settings):
                known_factor(name, factors, item.place)
        for name, wanted in item.conditions.all():
            have = factors[known_factor(name, factors, item.place)]
            for value in wanted:
                if value not in have:
                    raise refusal(
                        "level-unknown",
                        item.place,
                        f"names the level {value!r} of {name}; it has {listed(have)}.",
                        factor=name,
                        level=value,
                    )
