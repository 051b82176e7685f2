"""Materials as tables of the notebook: what is specified, what was measured, what is in use."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.urls import reverse

from results.domain.materials.pools import Pool, Sample, chosen_pool
from results.domain.materials.properties import PROPERTIES
from results.domain.materials.resolve import LotKnown, Material
from specimens.domain.lot import BAR, CONCRETE, FABRIC, KIND_WORDS, MORTAR, SPECIFIED
from specimens.models import Lot, Specimen

# The number by which people know a material.
KEY_PROPERTY: Mapping[str, str] = {
    CONCRETE: "fc_mpa",
    MORTAR: "mortar_compressive_mpa",
    BAR: "fy_mpa",
    FABRIC: "ef_mpa",
}
KEY_UNIT = "MPa"
_IN_USE = ("fc_mpa", "fy_mpa", "ef_mpa", "fabric_design_strain")
Table = dict[str, Any]


def property_words(name: str) -> str:
    """``fc_mpa`` as a person says it."""
    known = PROPERTIES.get(name)
    if known is not None:
        return known.words
    told = {f.name: f.words for fields in SPECIFIED.values() for f in fields}
    return told.get(name, name)


def _unit(name: str) -> str:
    known = PROPERTIES.get(name)
    if known is not None:
        return known.unit
    return next((f.unit for fields in SPECIFIED.values() for f in fields if f.name == name), "")


def said_value(name: str, value: float | str | None, digits: int = 4) -> str:
    """A value with its unit in words, for cells whose rows have different units."""
    if value is None:
        return "–"
    unit = _unit(name)
    if isinstance(value, str):
        return value
    if unit == "mm/mm" and abs(value) < 0.002:
        return f"{1e6 * value:.{digits}g} µm/m"
    number = f"{value:.0f}" if abs(value) >= 1000.0 else f"{value:.{digits}g}"
    return f"{number} {unit}".strip()


# What the properties of one unit are called together, in the order in which they are shown.
_TOGETHER = {
    "MPa": "Strengths and moduli", "mm/mm": "Strains", "mm": "Lengths", "mm²": "Areas",
    "kN": "Forces", "": "Words",
}  # fmt: skip


def _by_unit(names: Iterable[str]) -> dict[str, list[str]]:
    """Names of properties by their unit, so that a heading can say it."""
    found: dict[str, list[str]] = {}
    for name in dict.fromkeys(names):
        found.setdefault(_unit(name), []).append(name)
    order = list(_TOGETHER)
    places = {unit: order.index(unit) if unit in order else len(order) for unit in found}
    return {unit: found[unit] for unit in sorted(found, key=lambda one: (places[one], one))}


def _caption(unit: str, words: str) -> str:
    return f"{_TOGETHER.get(unit, 'Other properties')} {words}"


def _value_columns(unit: str, digits: int = 4) -> list[dict[str, Any]]:
    """Specified, mean and s, each with the unit in its heading."""
    if not unit:
        return [{"label": label, "kind": "text"} for label in ("Specified", "Measured, mean", "s")]
    return [
        {"label": "Specified", "unit": unit, "digits": digits, "own_places": True},
        {"label": "Measured, mean", "unit": unit, "digits": digits, "own_places": True},
        {"label": "s", "unit": unit, "digits": 3, "own_places": True},
    ]


def property_tables(known: LotKnown) -> list[Table]:
    """Tables with a row for each property of a lot and each way in which it was measured.

    Properties of one unit stand together, so that the heading says it.
    """
    names = [*known.specified, *(pool.name for pool in known.pools)]
    return [_property_table(known, unit, group) for unit, group in _by_unit(names).items()]


def _property_table(known: LotKnown, unit: str, names: Sequence[str]) -> Table:
    rows: list[list[Any]] = []
    for name in names:
        pools = [pool for pool in known.pools if pool.name == name]
        specified = known.specified.get(name)
        rows += [_pool_row(known.code, specified, pool) for pool in pools]
        if not pools:
            rows.append(
                [property_words(name), specified, None, None, None, None, None, "specified"]
            )
    return {
        "caption": _caption(
            unit, "as specified and as measured; s is the sample standard deviation."
        ),
        "columns": [
            {"label": "Property", "kind": "text"},
            *_value_columns(unit),
            {"label": "n", "digits": 6},
            {"label": "COV", "unit": "1", "digits": 2},
            {"label": "Age", "unit": "d", "digits": 6},
            {"label": "Rests on", "kind": "text"},
        ],
        "rows": rows,
    }


def _pool_row(lot: str, specified: float | str | None, pool: Pool) -> list[Any]:
    how = "typed" if pool.typed == pool.n else "from records"
    if 0 < pool.typed < pool.n:
        how = f"{pool.typed} of them typed"
    return [
        property_words(pool.name),
        specified,
        pool.mean,
        pool.s,
        pool.n,
        pool.cov,
        pool.age_days,
        f"{pool.words(lot)}, {how}",
    ]


def sample_cell(sample: Sample) -> dict[str, Any]:
    """A value of one test that leads to where it comes from."""
    found: dict[str, Any] = {"value": sample.value, "u": sample.u}
    if sample.source == "record":
        found["url"] = reverse("results:metric", args=[sample.key])
    return found


def samples_table(known: LotKnown) -> Table | None:
    """A row for each piece that counts, a column for each property; None without one."""
    names = list(dict.fromkeys(pool.name for pool in known.pools))
    pieces: dict[tuple[Any, ...], dict[str, Sample]] = {}
    for pool in known.pools:
        for sample in pool.samples:
            held = "" if sample.rank and pool.test == "cube" else sample.how
            key = (sample.mark, sample.test, sample.source, sample.age_days, held)
            pieces.setdefault(key, {})[sample.name] = sample
    if not pieces:
        return None
    has_age = any(key[3] is not None for key in pieces)
    has_how = any(key[4] for key in pieces)
    rows = [
        [
            key[0],
            "typed" if key[2] == "typed" else f"{key[1]} record",
            *([key[3]] if has_age else []),
            *([key[4] or "–"] if has_how else []),
            *(sample_cell(found[name]) if name in found else None for name in names),
        ]
        for key, found in pieces.items()
    ]
    meant = "; ".join(f"{PROPERTIES[n].symbol} {PROPERTIES[n].words}" for n in names)
    return {
        "caption": f"Every piece that counts; numbers from records lead to their curve. {meant}.",
        "columns": [
            {"label": "Piece", "kind": "text"},
            {"label": "Came as", "kind": "text"},
            *([{"label": "Age", "unit": "d", "digits": 6}] if has_age else []),
            *([{"label": "Held", "kind": "text"}] if has_how else []),
            *({"label": PROPERTIES[n].symbol, "unit": PROPERTIES[n].unit} for n in names),
        ],
        "rows": rows,
    }


def lots_table(lots: Sequence[Lot], known: Mapping[str, LotKnown], *, linked: bool = True) -> Table:
    """A row for each lot with the number by which people know it."""
    rows = []
    for lot in lots:
        name = KEY_PROPERTY.get(lot.kind, "")
        pool = chosen_pool(known[lot.code].pools, name)
        specified = lot.specified.get(name)
        url = {"url": reverse("results:lot", args=[lot.code])} if linked else {}
        rows.append(
            [
                {"value": lot.code, **url},
                KIND_WORDS[lot.kind],
                lot.title,
                lot.made_on.isoformat() if lot.made_on else "–",
                property_words(name) if name else "–",
                pool.mean if pool else None,
                pool.n if pool else None,
                specified if isinstance(specified, int | float) else None,
                lot.source or "–",
            ]
        )
    texts = ("Code", "Material", "Product or mix", "Made or delivered", "Property")
    return {
        "caption": "Lots, batches and heats, each with the number by which it is known.",
        "wide": True,
        "columns": [
            *({"label": label, "kind": "text"} for label in texts),
            {"label": "Measured, mean", "unit": KEY_UNIT, "digits": 4, "own_places": True},
            {"label": "n", "digits": 6},
            {"label": "Specified", "unit": KEY_UNIT, "digits": 4, "own_places": True},
            {"label": "Specified by", "kind": "text"},
        ],
        "rows": rows,
    }


def measured_tables(lots: Sequence[Lot], known: Mapping[str, LotKnown]) -> dict[str, Table]:
    """Every property of every lot of a series by a short name: n, mean, s, COV, age.

    Properties of one unit stand together, so that the heading says it.
    """
    names = [
        name
        for lot in lots
        for name in (*(pool.name for pool in known[lot.code].pools), *lot.specified)
    ]
    return {
        _TOGETHER.get(unit, "other").lower().replace(" ", "-"): _measured(lots, known, unit, group)
        for unit, group in _by_unit(names).items()
    }


def _measured(
    lots: Sequence[Lot], known: Mapping[str, LotKnown], unit: str, names: Sequence[str]
) -> Table:
    rows: list[list[Any]] = []
    for lot in lots:
        pools = [pool for pool in known[lot.code].pools if pool.name in names]
        for pool in pools:
            rows.append(
                [lot.code, property_words(pool.name), lot.specified.get(pool.name), pool.mean,
                 pool.s, pool.n, pool.cov, pool.age_days, pool.how or "–"]
            )  # fmt: skip
        measured = {pool.name for pool in pools}
        for name in lot.specified:
            if name in names and name not in measured:
                rows.append(
                    [lot.code, property_words(name), lot.specified[name], None, None, None, None,
                     None, "not measured"]
                )  # fmt: skip
    return {
        "wide": True,
        "caption": _caption(unit, "as specified and as measured, by lot and age."),
        "columns": [
            {"label": "Lot", "kind": "text"},
            {"label": "Property", "kind": "text"},
            *_value_columns(unit),
            {"label": "n", "digits": 6},
            {"label": "COV", "unit": "1", "digits": 2},
            {"label": "Age", "unit": "d", "digits": 6},
            {"label": "Held", "kind": "text"},
        ],
        "rows": rows,
    }


def in_use_table(
    specimens: Iterable[Specimen], materials: Mapping[int, Sequence[Material]], *, linked: bool
) -> Table:
    """Which values each specimen is predicted with, and where they come from."""
    rows: list[list[Any]] = []
    for specimen in specimens:
        found = {material.name: material for material in materials.get(specimen.pk, ())}
        url = {"url": reverse("results:life", args=[specimen.code])} if linked else {}
        row: list[Any] = [{"value": specimen.code, **url}]
        origins = []
        for name in _IN_USE:
            value, origin = _value_in_use(specimen, found.get(name), name)
            row.append(value)
            if value is not None and name != "fabric_design_strain":
                origins.append(f"{PROPERTIES[name].symbol} {origin}")
        rows.append([*row, "; ".join(origins)])
    return {
        "caption": "Values that each specimen is predicted with, and what they rest on; the design "
        "strain rests on the coupons of the modulus.",
        "columns": [
            {"label": "Specimen", "kind": "text"},
            {"label": "f'c", "unit": "MPa", "digits": 3},
            {"label": "fy", "unit": "MPa", "digits": 3},
            {"label": "Ef", "unit": "MPa", "digits": 4},
            {"label": "Design strain", "unit": "mm/mm", "digits": 3},
            {"label": "Rests on", "kind": "text"},
        ],
        "rows": rows,
    }


def _value_in_use(
    specimen: Specimen, material: Material | None, name: str
) -> tuple[float | None, str]:
    own = specimen.measured.get(name)
    if isinstance(own, int | float):
        return float(own), "measured on the specimen"
    fabric = name in ("ef_mpa", "fabric_design_strain")
    if fabric and not specimen.state.plies:
        return None, ""
    if material is not None and isinstance(material.value, int | float):
        return float(material.value), f"{material.origin}: {material.words}"
    value = specimen.member.get(name)
    return (
        (float(value), "specified for the series")
        if isinstance(value, int | float)
        else (
            None,
            "",
        )
    )
