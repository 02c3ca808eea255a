"""[tools.NAME]: the tools as the farm owns them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from scheduler.adapters.farmfile.findings import (
    TOP_TABLES,
    Findings,
    is_misspelt,
    name_or_empty,
    named_tables,
    validated_table,
)
from scheduler.adapters.farmfile.schema import (
    TOOLBAR_KINDS,
    FarmTable,
    ToolTable,
    key_example,
)
from scheduler.adapters.farmfile.where import KeyPath
from scheduler.adapters.quantities import found_text
from scheduler.records import Tool

_HAND_KINDS = ("wheel hoe", "stirrup hoe", "collinear hoe", "hand")
_DEPTHLESS_KINDS = ("flame", "hand")
_SAME_SPACING_MM = 12.7  # half an inch: 10 in and 25 cm are one setting
_MACHINE_SETUP_MIN = 5.0  # where the farm does not say


def read_tools(document: Mapping[str, Any], findings: Findings) -> tuple[Tool, ...]:
    """Return the tools, in the order of the file; faults go to `findings`."""
    tools: list[Tool] = []
    for name, raw in named_tables("tools", "tool", document, findings).items():
        path: KeyPath = ("tools", name)
        table = validated_table(ToolTable, raw, path, findings)
        if table is None:
            continue
        if not table.depth_mm and table.kind not in _DEPTHLESS_KINDS:
            if table.depth_mm is None:
                findings.fault((*path, "depth"), f"missing; add {key_example(ToolTable, 'depth')}")
            else:
                findings.fault(
                    (*path, "depth"),
                    f"{found_text(raw['depth'])} is no depth for a {table.kind}; "
                    "allowed: more than 0 mm",
                )
            continue
        _check_carried(table, path, findings)
        _check_setups(table, raw, path, findings)
        is_by_hand = table.kind in _HAND_KINDS
        setup_min = 0.0 if is_by_hand else _MACHINE_SETUP_MIN
        if table.setup_min is not None:
            setup_min = table.setup_min
        tools.append(
            Tool(
                name=name_or_empty(name),
                kind=table.kind,
                depth_mm=table.depth_mm or 0.0,
                speed_m_s=table.speed_m_s,
                width_m=table.width_m,
                rows=table.rows,
                row_spacings_mm=table.row_spacings_mm,
                track_mm=table.track_mm,
                clearance_mm=table.clearance_mm,
                travel=table.travel or ("by hand" if is_by_hand else "on the bed"),
                setup_min=setup_min,
                setups=table.setup_records(),
                carries=table.carries,
            )
        )
    return tuple(tools)


def _check_carried(table: ToolTable, path: KeyPath, findings: Findings) -> None:
    """Tell where a tool that is no toolbar carries others, or a toolbar carries its own kind."""
    if table.carries and table.kind not in TOOLBAR_KINDS:
        findings.fault(
            (*path, "carries"),
            f"a {table.kind} carries no other tool; leave carries away, or give it a kind that "
            f"shares a toolbar; allowed: {', '.join(TOOLBAR_KINDS)}",
        )
    elif table.kind in table.carries:
        findings.fault(
            (*path, "carries"),
            f"{found_text(table.kind)} is the kind of this tool already; name what it carries "
            "besides",
        )


def _check_setups(
    table: ToolTable, raw: Mapping[str, Any], path: KeyPath, findings: Findings
) -> None:
    """Tell where a set-up is made for rows or a spacing that the tool cannot be set to."""
    for index, setup in enumerate(table.setups):
        at: KeyPath = (*path, "setups", index)
        if setup.n_rows is not None and table.rows and setup.n_rows not in table.rows:
            findings.fault(
                (*at, "rows"),
                f"{setup.n_rows} is not among the rows of this tool; "
                f"allowed: {', '.join(map(str, table.rows))}; correct it or add it to rows",
            )
        spacing_mm = setup.row_spacing_mm
        if (
            spacing_mm is not None
            and table.row_spacings_mm
            and min(abs(spacing_mm - own_mm) for own_mm in table.row_spacings_mm) > _SAME_SPACING_MM
        ):
            written = raw["row_spacings"]
            allowed = written if isinstance(written, list) else [written]
            findings.fault(
                (*at, "spacing"),
                f"{found_text(raw['setups'][index]['spacing'])} is not among the row_spacings of "
                f"this tool; allowed: {', '.join(map(found_text, allowed))}; correct it or add it "
                "to row_spacings",
            )


def warn_of_tools(tools: Iterable[Tool], farm: FarmTable, findings: Findings) -> None:
    """Warn where no tool can be offered, or one never will be."""
    kinds = {tool.name: tool.kind for tool in tools}
    if not is_misspelt("tools", findings.document, TOP_TABLES) and not findings.document.get(
        "tools"
    ):
        findings.warn(
            ("tools",), "no tools, so no work can be offered; add one, such as [tools.hoe]"
        )
    for name, kind in kinds.items():
        if kind == "flame" and not farm.flame_rules_read:
            findings.warn(
                ("tools", name),
                "flame is left out of every list until [farm] flame_rules_read = true says that "
                "the local fire rules were read",
            )
