"""What a series says of its member, as a person is asked for it.

The names are those that predictions read, each ending in its unit; a series may say further things
under names of its own.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class MemberField:
    """One thing that is asked.

    Attributes:
        name: in the series' member.
        label: its words.
        unit: of its number; empty for a number without one and for texts.
        kind: ``number``, ``whole`` or ``text``.
        choices: allowed texts; empty for any.
        help: what it is for.
        needed: a prediction cannot do without it: of every member, or of a strengthened one.
    """

    name: str
    label: str
    unit: str = ""
    kind: str = "number"
    choices: tuple[str, ...] = ()
    help: str = ""
    needed: bool = False


FIBRES = ("ar-glass", "basalt", "aramid", "pbo", "carbon")
PLACES = ("soffit", "sides", "u-wrap")
TWO_LINES = "two lines"
GROUPS: tuple[tuple[str, tuple[MemberField, ...]], ...] = (
    (
        "Section",
        (
            MemberField("b_mm", "Width", "mm", needed=True),
            MemberField("h_mm", "Height", "mm", needed=True),
            MemberField("d_mm", "Depth of the bars, from the top", "mm", needed=True),
        ),
    ),
    (
        "Span and loading",
        (
            MemberField("span_mm", "Span between supports", "mm", needed=True),
            MemberField(
                "shear_span_mm",
                "Shear span, from support to load",
                "mm",
                help="Given: two loads, each at this distance. Empty: one load at midspan.",
            ),
            MemberField("overhang_mm", "Overhang beyond a support", "mm"),
            MemberField("spreader_kn", "Weight of spreader beam and rig on it", "kN"),
            MemberField("self_weight_kn", "Own weight between the supports", "kN"),
            MemberField(
                "unit_weight_kn_m3",
                "Or the concrete's weight per m³, in kN",
                help="About 24 to 25.",
            ),
        ),
    ),
    (
        "Concrete",
        (
            MemberField("fc_mpa", "Compressive strength", "MPa", needed=True),
            MemberField("ec_mpa", "Modulus", "MPa"),
            MemberField("fr_mpa", "Modulus of rupture", "MPa"),
        ),
    ),
    (
        "Tension bars",
        (
            MemberField("bar_count", "Number of bars", kind="whole", needed=True),
            MemberField("bar_diameter_mm", "Bar diameter", "mm", needed=True),
            MemberField("as_mm2", "Or their area, in place of the two", "mm²"),
            MemberField("fy_mpa", "Yield strength", "MPa", needed=True),
            MemberField("es_mpa", "Modulus of steel", "MPa"),
            MemberField("bar_hardening_mpa", "Hardening modulus after yield", "MPa"),
            MemberField("bar_rupture_strain", "Strain at rupture", "mm/mm"),
        ),
    ),
    (
        "Fabric",
        (
            MemberField("fabric", "Name of the system", kind="text"),
            MemberField("fibre", "Fibre", kind="text", choices=FIBRES, needed=True),
            MemberField("fabric_area_mm2_per_ply", "Area of one ply", "mm²", needed=True),
            MemberField("ply_thickness_mm", "Or its equivalent thickness", "mm"),
            MemberField("ef_mpa", "Modulus, cracked", "MPa", needed=True),
            MemberField("fabric_design_strain", "Design strain", "mm/mm", needed=True),
            MemberField("fabric_ultimate_strain", "Ultimate strain", "mm/mm"),
            MemberField("fabric_place", "Placed on", kind="text", choices=PLACES),
            MemberField("fabric_width_mm", "Width, empty for all of the soffit", "mm"),
            MemberField("fabric_depth_mm", "Depth from the top, empty for the soffit", "mm"),
            MemberField("fabric_side_height_mm", "Height on the sides", "mm"),
            MemberField("anchorage", "Anchorage, in words", kind="text"),
            MemberField("anchorage_factor", "Factor of the anchorage on the usable strain"),
            MemberField(
                "fabric_law", "Follows the coupons' own lines", kind="text", choices=(TWO_LINES,)
            ),
            MemberField("fabric_uncracked_mpa", "Modulus, uncracked", "MPa"),
            MemberField("fabric_transition_strain", "Strain where the lines meet", "mm/mm"),
        ),
    ),
    (
        "Stirrups",
        (
            MemberField(
                "stirrup_area_mm2",
                "Area of all legs",
                "mm²",
                help="Without stirrups the concrete alone carries shear.",
            ),
            MemberField("stirrup_spacing_mm", "Spacing", "mm"),
            MemberField("stirrup_fy_mpa", "Yield strength", "MPa"),
        ),
    ),
    (
        "Top bars",
        (
            MemberField("top_bar_count", "Number of bars", kind="whole"),
            MemberField("top_bar_diameter_mm", "Bar diameter", "mm"),
            MemberField("top_as_mm2", "Or their area, in place of the two", "mm²"),
            MemberField("top_d_mm", "Depth from the top", "mm"),
            MemberField("top_fy_mpa", "Yield strength", "MPa"),
        ),
    ),
    (
        "T-section",
        (
            MemberField("flange_width_mm", "Width of the flange", "mm"),
            MemberField("flange_thickness_mm", "Thickness of the flange", "mm"),
            MemberField("web_width_mm", "Width of the web, if not the width above", "mm"),
        ),
    ),
)
# Beside those with what a prediction needs, what is easily forgotten.
OPEN = ("Stirrups",)
FIELDS = tuple(field for _, fields in GROUPS for field in fields)
