"""A template of routes as rows of a form, one a step, and back.

A row is flat: which step, whether it follows the row above, runs beside it or continues its branch,
its settings by name, and for which specimens it is kept. What a person cannot say in a row, such as
conditions on several factors, is carried along untouched; a template whose conditions lie on
parallel branches as a whole is brought into rows only where that means the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from labmatrix.matrix.domain.route_template import StageKind

THEN, BESIDE, WITHIN = "then", "beside", "within"
_NOT_SETTINGS = ("stage", "when", "unless", "optional")


@dataclass(frozen=True)
class Setting:
    """What may be said of a step.

    Attributes:
        label: its words.
        unit: of its number; empty for none.
        kinds: the steps that have it.
        is_text: a text, such as a regime's code, is meant.
    """

    label: str
    unit: str
    kinds: tuple[StageKind, ...]
    is_text: bool = False


_K = StageKind
SETTINGS: Mapping[str, Setting] = MappingProxyType(
    {
        "plies": Setting("Plies", "", (_K.STRENGTHEN,)),
        "regime": Setting("Regime", "", (_K.EXPOSE,), is_text=True),
        "days": Setting("For", "d", (_K.CURE, _K.CURE_MORTAR, _K.EXPOSE, _K.SUSTAIN)),
        "concrete_age_days": Setting("Age of the concrete", "d", (_K.BREAK,)),
        "tolerance_days": Setting(
            "Days it may be off", "d", (_K.CURE, _K.CURE_MORTAR, _K.EXPOSE, _K.SUSTAIN, _K.BREAK)
        ),
        "share_of_control_ultimate": Setting("Share of the control's ultimate", "", (_K.SUSTAIN,)),
        "share_of_own_ultimate": Setting("Or share of its own ultimate", "", (_K.SUSTAIN,)),
        "load_kn": Setting("Load", "kN", (_K.PRE_CRACK, _K.STRENGTHEN, _K.SUSTAIN)),
        "moment_knm": Setting("Or moment", "kN·m", (_K.PRE_CRACK, _K.STRENGTHEN)),
        "cycles": Setting("Load cycles", "", (_K.CYCLE,)),
        "minimum_kn": Setting("Least load", "kN", (_K.CYCLE,)),
        "maximum_kn": Setting("Largest load", "kN", (_K.CYCLE,)),
        "frequency_hz": Setting("Frequency", "Hz", (_K.CYCLE,)),
    }
)


@dataclass(frozen=True)
class RouteRow:
    """One step.

    Attributes:
        kind: of the step.
        joins: ``then``, ``beside`` or ``within`` (after the row above, in its branch).
        settings: by name, a reference to a factor as ``{"factor": name}``.
        conditions: ``when`` and ``unless`` as the template has them.
        is_optional: whether a specimen may leave it out.
    """

    kind: str
    joins: str = THEN
    settings: Mapping[str, Any] = field(default_factory=dict)
    conditions: Mapping[str, Any] = field(default_factory=dict)
    is_optional: bool = False

    def as_stage(self) -> dict[str, Any]:
        """As the template has it."""
        said: dict[str, Any] = {"stage": self.kind, **self.settings, **self.conditions}
        return said | {"optional": True} if self.is_optional else said


def usual_rows(plies: str = "") -> list[RouteRow]:
    """What most members of this trade go through, to begin with.

    Args:
        plies: the factor whose levels are plies; empty for none.
    """
    reference = {"factor": plies} if plies else None
    bare: dict[str, Any] = {"unless": {plies: 0}} if plies else {}
    return [
        RouteRow("cast"),
        RouteRow("cure", settings={"days": 28}),
        RouteRow("strengthen", settings={"plies": reference or 1}, conditions=bare),
        RouteRow("cure-mortar", settings={"days": 28}, conditions=bare),
        RouteRow("break"),
    ]


def rows_of(template: Mapping[str, Any]) -> list[RouteRow] | None:
    """The rows of a template that can be read; None where rows cannot say the same."""
    rows: list[RouteRow] = []
    for item in template.get("stages", ()):
        if "parallel" not in item:
            rows.append(_row(item, THEN))
            continue
        shared = {word: item[word] for word in ("when", "unless") if word in item}
        for number, branch in enumerate(item["parallel"]):
            stages = branch if isinstance(branch, list | tuple) else [branch]
            for place, stage in enumerate(stages):
                if shared and ("when" in stage or "unless" in stage):
                    return None
                joins = WITHIN if place else BESIDE if number else THEN
                rows.append(_row({**stage, **shared}, joins))
    return rows


def _row(stage: Mapping[str, Any], joins: str) -> RouteRow:
    return RouteRow(
        str(stage["stage"]),
        joins,
        {name: value for name, value in stage.items() if name not in _NOT_SETTINGS},
        {word: stage[word] for word in ("when", "unless") if word in stage},
        bool(stage.get("optional", False)),
    )


def template_of(rows: Sequence[RouteRow]) -> dict[str, Any]:
    """The template of rows; empty without any. The first row is a step of its own."""
    steps: list[list[list[dict[str, Any]]]] = []
    for row in rows:
        if row.joins == THEN or not steps:
            steps.append([[row.as_stage()]])
        elif row.joins == BESIDE:
            steps[-1].append([row.as_stage()])
        else:
            steps[-1][-1].append(row.as_stage())
    stages: list[dict[str, Any]] = []
    for branches in steps:
        if len(branches) == 1:
            stages += branches[0]
        else:
            stages.append({"parallel": [b if len(b) > 1 else b[0] for b in branches]})
    return {"stages": stages} if stages else {}
