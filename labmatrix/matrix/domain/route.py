"""The route of a specimen: the stages that its cell's levels ask for, in order or in parallel.

A series holds one template for all its cells::

    {"stages": [
        {"stage": "cast"},
        {"stage": "cure", "days": 28},
        {"stage": "strengthen", "plies": {"factor": "plies"}, "unless": {"plies": 0}},
        {"parallel": [
            {"stage": "expose", "regime": {"factor": "exposure"}, "days": 84},
            {"stage": "sustain", "level": {"factor": "sustained"}, "unless": {"sustained": 0}}
        ], "unless": {"exposure": "laboratory"}},
        {"stage": "break"}
    ]}

``{"factor": name}`` stands for the cell's level of that factor. ``when`` keeps an item only if
every factor named in it has the level (or one of the list of levels) given; ``unless`` drops it
in that case. A branch of ``parallel`` is one stage or a list of stages in order; where conditions
leave a single branch, its stages simply follow each other.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from labmatrix.matrix.domain.route_template import (
    Conditions,
    FactorReference,
    LevelValue,
    ParallelTemplate,
    StageKind,
    StageTemplate,
    Wanted,
    check_route,
    is_number,
    known_factor,
    read_template,
    refusal,
    template_factors,
)

Levels = Mapping[str, LevelValue]

__all__ = [
    "LevelValue",
    "Levels",
    "Parallel",
    "Route",
    "Stage",
    "StageKind",
    "check_route",
    "resolve_route",
    "template_factors",
]


@dataclass(frozen=True)
class Stage:
    """One thing to be done, with what the cell's levels say about it."""

    kind: StageKind
    settings: Mapping[str, Any]

    @property
    def is_optional(self) -> bool:
        """Whether a specimen may leave it out without a deviation."""
        return bool(self.settings.get("optional", False))

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready: {"stage": kind, setting: value, …}."""
        return {"stage": str(self.kind), **_thawed(self.settings)}


@dataclass(frozen=True)
class Parallel:
    """Branches that run at the same time, each a sequence of stages."""

    branches: tuple[tuple[Stage, ...], ...]

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready: {"parallel": [[stage, …], …]}."""
        return {"parallel": [[stage.as_dict() for stage in branch] for branch in self.branches]}


@dataclass(frozen=True)
class Route:
    """What is to be done to every specimen of one cell."""

    steps: tuple[Stage | Parallel, ...]

    def stages(self) -> tuple[Stage, ...]:
        """All stages in order; those of parallel branches one branch after the other."""
        return tuple(stage for step in self.steps for stage in _stages_of(step))

    def has(self, kind: StageKind) -> bool:
        """Whether a stage of this kind is on the route."""
        return any(stage.kind is kind for stage in self.stages())

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready: {"stages": […]}, which is a template without references."""
        return {"stages": [step.as_dict() for step in self.steps]}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Route:
        """The route that ``as_dict`` wrote.

        Raises:
            ShapeError: as ``resolve_route``.
        """
        return resolve_route(data, {})


def _stages_of(step: Stage | Parallel) -> Iterator[Stage]:
    if isinstance(step, Stage):
        yield step
    else:
        for branch in step.branches:
            yield from branch


def _thawed(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _thawed(item) for key, item in value.items()}
    if isinstance(value, tuple):
        return [_thawed(item) for item in value]
    return value


def resolve_route(template: Mapping[str, Any], levels: Levels) -> Route:
    """The route of a cell.

    Args:
        template: the series' template, as in the text of this module; empty gives no stages.
        levels: the cell's level of every factor, by the factor's name; numbers of numeric
            factors in the factor's unit.

    Raises:
        ShapeError: ``route.shape``, ``route.stage-unknown``, ``route.setting``,
            ``route.factor-unknown`` or ``route.condition``, each with the place in the template.
    """
    steps: list[Stage | Parallel] = []
    for item in read_template(template):
        if isinstance(item, ParallelTemplate):
            steps.extend(_parallel(item, levels))
        else:
            steps.extend(_kept(item, levels))
    return Route(tuple(steps))


def _parallel(item: ParallelTemplate, levels: Levels) -> tuple[Stage | Parallel, ...]:
    branches = (
        tuple(kept for stage in branch for kept in _kept(stage, levels)) for branch in item.branches
    )
    left = tuple(branch for branch in branches if branch)
    if not _holds(item.conditions, levels, item.place) or not left:
        return ()
    return left[0] if len(left) == 1 else (Parallel(left),)


def _kept(item: StageTemplate, levels: Levels) -> tuple[Stage, ...]:
    settings = {name: _filled(v, levels, item.place) for name, v in item.settings.items()}
    if not _holds(item.conditions, levels, item.place):
        return ()
    for name, value in settings.items():
        _check_setting(name, value, item.place)
    return (Stage(item.kind, MappingProxyType(settings)),)


def _filled(value: Any, levels: Levels, place: str) -> Any:
    """A setting with its references replaced, frozen at every depth."""
    if isinstance(value, FactorReference):
        return levels[known_factor(value.name, levels, place)]
    if isinstance(value, Mapping):
        return MappingProxyType({key: _filled(v, levels, place) for key, v in value.items()})
    if isinstance(value, list):
        return tuple(_filled(v, levels, place) for v in value)
    return value


def _check_setting(name: str, value: Any, place: str) -> None:
    if name == "optional" and not isinstance(value, bool):
        raise refusal("setting", place, f"has optional as {value!r}; allowed is true or false.")
    is_time = name == "days" or name.endswith("_days")
    if is_time and not (is_number(value) and value >= 0):
        raise refusal(
            "setting", place, f"has {name} as {value!r}; allowed is a number from 0 upward."
        )


def _holds(conditions: Conditions, levels: Levels, place: str) -> bool:
    """Whether the conditions keep an item; both are checked even when one decides."""
    when = [_matches(name, v, levels, place) for name, v in conditions.when.items()]
    unless = [_matches(name, v, levels, place) for name, v in conditions.unless.items()]
    return all(when) and not (unless and all(unless))


def _matches(name: str, wanted: Wanted, levels: Levels, place: str) -> bool:
    level = levels[known_factor(name, levels, place)]
    if any(isinstance(value, str) is not isinstance(level, str) for value in wanted):
        kinds = ("a name", "a number") if isinstance(level, str) else ("a number", "a name")
        raise refusal(
            "condition",
            place,
            f"compares {name}, whose level is {kinds[0]}, with {kinds[1]}.",
            factor=name,
        )
    return level in wanted
