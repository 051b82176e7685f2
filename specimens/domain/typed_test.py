"""Material tests whose numbers a person types: what each asks for. Plain Python."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from labmatrix.kernel.errors import RangeError, ShapeError
from specimens.domain.lot import BAR, CONCRETE, FABRIC, MORTAR, Field, check_fields
from specimens.domain.wording import Said, in_unit, payload_said

CYLINDER, CUBE, PRISM, BAR_TEST, COUPON = "cylinder", "cube", "prism", "bar", "coupon"
SLENDER_MAX, EN_206_CUBES = 2.5, (10.0, 115.0)
NO_CONVERSION, EN_206 = "none", "EN 206 classes"
TEST_UNKNOWN = "The test of {kind} is {test!r}; allowed is one of {allowed}."
NO_TESTS = "No test is typed for {kind}; a lot of it keeps what is specified."
_LOAD = Field("load_kn", "largest load", "kN", 0.01, 20_000.0, optional=False)

TESTS: Mapping[str, tuple[Field, ...]] = MappingProxyType(
    {
        CYLINDER: (
            Field("diameter_mm", "diameter", "mm", 25.0, 500.0, optional=False),
            Field("length_mm", "length as tested", "mm", 25.0, 1200.0, optional=False),
            _LOAD,
            Field("ec_mpa", "modulus, where it was measured (ASTM C469)", "MPa", 5000.0, 80_000.0),
        ),
        CUBE: (
            Field("side_mm", "side", "mm", 20.0, 300.0, optional=False),
            _LOAD,
            Field(
                "conversion", "conversion to a cylinder strength",
                choices=(NO_CONVERSION, EN_206),
                note="Without a named rule a cube says nothing of f'c.",
            ),
        ),
        PRISM: (
            Field("width_mm", "width", "mm", 20.0, 100.0, optional=False),
            Field("height_mm", "height", "mm", 20.0, 100.0, optional=False),
            Field("span_mm", "distance of the supports", "mm", 50.0, 400.0, optional=False),
            Field("flexural_load_kn", "largest load in bending", "kN", 0.01, 100.0, optional=False),
            Field("plate_mm", "side of the plates of the half-prism test", "mm", 20.0, 100.0,
                  note="40 mm in EN 1015-11; needed with a load of a half."),
            Field("half_1_load_kn", "largest load on the first half", "kN", 0.01, 1000.0),
            Field("half_2_load_kn", "largest load on the second half", "kN", 0.01, 1000.0),
        ),
        BAR_TEST: (
            Field("fy_mpa", "yield strength", "MPa", 100.0, 1500.0, optional=False),
            Field("fu_mpa", "strength", "MPa", 100.0, 2500.0),
            Field("es_mpa", "modulus", "MPa", 50_000.0, 250_000.0),
        ),
        COUPON: (
            Field("grip", "grip", choices=("clevis", "clamped"), optional=False,
                  note="A clevis grip ends in slip, a clamped one in rupture."),
            Field("bond_length_mm", "bond length of the tabs", "mm", 10.0, 1000.0, optional=False),
            Field("gauge_length_mm", "gauge length", "mm", 5.0, 2000.0, optional=False),
            Field("ef_mpa", "cracked modulus", "MPa", 1000.0, 800_000.0, optional=False),
            Field("fabric_ultimate_strain", "ultimate strain", "mm/mm", 0.0005, 0.1,
                  optional=False),
            Field("fabric_strength_mpa", "strength", "MPa", 10.0, 10_000.0),
        ),
    }
)  # fmt: skip
TEST_WORDS: Mapping[str, str] = MappingProxyType(
    {
        CYLINDER: "cylinder in compression",
        CUBE: "cube in compression",
        PRISM: "mortar prism, bending and compression",
        BAR_TEST: "bar in tension",
        COUPON: "coupon in direct tension",
    }
)
TESTS_OF_KIND: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        CONCRETE: (CYLINDER, CUBE),
        MORTAR: (PRISM, CUBE),
        BAR: (BAR_TEST,),
        FABRIC: (COUPON,),
    }
)
HALF_NEEDS_PLATE = (
    "{name} is given without plate_mm; wanted is the side of the plates, 40 mm in EN 1015-11."
)


def check_test(kind: str, test: object) -> str:
    """A test that can be typed for a kind of material.

    Raises:
        ShapeError: ``lot.test``.
    """
    allowed = TESTS_OF_KIND.get(kind, ())
    if not allowed:
        raise ShapeError("lot.test", NO_TESTS.format(kind=kind), kind=kind)
    if not isinstance(test, str) or test not in allowed:
        words = TEST_UNKNOWN.format(kind=kind, test=test, allowed=", ".join(allowed))
        raise ShapeError("lot.test", words, kind=kind)
    return test


def typed_said(test: str, values: Mapping[str, object]) -> tuple[Said, ...]:
    """What was typed of a test, in words with units."""
    fields = {field.name: field for field in TESTS[test]}
    return tuple(
        in_unit(said, fields[said.name].words, fields[said.name].unit)
        if said.name in fields
        else said
        for said in payload_said(values)
    )


def check_typed(kind: str, test: object, given: object) -> dict[str, float | str]:
    """What was typed of a test, as it is kept.

    Args:
        kind: of the material.
        test: a name of ``TESTS``.
        given: names and values.

    Raises:
        ShapeError, RangeError: what does not fit, in a sentence.
    """
    name = check_test(kind, test)
    kept = check_fields(TESTS[name], given, words=f"the {name} test", kind=kind)
    _check_together(name, kept)
    return kept


def _check_together(test: str, kept: Mapping[str, float | str]) -> None:
    """What no single number can be refused for: the rules that turn them into strengths."""
    if test == PRISM and "plate_mm" not in kept:
        for half in ("half_1_load_kn", "half_2_load_kn"):
            if half in kept:
                raise ShapeError("input.missing", HALF_NEEDS_PLATE.format(name=half), name=half)
    if test == CYLINDER:
        slender = float(kept["length_mm"]) / float(kept["diameter_mm"])
        if not 1.0 <= slender <= SLENDER_MAX:
            allowed = f"from 1 to {SLENDER_MAX:g}, for which ASTM C39 has a factor"
            raise RangeError("length_mm / diameter_mm", f"{slender:.3g}", allowed)
    if test == CUBE and kept.get("conversion") == EN_206:
        strength = 1e3 * float(kept["load_kn"]) / float(kept["side_mm"]) ** 2
        if not EN_206_CUBES[0] <= strength <= EN_206_CUBES[1]:
            allowed = "from 10 to 115 MPa, between which EN 206 has classes; give conversion none"
            raise RangeError("load_kn / side_mm²", f"{strength:.1f} MPa", allowed)
