"""[[plans]]: sowings and settings to come."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import date
from typing import Any

from scheduler.adapters.farmfile.findings import Findings, validated_table
from scheduler.adapters.farmfile.schema import PlanTable
from scheduler.adapters.farmfile.where import KeyPath
from scheduler.adapters.nearest import hint
from scheduler.adapters.quantities import found_text
from scheduler.adapters.render.phrases import bed_ranges
from scheduler.records import Plan

_MOST_SHOWN = 14  # names in one message


def read_plans(
    document: Mapping[str, Any],
    beds: Collection[str] | None,
    crops: Collection[str] | None,
    findings: Findings,
) -> tuple[Plan, ...]:
    """Return the plans of all groups, in the order of the file; faults go to `findings`.

    Parameters
    ----------
    document
        The file as TOML reads it.
    beds, crops
        The names that are right; None leaves them unchecked.
    findings
        Takes the faults.
    """
    groups = document.get("plans", [])
    if not isinstance(groups, list) or not all(isinstance(group, dict) for group in groups):
        findings.fault(("plans",), "plans are written as tables, each below a header [[plans]]")
        return ()
    plans: list[Plan] = []
    first_group: dict[tuple[str, date], int] = {}
    for index, raw in enumerate(groups):
        path: KeyPath = ("plans", index)
        table = validated_table(PlanTable, raw, path, findings)
        if table is None:
            continue
        on = _day(table, raw, path, findings)
        names = _bed_names(table, raw, path, findings)
        known = _known_beds(names, beds, path, findings)
        crop = _known_crop(table.crop, crops, path, findings)
        if on is None or crop is None:
            continue
        for name in known:
            if (name.casefold(), on) in first_group:
                first = first_group[name.casefold(), on] + 1
                findings.fault(
                    path,
                    f'the bed "{name}" has a plan for {on} already, in plan {first}; '
                    "a bed has one plan a day",
                )
                continue
            first_group[name.casefold(), on] = index
            plans.append(Plan(name, crop, on, is_sown=table.sow_on is not None))
    return tuple(plans)


def _day(
    table: PlanTable, raw: Mapping[str, Any], path: KeyPath, findings: Findings
) -> date | None:
    written = [key for key in ("sow", "set") if key in raw]
    if len(written) != 1:
        found = "neither" if not written else "sow and set"
        findings.fault(
            path, f"found {found}; give one of sow or set with its day, such as sow = 2013-05-20"
        )
        return None
    return table.sow_on or table.set_on


def _bed_names(
    table: PlanTable, raw: Mapping[str, Any], path: KeyPath, findings: Findings
) -> tuple[str, ...]:
    naming = [key for key in ("bed", "beds", "range") if key in raw]
    if len(naming) != 1:
        found = "none of them" if not naming else " and ".join(naming)
        findings.fault(
            path,
            f'found {found}; give one of bed, beds or range, such as bed = "A1" or range = "A1-A4"',
        )
        return ()
    if table.bed is not None:
        return (table.bed,)
    return table.beds or table.range or ()


def _known_beds(
    names: Sequence[str], beds: Collection[str] | None, path: KeyPath, findings: Findings
) -> tuple[str, ...]:
    """Return the beds as the farm spells them; those it does not have are told in one line."""
    if beds is None:
        return tuple(names)
    spelled = {bed.casefold(): bed for bed in beds}
    unknown = [name for name in names if name.casefold() not in spelled]
    if unknown:
        more = f" (and {len(unknown) - 1} more)" if len(unknown) > 1 else ""
        findings.fault(
            path,
            f"{found_text(unknown[0])}{more} is not a bed of this farm; "
            f"allowed: {bed_ranges(beds)}{hint(unknown[0], beds)}",
        )
    return tuple(spelled[name.casefold()] for name in names if name.casefold() in spelled)


def _known_crop(
    name: str, crops: Collection[str] | None, path: KeyPath, findings: Findings
) -> str | None:
    """Return the crop as the tables spell it, or None where they have no such crop."""
    if crops is None:
        return name
    plain = " ".join(name.casefold().split())
    for crop in crops:
        if crop.casefold() == plain:
            return crop
    shown = sorted(crops)
    allowed = ", ".join(shown[:_MOST_SHOWN]) + (", ..." if len(shown) > _MOST_SHOWN else "")
    findings.fault(
        (*path, "crop"),
        f"{found_text(name)} is not a crop this program knows; allowed: {allowed}"
        f"{hint(name, crops)}",
    )
    return None
