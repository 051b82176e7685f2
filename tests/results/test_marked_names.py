"""Names of found points: each is said once, and none lies on another."""

from __future__ import annotations

from itertools import combinations, product

from hypothesis import given
from hypothesis import strategies as st

from results.marked_curve import names_joined


def point(x: float, y: float, label: str) -> dict[str, object]:
    return {"deflection_mm": x, "load_kn": y, "label": label}


def test_near_points_of_one_kind_share_a_name_at_the_last_of_them():
    found = names_joined(
        [
            point(0.5, 19.0, "first crack"),
            point(5.9, 69.0, "yield, gauge"),
            point(6.4, 70.0, "yield, secant75"),
            point(33.0, 76.0, "peak"),
        ]
    )
    assert found == ["first crack", "", "yield: gauge, secant75", "peak"]


def test_near_points_of_different_kinds_are_both_named():
    points = [point(10.0, 50.0, "peak"), point(10.2, 50.1, "ultimate"), point(0.0, 1.0, "start")]
    assert names_joined(points) == ["", "peak; ultimate", "start"]


def test_shared_words_are_said_once_and_long_names_are_cut_short():
    def named(*labels: str) -> str:
        return names_joined([point(1.0 + k / 1000, 1.0, one) for k, one in enumerate(labels)])[-1]

    assert named("valley of cycle 9996", "valley of cycle 9999") == "valley of cycle: 9996, 9999"
    assert named("valley of cycle 99996", "peak of cycle 99996") == "peak of cycle 99996 and 1 more"
    assert named("peak", "peak") == "peak; peak"


@given(
    st.lists(st.tuples(st.floats(0, 50), st.floats(0, 100)), min_size=1, max_size=8, unique=True)
)
def test_every_point_is_named_once_and_names_are_apart(places):
    points = [point(x, y, f"p{k}") for k, (x, y) in enumerate(places)]
    names = names_joined(points)
    said = [word for name in names for word in name.split("; ") if name]
    assert sorted(said) == sorted(f"p{k}" for k in range(len(points)))
    wide = 0.15 * max(x for x, _ in places)
    high = 0.05 * max(y for _, y in places)
    of_group = [[places[int(label[1:])] for label in name.split("; ")] for name in names if name]
    for one, other in combinations(of_group, 2):
        for (a, b), (c, d) in product(one, other):
            assert abs(a - c) >= wide or abs(b - d) >= high
