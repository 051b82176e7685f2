"""Plain matrices to test with, and hypothesis strategies that draw others."""

from __future__ import annotations

from hypothesis import strategies as st

from labmatrix.matrix.domain.design import FactorKind, FactorPart, FactorPlan, MatrixState
from labmatrix.matrix.domain.document import DeclaredLevel
from labmatrix.matrix.domain.factor_plan import make_factor

NAMES = ("plies", "exposure", "sustained", "thickness", "mortar")


def factor(name, kind, levels, **more) -> FactorPlan:
    """A factor from texts of levels."""
    return make_factor(name=name, kind=kind, levels=[DeclaredLevel(v) for v in levels], **more)


PLIES = factor(
    "plies", FactorKind.NUMERIC, ["0", "1", "2"], part=FactorPart.STRENGTHENING, control="0"
)
EXPOSURE = factor(
    "exposure",
    FactorKind.NAMED,
    ["laboratory", "wet–dry salt", "freeze–thaw"],
    part=FactorPart.CONDITIONING,
    control="laboratory",
)
SUSTAINED = factor(
    "sustained",
    FactorKind.NUMERIC,
    ["0", "40"],
    unit="%",
    part=FactorPart.CONDITIONING,
    control="0",
)
QUAYSIDE = MatrixState(factors=(PLIES, EXPOSURE, SUSTAINED))

_WORDS = st.sampled_from(
    ["laboratory", "wet-dry salt", "freeze-thaw", "hot water", "site", "none at all", "fog"]
)
_NUMBERS = st.integers(-40, 4000).map(lambda n: n / 8)


@st.composite
def _factor(draw, name: str) -> FactorPlan:
    kind = draw(st.sampled_from(FactorKind))
    if kind is FactorKind.NUMERIC:
        numbers = draw(st.lists(_NUMBERS, min_size=1, max_size=4, unique=True))
        values = [f"{n:g}" for n in sorted(numbers)]
        unit = draw(st.sampled_from(["", "mm", "%", "MPa"]))
    else:
        values = draw(st.lists(_WORDS, min_size=1, max_size=4, unique=True))
        unit = ""
    return factor(
        name,
        kind,
        values,
        unit=unit,
        part=draw(st.sampled_from(FactorPart)),
        is_open=draw(st.booleans()),
        control=draw(st.none() | st.sampled_from(values)),
    )


@st.composite
def factor_lists(draw, *, at_most: int = 3) -> tuple[FactorPlan, ...]:
    """One to some factors of different names, each with one to four levels."""
    names = draw(st.lists(st.sampled_from(NAMES), min_size=1, max_size=at_most, unique=True))
    return tuple(draw(_factor(name)) for name in names)
