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


def _scatter(pool: Pool) -> str:
    return "–" if pool.s is None else said_value(pool.name, pool.s, 3)


def property_table(known: LotKnown) -> Table:
    """A row for each property of a lot and each way in which it was measured."""
    rows: list[list[Any]] = []
    names = dict.fromkeys([*known.specified, *(pool.name for pool in known.pools)])
    for name in names:
        pools = [pool for pool in known.pools if pool.name == name]
        specified = said_value(name, known.specified.get(name))
        for pool in pools:
            rows.append(_pool_row(known.code, specified, pool))
        if not pools:
            rows.append([property_words(name), specified, "–", "–", None, None, None, "specified"])
    return {
        "caption": "What is specified and what was measured; s is the sample standard deviation.",
        "columns": [
            {"label": "Property", "kind": "text"},
            {"label": "Specified", "kind": "text"},
            {"label": "Measured, mean", "kind": "text"},
            {"label": "s", "kind": "text"},
            {"label": "n", "digits": 6},
            {"label": "COV", "unit": "1", "digits": 2},
            {"label": "Age", "unit": "d", "digits": 6},
            {"label": "Rests on", "kind": "text"},
        ],
        "rows": rows,
    }


def _pool_row(lot: str, specified: str, pool: Pool) -> list[Any]:
    how = "typed" if pool.typed == pool.n else "from records"
    if 0 < pool.typed < pool.n:
        how = f"{pool.typed} of them typed"
    return [
        property_words(pool.name),
        specified,
        said_value(pool.name, pool.mean),
        _scatter(pool),
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
        told = (
            f"{said_value(name, pool.mean)} measured, n\u00a0=\u00a0{pool.n}"
            if pool
            else f"{said_value(name, lot.specified[name])} specified"
            if name in lot.specified
            else "not known"
        )
        url = {"url": reverse("results:lot", args=[lot.code])} if linked else {}
        rows.append(
            [
                {"value": lot.code, **url},
                KIND_WORDS[lot.kind],
                lot.title,
                lot.made_on.isoformat() if lot.made_on else "–",
                property_words(name) if name else "–",
                told if name else "–",
                lot.source or "–",
            ]
        )
    return {
        "caption": "Lots, batches and heats, each with the number by which it is known.",
        "wide": True,
        "columns": [
            {"label": label, "kind": "text"}
            for label in ("Code", "Material", "Product or mix", "Made or delivered", "Property",
                          "Value", "Specified by")
        ],
        "rows": rows,
    }  # fmt: skip


def measured_table(lots: Sequence[Lot], known: Mapping[str, LotKnown]) -> Table:
    """Every measured property of every lot of a series: n, mean, s, COV, age."""
    rows = []
    for lot in lots:
        told = known[lot.code]
        for pool in told.pools:
            rows.append(
                [
                    lot.code,
                    property_words(pool.name),
                    said_value(pool.name, lot.specified.get(pool.name)),
                    said_value(pool.name, pool.mean),
                    _scatter(pool),
                    pool.n,
                    pool.cov,
                    pool.age_days,
                    pool.how or "–",
                ]
            )
        measured = {pool.name for pool in told.pools}
        for name in lot.specified:
            if name not in measured:
                rows.append(
                    [lot.code, property_words(name), said_value(name, lot.specified[name]),
                     "not measured", "–", None, None, None, "–"]
                )  # fmt: skip
    return {
        "caption": "Properties as specified and as measured, by lot and age.",
        "wide": True,
        "columns": [
            {"label": "Lot", "kind": "text"},
            {"label": "Property", "kind": "text"},
            {"label": "Specified", "kind": "text"},
            {"label": "Measured, mean", "kind": "text"},
            {"label": "s", "kind": "text"},
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
