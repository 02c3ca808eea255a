"""[soils.NAME]: what the beds are made of."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from scheduler.adapters.farmfile.findings import (
    TOP_TABLES,
    Findings,
    is_misspelt,
    named_tables,
    validated_table,
)
from scheduler.adapters.farmfile.schema import SoilTable, read_name
from scheduler.adapters.farmfile.texture import fractions_texture
from scheduler.adapters.farmfile.where import KeyPath
from scheduler.records import Soil

_MOST_ORGANIC_MATTER_PCT = 8.0  # beyond it the soil equations were not fitted
_MOST_CLAY_FRAC = 0.60


def read_soils(document: Mapping[str, Any], findings: Findings) -> dict[str, Soil]:
    """Return the soils by name, in the order of the file; faults go to `findings`."""
    soils: dict[str, Soil] = {}
    if not document.get("soils"):
        if not is_misspelt("soils", document, TOP_TABLES):
            findings.fault(("soils",), 'missing; add a soil, such as [soils.home] texture = "loam"')
        return soils
    for name, raw in named_tables("soils", "soil", document, findings).items():
        path: KeyPath = ("soils", name)
        table = validated_table(SoilTable, raw, path, findings)
        if table is None:
            continue
        soil = _soil(read_name(name), table, path, findings)
        if soil is not None:
            soils[soil.name] = soil
    return soils


def _soil(name: str, table: SoilTable, path: KeyPath, findings: Findings) -> Soil | None:
    fractions = _sand_and_clay(table, path, findings)
    if fractions is None:
        return None
    sand_frac, clay_frac = fractions
    texture = table.texture or table.hand_test
    told = "texture" if table.texture else "hand_test"
    if table.texture and table.hand_test and table.texture != table.hand_test:
        findings.warn(
            (*path, "hand_test"),
            f'the hand test says {table.hand_test}, texture says "{table.texture}"; '
            "the texture word is used",
        )
    if sand_frac is not None and clay_frac is not None:
        by_fractions = fractions_texture(sand_frac, clay_frac)
        if texture is not None and texture != by_fractions:
            findings.warn(
                (*path, told),
                f"{told} says {texture}, but sand, silt and clay make a {by_fractions}; "
                "the fractions are used",
            )
        texture = by_fractions
        if clay_frac > _MOST_CLAY_FRAC:
            findings.warn(
                (*path, "clay"),
                f"{100 * clay_frac:.3g} % is beyond the {100 * _MOST_CLAY_FRAC:g} % the soil "
                "equations were fitted to; expect less from them",
            )
    if texture is None:
        findings.fault(
            path,
            "no texture; add texture (a word), hand_test, or two of sand, silt and clay, "
            'such as texture = "silt loam"',
        )
        return None
    if table.organic_matter_pct > _MOST_ORGANIC_MATTER_PCT:
        findings.warn(
            (*path, "organic_matter"),
            f"{table.organic_matter_pct:g} % is beyond the {_MOST_ORGANIC_MATTER_PCT:g} % the "
            "soil equations were fitted to; expect less from them",
        )
    return Soil(
        name=name,
        texture=texture,
        sand_frac=sand_frac,
        clay_frac=clay_frac,
        organic_matter_pct=table.organic_matter_pct,
        stone_frac=table.stones_pct / 100,
    )


def _sand_and_clay(
    table: SoilTable, path: KeyPath, findings: Findings
) -> tuple[float | None, float | None] | None:
    """Return sand and clay of the fine earth [0-1], None twice where not given, None if wrong."""
    given = {"sand": table.sand_pct, "silt": table.silt_pct, "clay": table.clay_pct}
    known = {key: value for key, value in given.items() if value is not None}
    if not known:
        return None, None
    if len(known) == 1:
        (key,) = known
        findings.fault(
            (*path, key),
            f"{key} stands alone; give two of sand, silt and clay, or a texture word instead",
        )
        return None
    total_pct = sum(known.values())
    if len(known) == 3 and not 98 <= total_pct <= 102:
        findings.fault(
            path,
            f"sand, silt and clay make {total_pct:.4g} %; allowed: 98 % to 102 % together",
        )
        return None
    if len(known) == 2:
        if total_pct > 100:
            findings.fault(
                path,
                f"{' and '.join(known)} make {total_pct:.4g} %; allowed: up to 100 % together",
            )
            return None
        (missing,) = set(given) - set(known)
        known[missing] = 100 - total_pct
    whole_pct = sum(known.values())
    return known["sand"] / whole_pct, known["clay"] / whole_pct
