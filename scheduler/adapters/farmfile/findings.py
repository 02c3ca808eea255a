"""Faults and warnings with their place in the file, and tables read with all their faults told."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from scheduler.adapters.farmfile.schema import (
    FAULT,
    BlockedTable,
    HoursTable,
    SetupTable,
    Table,
    ToolTable,
    WorkTable,
    is_secret_key,
    key_example,
    read_name,
    table_keys,
)
from scheduler.adapters.farmfile.where import KeyPath, line_of, place_text
from scheduler.adapters.nearest import hint, nearest
from scheduler.adapters.quantities import QuantityError, found_text

TOP_TABLES = (
    "farm",
    "place",
    "work",
    "soils",
    "defaults",
    "beds",
    "tools",
    "plans",
    "cautions",
    "mail",
    "weather",
)

_NAMING_KEYS: Mapping[str, tuple[str, ...]] = {
    "beds": ("name", "range", "names"),
    "plans": ("bed", "range", "beds"),
}
"""The lists of tables, and the keys that say which beds an entry is about."""

T = TypeVar("T", bound=Table)


@dataclass
class Findings:
    """Faults and warnings as they are found, with their place in the file."""

    document: Mapping[str, Any]
    lines: Mapping[KeyPath, int]
    faults: list[tuple[int, str]] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def fault(self, path: KeyPath, told: str) -> None:
        """Note a fault, with the place of `path` in front."""
        line = f"{place_text(path, self.lines, self._label(path))}: {told}"
        self.faults.append((self._order(path), line))

    def warn(self, path: KeyPath, told: str) -> None:
        """Note a warning, with the place of `path` in front."""
        self.warnings.append(f"{place_text(path, self.lines, self._label(path))}: {told}")

    def fault_texts(self) -> tuple[str, ...]:
        """Return the faults in the order of the file."""
        return tuple(text for _, text in sorted(self.faults, key=lambda fault: fault[0]))

    def _order(self, path: KeyPath) -> int:
        return line_of(path, self.lines) or 0

    def _label(self, path: KeyPath) -> str:
        name = str(path[0]) if path else ""
        if len(path) < 2 or name not in _NAMING_KEYS or not isinstance(path[1], int):
            return ""
        group = self.document[name][path[1]]
        for key in _NAMING_KEYS[name]:
            value = group.get(key) if isinstance(group, dict) else None
            if isinstance(value, list):
                value = ", ".join(str(name) for name in value)
            if value is not None:
                return found_text(str(value))[1:-1]
        return ""


def one_table(
    table: type[T],
    name: str,
    document: Mapping[str, Any],
    findings: Findings,
    *,
    is_needed: bool = False,
) -> T | None:
    """Return the table [name] read, or None where it is wrong or not there."""
    if name in document:
        return validated_table(table, document[name], (name,), findings)
    if is_needed and not is_misspelt(name, document, TOP_TABLES):
        findings.fault((name,), f"missing; add the table [{name}]{_needed_keys(table)}")
    return None


def _needed_keys(table: type[Table]) -> str:
    needed = [f.alias or name for name, f in table.model_fields.items() if f.is_required()]
    return f" with {', '.join(needed)}" if needed else ""


def validated_table(table: type[T], raw: Any, path: KeyPath, findings: Findings) -> T | None:
    """Return the table read, or None with each of its faults told."""
    if not isinstance(raw, dict):
        findings.fault(path, f"{found_text(raw)} is not a table; write its keys below the header")
        return None
    try:
        return table.model_validate(raw)
    except ValidationError as errors:
        for error in errors.errors(include_url=False):
            if error["type"] == "missing" and _is_misspelt_at(error["loc"], table, raw):
                continue
            told = _told(error, table, path[0] == "mail")
            findings.fault((*path, *error["loc"]), told)
        return None


def is_misspelt(name: str, written: Iterable[str], names: Collection[str]) -> bool:
    """Tell whether a name that is missing stands there misspelt; that is told by itself."""
    return any(key not in names and nearest(key, names) == name for key in written)


def _is_misspelt_at(loc: KeyPath, table: type[Table], raw: Any) -> bool:
    node = raw
    for part in loc[:-1]:
        node = node[part]
    return is_misspelt(str(loc[-1]), node, table_keys(_table_at(table, loc[:-1])))


def _told(error: ErrorDetails, table: type[Table], is_mail: bool) -> str:
    if error["type"] == FAULT:
        return str(error["msg"])
    key = str(error["loc"][-1]) if error["loc"] else ""
    if error["type"] == "extra_forbidden":
        if is_mail and is_secret_key(key):
            return (
                "a password does not belong in this file; remove it and name where it is kept: "
                'password_env = "NAME OF A VARIABLE" or password_file = "PATH"'
            )
        keys = table_keys(_table_at(table, error["loc"][:-1]))
        return f"unknown key; allowed: {', '.join(keys)}{hint(key, keys)}"
    if error["type"] == "missing":
        return f"missing; add {key_example(_table_at(table, error['loc'][:-1]), key)}"
    if error["type"] in ("model_type", "dict_type"):
        example = key_example(table, key) if key == "hours" else '{ key = "value" }'
        return f"{found_text(error['input'])} is not a table; write such as {example}"
    if error["type"] == "tuple_type":
        return f"{found_text(error['input'])} is not a list; write such as [{{ ... }}, {{ ... }}]"
    return f"{found_text(error['input'])} is not allowed: {error['msg']}"


_INNER_TABLES: Mapping[tuple[type[Table], str], type[Table]] = {
    (WorkTable, "hours"): HoursTable,
    (WorkTable, "blocked"): BlockedTable,
    (ToolTable, "setups"): SetupTable,
}


def _table_at(table: type[Table], path: KeyPath) -> type[Table]:
    for part in path:
        if isinstance(part, str):
            table = _INNER_TABLES[table, part]
    return table


def named_tables(
    name: str, what: str, document: Mapping[str, Any], findings: Findings
) -> dict[str, Any]:
    """Return the tables [name.X] by X; an empty one where there are none."""
    tables = document.get(name, {})
    if not isinstance(tables, dict) or not all(isinstance(t, dict) for t in tables.values()):
        findings.fault((name,), f"each {what} needs a table of its own, such as [{name}.NAME]")
        return {}
    seen: dict[str, str] = {}
    named: dict[str, Any] = {}
    for key, table in tables.items():
        try:
            plain = read_name(key).casefold()
        except QuantityError as error:
            findings.fault((name, key), str(error))
            continue
        if plain in seen:
            findings.fault(
                (name, key), f'the {what} "{seen[plain]}" has the same name; give each its own'
            )
            continue
        seen[plain] = key
        named[key] = table
    return named


def name_or_empty(name: str) -> str:
    """Return a name read, or nothing where it is none; that is told elsewhere."""
    try:
        return read_name(name)
    except QuantityError:
        return ""
