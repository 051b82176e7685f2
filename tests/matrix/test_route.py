"""Routes: what a cell's levels make of a series' template."""

from __future__ import annotations

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.domain.route import (
    Parallel,
    Route,
    Stage,
    StageKind,
    check_route,
    resolve_route,
    template_factors,
)

TEMPLATE = {
    "stages": [
        {"stage": "cast"},
        {"stage": "cure", "days": 28},
        {"stage": "pre-crack", "optional": True},
        {"stage": "strengthen", "plies": {"factor": "plies"}, "unless": {"plies": 0}},
        {
            "parallel": [
                {"stage": "expose", "regime": {"factor": "exposure"}, "days": 84},
                {
                    "stage": "sustain",
                    "level": {"factor": "sustained"},
                    "unless": {"sustained": 0},
                },
            ],
            "unless": {"exposure": "laboratory"},
        },
        {"stage": "break"},
    ]
}
EXPOSED = {"plies": 2.0, "exposure": "wet–dry salt", "sustained": 40.0}


def kinds(route: Route) -> list[str]:
    return [str(stage.kind) for stage in route.stages()]


def test_sustained_load_runs_beside_the_exposure():
    route = resolve_route(TEMPLATE, EXPOSED)
    together = route.steps[4]
    assert isinstance(together, Parallel)
    assert [branch[0].kind for branch in together.branches] == [
        StageKind.EXPOSE,
        StageKind.SUSTAIN,
    ]
    assert together.branches[1][0].settings == {"level": 40.0}
    assert kinds(route) == [
        "cast",
        "cure",
        "pre-crack",
        "strengthen",
        "expose",
        "sustain",
        "break",
    ]


def test_levels_stand_where_the_template_refers_to_factors():
    stage = resolve_route(TEMPLATE, EXPOSED).stages()[3]
    assert stage == Stage(StageKind.STRENGTHEN, {"plies": 2.0})


def test_one_branch_that_is_left_is_no_parallel():
    route = resolve_route(TEMPLATE, {**EXPOSED, "sustained": 0.0})
    assert not any(isinstance(step, Parallel) for step in route.steps)
    assert kinds(route)[-2:] == ["expose", "break"]


def test_a_cell_at_none_is_only_cast_and_broken():
    levels = {"plies": 0.0, "exposure": "laboratory", "sustained": 0.0}
    assert kinds(resolve_route(TEMPLATE, levels)) == ["cast", "cure", "pre-crack", "break"]


def test_a_stage_may_be_optional():
    by_kind = {stage.kind: stage for stage in resolve_route(TEMPLATE, EXPOSED).stages()}
    assert by_kind[StageKind.PRE_CRACK].is_optional
    assert not by_kind[StageKind.BREAK].is_optional


def test_a_branch_may_hold_stages_in_order():
    template = {
        "stages": [
            {
                "parallel": [
                    [{"stage": "expose", "regime": "hot"}, {"stage": "cure", "days": 1}],
                    {"stage": "sustain", "level": 30},
                ]
            }
        ]
    }
    (together,) = resolve_route(template, {}).steps
    assert isinstance(together, Parallel)
    assert [len(branch) for branch in together.branches] == [2, 1]


@pytest.mark.parametrize(
    ("condition", "kept"),
    [
        ({"when": {"plies": 2}}, True),
        ({"when": {"plies": [1, 2]}}, True),
        ({"when": {"plies": [0, 1]}}, False),
        ({"when": {"plies": 2, "exposure": "laboratory"}}, False),
        ({"unless": {"plies": 2}}, False),
        ({"unless": {"plies": 2, "exposure": "laboratory"}}, True),
        ({"unless": {"plies": 2, "exposure": "wet–dry salt"}}, False),
        ({"when": {"plies": 2}, "unless": {"sustained": 40}}, False),
        ({}, True),
    ],
)
def test_conditions_keep_or_drop_a_stage(condition, kept):
    template = {"stages": [{"stage": "repair", **condition}]}
    assert resolve_route(template, EXPOSED).has(StageKind.REPAIR) is kept


@pytest.mark.parametrize(
    ("template", "code", "words"),
    [
        ([], "route.shape", "template"),
        ({"stages": {}}, "route.shape", "stages"),
        ({"stages": "cast"}, "route.shape", "stages"),
        ({"steps": []}, "route.shape", "steps"),
        ({"stages": ["cast"]}, "route.shape", "stage 1"),
        ({"stages": [{}]}, "route.shape", "stage 1"),
        ({"stages": [{"stage": "cast", "parallel": []}]}, "route.shape", "stage 1"),
        ({"stages": [{"parallel": []}]}, "route.shape", "branches"),
        ({"stages": [{"parallel": [{"parallel": []}]}]}, "route.shape", "branch 1"),
        ({"stages": [{"parallel": [{"stage": "cast"}], "days": 3}]}, "route.shape", "days"),
        ({"stages": [{"stage": "cast"}, {"stage": "paint"}]}, "route.stage-unknown", "stage 2"),
        ({"stages": [{"stage": ["cast"]}]}, "route.stage-unknown", "stage 1"),
        ({"stages": [{"stage": "cure", "Days": 2}]}, "route.setting", "Days"),
        ({"stages": [{"stage": "cure", "days": -1}]}, "route.setting", "days"),
        ({"stages": [{"stage": "cure", "days": "28"}]}, "route.setting", "days"),
        ({"stages": [{"stage": "cure", "days": float("inf")}]}, "route.setting", "inf"),
        ({"stages": [{"stage": "pre-crack", "optional": "yes"}]}, "route.setting", "optional"),
        (
            {"stages": [{"stage": "cure", "days": {"factor": "plys"}}]},
            "route.factor-unknown",
            "plys",
        ),
        ({"stages": [{"stage": "cure", "when": {"plys": 1}}]}, "route.factor-unknown", "plys"),
        ({"stages": [{"stage": "cure", "when": {}}]}, "route.condition", "when"),
        ({"stages": [{"stage": "cure", "when": {"plies": []}}]}, "route.condition", "plies"),
        ({"stages": [{"stage": "cure", "when": {"plies": True}}]}, "route.condition", "plies"),
        ({"stages": [{"stage": "cure", "when": {"plies": "2"}}]}, "route.condition", "plies"),
        ({"stages": [{"stage": "cure", "when": {"exposure": 2}}]}, "route.condition", "exposure"),
    ],
)
def test_refuses_a_template_with_its_place_in_the_sentence(template, code, words):
    with pytest.raises(ShapeError) as refused:
        resolve_route(template, EXPOSED)
    assert refused.value.code == code
    assert words in refused.value.message


def test_a_wrong_stage_is_refused_even_where_its_condition_drops_it():
    template = {"stages": [{"stage": "cure", "days": {"factor": "plys"}, "when": {"plies": 0}}]}
    with pytest.raises(ShapeError, match="plys"):
        resolve_route(template, EXPOSED)


def test_a_template_is_checked_against_all_levels():
    factors = {"plies": [0.0, 1.0, 2.0], "exposure": ["laboratory"], "sustained": [0.0, 40.0]}
    check_route(TEMPLATE, factors)
    with pytest.raises(ShapeError) as refused:
        check_route({"stages": [{"stage": "expose", "unless": {"exposure": "labratory"}}]}, factors)
    assert refused.value.code == "route.level-unknown"
    with pytest.raises(ShapeError) as refused:
        check_route(TEMPLATE, {"plies": [0.0]})
    assert refused.value.code == "route.factor-unknown"


def test_names_the_factors_that_it_needs():
    assert template_factors(TEMPLATE) == {"plies", "exposure", "sustained"}
    nested = {"stages": [{"stage": "cycle", "loads": [{"peak": {"factor": "level"}}]}]}
    assert template_factors(nested) == {"level"}


def test_an_empty_template_is_a_route_without_stages():
    assert resolve_route({}, {}).stages() == ()


_SCALARS = (
    st.none()
    | st.booleans()
    | st.integers(-999, 999)
    | st.floats(0, 1e6, allow_nan=False)
    | st.text(max_size=8)
)
_NAMES = st.sampled_from(["regime", "level", "cycles", "peak_kn", "at"])
_SETTINGS = st.dictionaries(
    _NAMES,
    st.recursive(
        _SCALARS,
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_NAMES, inner, max_size=3),
        max_leaves=6,
    ),
    max_size=4,
)
_STAGES = st.builds(
    lambda kind, settings: {"stage": str(kind), **settings}, st.sampled_from(StageKind), _SETTINGS
)
_PARALLELS = st.builds(
    lambda branches: {"parallel": branches},
    st.lists(_STAGES | st.lists(_STAGES, max_size=3), min_size=1, max_size=3),
)


@settings(deadline=None)
@given(st.lists(_STAGES | _PARALLELS, max_size=5))
def test_a_route_survives_being_stored(items):
    route = resolve_route({"stages": items}, {})
    assert Route.from_dict(json.loads(json.dumps(route.as_dict()))) == route
