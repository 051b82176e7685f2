"""Editable limits and the strength reduction factor."""

from __future__ import annotations

import pytest

from labmatrix.kernel.errors import RangeError, ShapeError
from results.domain.mechanics.limits import DEFAULT_LIMITS, FIBRES, Limits
from results.domain.mechanics.reduction_factor import strength_reduction


def test_every_limit_names_its_edition_and_origin() -> None:
    for key, shown in DEFAULT_LIMITS.as_dict().items():
        assert shown["edition"], key
        assert shown["origin"] in {"published", "recalled", "practice", "laboratory"}
        assert shown["value"] > 0.0
    assert DEFAULT_LIMITS["gain"].source == "ACI 549.4R-20 (recalled, not re-read)"


def test_fabric_ratios_by_fibre() -> None:
    # Recalled from ACI 549.4R, not re-read.
    ratios = [DEFAULT_LIMITS.fabric_ratio(fibre).value for fibre in FIBRES]
    assert ratios == [0.20, 0.20, 0.30, 0.30, 0.55]


def test_an_edit_is_marked_and_round_trips() -> None:
    edited = DEFAULT_LIMITS.edited("gain", 0.4, edition="Quayside rule 3")
    assert edited["gain"].origin == "laboratory"
    assert edited["gain"].source == "Quayside rule 3 (set by the laboratory)"
    assert DEFAULT_LIMITS.value("gain") == 0.5
    again = Limits.from_dict(edited.as_dict())
    assert again.as_dict() == edited.as_dict()
    assert Limits.from_dict(None) is DEFAULT_LIMITS


def test_refuses_unknown_keys_and_numbers() -> None:
    with pytest.raises(ShapeError, match="'gian' is not known; known are"):
        Limits.from_dict({"gian": {"value": 0.5}})
    with pytest.raises(RangeError, match=r"limits.gain.value is -1"):
        Limits.from_dict({"gain": {"value": -1.0}})
    with pytest.raises(ShapeError, match=r"limits.gain.color is not known"):
        Limits.from_dict({"gain": {"value": 0.5, "color": 1}})


@pytest.mark.parametrize(
    ("strain", "edition", "phi"),
    [
        (0.0050, "aci440-2r", 0.90),
        (0.0100, "aci440-2r", 0.90),
        (0.0021, "aci440-2r", 0.65),
        (0.0010, "aci440-2r", 0.65),
        (0.00355, "aci440-2r", 0.775),
        (0.0051, "aci318-19", 0.90),
        (0.0036, "aci318-19", 0.775),
        (0.0050, "aci318-19", 0.65 + 0.25 * 29 / 30),
    ],
)
def test_phi_by_edition(strain: float, edition: str, phi: float) -> None:
    # ACI 440.2R, 10.2.7 (published); ACI 318-19, Table 21.2.2 (recalled, not re-read).
    assert strength_reduction(strain, 0.0021, edition) == pytest.approx(phi)  # type: ignore[arg-type]


def test_phi_refuses_an_unknown_edition() -> None:
    with pytest.raises(ShapeError, match="edition is 'aci318-83'"):
        strength_reduction(0.005, 0.0021, "aci318-83")  # type: ignore[arg-type]
