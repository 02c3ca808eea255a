"""[[beds]] and [defaults.bed]: bed groups to beds."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from scheduler.adapters.farmfile.findings import (
    TOP_TABLES,
    Findings,
    is_misspelt,
    name_or_empty,
    validated_table,
)
from scheduler.adapters.farmfile.schema import BedDefaults, BedTable, key_example, table_keys
from scheduler.adapters.farmfile.where import KeyPath
from scheduler.adapters.nearest import hint
from scheduler.adapters.quantities import found_text
from scheduler.records import Bed


def read_beds(document: Mapping[str, Any], findings: Findings) -> tuple[Bed, ...]:
    """Return the beds of all groups, in the order of the file; faults go to `findings`."""
    defaults = _bed_defaults(document, findings)
    groups = document.get("beds", [])
    if not isinstance(groups, list) or not all(isinstance(group, dict) for group in groups):
        findings.fault(("beds",), "beds are written as tables, each below a header [[beds]]")
        return ()
    if not groups and not is_misspelt("beds", document, TOP_TABLES):
        findings.fault(
            ("beds",), 'missing; add beds, such as [[beds]] range = "A1-A12" and length, width'
        )
    beds: list[Bed] = []
    first_group: dict[str, int] = {}
    for index, raw in enumerate(groups):
        path: KeyPath = ("beds", index)
        table = validated_table(BedTable, raw, path, findings)
        names = () if table is None else _bed_names(table, raw, path, findings)
        _fault_doubled_beds(names, index, first_group, findings)
        shared = _needed_of_bed(raw, document, path, findings)
        if table is not None and shared:
            beds.extend(_group_beds(table, defaults, document, names))
    _check_bed_soils(document, findings)
    return tuple(beds)


def _fault_doubled_beds(
    names: Iterable[str], index: int, first_group: dict[str, int], findings: Findings
) -> None:
    """Tell the names that stand twice, in one line, and note the new ones in `first_group`."""
    doubled: list[str] = []
    for name in names:
        if name.casefold() in first_group:
            doubled.append(name)
        first_group.setdefault(name.casefold(), index)
    if doubled:
        group = first_group[doubled[0].casefold()] + 1
        more = f" (and {len(doubled) - 1} more)" if len(doubled) > 1 else ""
        findings.fault(
            ("beds", index),
            f'the bed "{doubled[0]}"{more} is already in bed group {group}; '
            "each bed stands once, whatever its letter case",
        )


def _bed_defaults(document: Mapping[str, Any], findings: Findings) -> BedDefaults:
    defaults = document.get("defaults", {})
    if not isinstance(defaults, dict):
        findings.fault(("defaults",), "this table holds the table [defaults.bed] alone")
        return BedDefaults()
    for key in defaults:
        if key != "bed":
            findings.fault(("defaults", key), f"unknown table; allowed: bed{hint(key, ['bed'])}")
    if "bed" not in defaults:
        return BedDefaults()
    table = validated_table(BedDefaults, defaults["bed"], ("defaults", "bed"), findings)
    return BedDefaults() if table is None else table


def _bed_names(
    table: BedTable, raw: Mapping[str, Any], path: KeyPath, findings: Findings
) -> tuple[str, ...]:
    naming = [key for key in ("name", "names", "range") if key in raw]
    if len(naming) != 1:
        found = "none of them" if not naming else " and ".join(naming)
        findings.fault(
            path,
            f"found {found}; give one of name, names or range, "
            'such as name = "A1" or range = "A1-A12"',
        )
        return ()
    if table.name is not None:
        return (table.name,)
    return table.names or table.range or ()


def _default_bed(document: Mapping[str, Any]) -> Mapping[str, Any]:
    defaults = document.get("defaults")
    bed = None
    if isinstance(defaults, dict):  # a slip in its name is told once, not at every bed
        bed = defaults.get("bed", next(iter(defaults.values()), None))
    return bed if isinstance(bed, dict) else {}


def _needed_of_bed(
    raw: Mapping[str, Any], document: Mapping[str, Any], path: KeyPath, findings: Findings
) -> bool:
    """Tell whether a bed group has what every bed needs, here or in [defaults.bed]."""
    needed = ["length", "width"] + ([] if _only_soil(document) else ["soil"])
    written = {*raw, *_default_bed(document)}
    keys = table_keys(BedTable)
    missing = [key for key in needed if key not in written]
    for key in missing:
        if not is_misspelt(key, written, keys):
            soils = _soil_names(document) if key == "soil" else []
            added = f'soil = "{soils[0]}"' if soils else key_example(BedTable, key)
            findings.fault(path, f"{key} is missing; add {added}, here or in [defaults.bed]")
    return not missing


def _only_soil(document: Mapping[str, Any]) -> str | None:
    soils = document.get("soils")
    return next(iter(soils)) if isinstance(soils, dict) and len(soils) == 1 else None


def _soil_names(document: Mapping[str, Any]) -> list[str]:
    soils = document.get("soils")
    return [name_or_empty(name) for name in soils] if isinstance(soils, dict) else []


def _check_bed_soils(document: Mapping[str, Any], findings: Findings) -> None:
    names = _soil_names(document)
    if not names:
        return
    places: list[tuple[KeyPath, Mapping[str, Any]]] = [
        (("defaults", "bed"), _default_bed(document)),
        *((("beds", index), group) for index, group in enumerate(document.get("beds", []))),
    ]
    for path, table in places:
        soil = table.get("soil")
        if isinstance(soil, str) and name_or_empty(soil) not in (*names, ""):
            findings.fault(
                (*path, "soil"),
                f"{found_text(soil)} is not a soil of this farm; "
                f"allowed: {', '.join(names)}{hint(soil, names)}",
            )


def _group_beds(
    table: BedTable, defaults: BedDefaults, document: Mapping[str, Any], names: Iterable[str]
) -> Iterable[Bed]:
    values: dict[str, Any] = {}
    only_soil = _only_soil(document)
    if only_soil is not None:
        values["soil"] = name_or_empty(only_soil)
    for source in (defaults, table):
        values |= {
            key: getattr(source, key)
            for key in BedDefaults.model_fields
            if getattr(source, key) is not None
        }
    if "length_m" not in values or "width_m" not in values or "soil" not in values:
        return ()  # the value in [defaults.bed] is wrong; that is told there
    return (Bed(name=name, **values) for name in names)
