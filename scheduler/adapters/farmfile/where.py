"""Where in farm.toml a key stands: the line, and the path as the file itself writes it."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from typing import Any

from scheduler.adapters.quantities import found_text

KeyPath = tuple[str | int, ...]

FILE_NAME = "farm.toml"
_TABLES_OF_TABLES = ("soils", "tools", "defaults")
_LISTS_OF_TABLES = ("beds", "plans")
_LONGEST_STATEMENT_LINES = 300
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")


def key_lines(text: str) -> dict[KeyPath, int]:
    """Return the line of every table and key of a text that is valid TOML.

    A statement is the shortest run of lines that parses by itself, so text that runs over several
    lines never looks like a key. Keys inside a one-line table share its line.

    Examples
    --------
    >>> key_lines('[soils.silt]\\ntexture = "silt loam"\\n')[("soils", "silt", "texture")]
    2
    """
    lines: dict[KeyPath, int] = {}
    counts: dict[KeyPath, int] = {}
    table: KeyPath = ()
    statement, first = "", 1
    for number, line in enumerate(text.replace("\r\n", "\n").split("\n"), start=1):
        statement, first = (statement + "\n" + line, first) if statement else (line, number)
        try:
            parsed = tomllib.loads(statement)
        except tomllib.TOMLDecodeError:
            if number - first > _LONGEST_STATEMENT_LINES:
                break  # the lines so far are right; messages further down tell the path alone
            continue
        if statement.lstrip().startswith("["):
            table = _header_path(parsed, counts, is_array=statement.lstrip().startswith("[["))
            lines.setdefault(table, first)
        else:
            _add_keys(parsed, table, first, lines)
        statement = ""
    return lines


def _header_path(
    parsed: Mapping[str, Any], counts: dict[KeyPath, int], *, is_array: bool
) -> KeyPath:
    names: list[str] = []
    node: Any = parsed
    while isinstance(node, dict) and node:
        name, node = next(iter(node.items()))
        names.append(name)
    path: KeyPath = ()
    for name in names[:-1]:
        path = (*path, name)
        if path in counts:
            path = (*path, counts[path])
    path = (*path, names[-1])
    if is_array:
        counts[path] = counts.get(path, -1) + 1
        path = (*path, counts[path])
    return path


def _add_keys(
    parsed: Mapping[str, Any], table: KeyPath, line: int, lines: dict[KeyPath, int]
) -> None:
    for key, value in parsed.items():
        lines.setdefault((*table, key), line)
        if isinstance(value, dict):
            _add_keys(value, (*table, key), line, lines)


def line_of(path: KeyPath, lines: Mapping[KeyPath, int]) -> int | None:
    """Return the line of the longest part of `path` that stands in the file, or None.

    A table that is named only as part of a longer header has the line of the first such header.
    """
    for length in range(len(path), 0, -1):
        part = path[:length]
        if part in lines:
            return lines[part]
        below = [line for other, line in lines.items() if other[:length] == part]
        if below:
            return min(below)
    return None


def path_text(path: KeyPath, label: str = "") -> str:
    """Return a key path as the file writes it: the table in brackets, then the key.

    Lists count from one. `label` names the beds of a bed group.

    Examples
    --------
    >>> path_text(("beds", 2, "length"), "C1-C6"), path_text(("work", "blocked", 0, "day"))
    ('[[beds]] 3 (C1-C6) length', '[work] blocked[1].day')
    """
    if path[0] in _LISTS_OF_TABLES and len(path) > 1 and isinstance(path[1], int):
        named = f" ({label})" if label else ""
        head, rest = f"[[{path[0]}]] {path[1] + 1}{named}", path[2:]
    else:
        n_head = 2 if path[0] in _TABLES_OF_TABLES and len(path) > 1 else 1
        head, rest = f"[{'.'.join(_key_text(part) for part in path[:n_head])}]", path[n_head:]
    keys = ""
    for part in rest:
        if isinstance(part, int):
            keys += f"[{part + 1}]"
        else:
            keys += ("." if keys else "") + _key_text(part)
    return f"{head} {keys}" if keys else head


def place_text(path: KeyPath, lines: Mapping[KeyPath, int], label: str = "") -> str:
    """Return where a key stands, for the start of a message: file, line and key path."""
    line = line_of(path, lines)
    at = FILE_NAME if line is None else f"{FILE_NAME} line {line}"
    return f"{at}, {path_text(path, label)}" if path else at


def _key_text(part: str | int) -> str:
    text = str(part)
    return text if _BARE_KEY.fullmatch(text) else found_text(text)
