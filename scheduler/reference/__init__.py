"""Parameter tables and their loader.

Every number the models need and nobody measured on the farm stands in a CSV file of this folder,
one value a row, with its unit, the range it may take, where it comes from and how far to trust it.
`sources.toml` holds the full citations, `aliases.csv` the other words for crops, tools and
textures. Only the service (and tests) read these tables; models take numbers.

Columns: subject, parameter, value, low, high, unit, source, locator, grade, seen, note.

- `low` and `high` are the range of plausible values (about 10 to 90 %), not the extremes.
- `grade`: A measured for this quantity in like conditions; B measured elsewhere; C an extension,
  handbook consensus or common practice of the trade; D derived by us, formula in the note; E our
  assumption.
- `seen`: `seen` if the figure was read in the source or a copy of it, `memory` if not.
"""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from importlib.resources import files
from importlib.resources.abc import Traversable
from types import MappingProxyType

from scheduler.errors import ParameterTableError

COLUMNS = (
    "subject",
    "parameter",
    "value",
    "low",
    "high",
    "unit",
    "source",
    "locator",
    "grade",
    "seen",
    "note",
)
ALIAS_COLUMNS = ("alias", "subject")
GRADES = ("A", "B", "C", "D", "E")
SEEN = ("seen", "memory")

# The ending (or, without underscore, the beginning) that a parameter's name must have, by unit.
UNITS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "1": ("",),  # no ending; every name carries it, the longest mark decides
        "frac": ("_frac",),
        "yes/no": ("is_", "can_", "has_"),
        "mm": ("_mm",),
        "mm/h": ("_mm_h",),
        "mm/(degC d)": ("_mm_cd",),
        "mm/d0.5": ("_mm_sqrt_d",),
        "m/s": ("_m_s",),
        "m3/m3": ("_m3m3",),
        "kPa": ("_kpa",),
        "MPa": ("_mpa",),
        "MJ/m2": ("_mj_m2",),
        "J/m2": ("_j_m2",),
        "J/(m2 mm)": ("_j_m2_mm",),
        "degC": ("_c",),
        "degC-0.5": ("_k_rs",),
        "degC d": ("_cd",),
        "d": ("_d",),
        "h": ("_h",),
        "s": ("_s",),
        "week": ("_week",),
        "min": ("_min",),
        "1/m2": ("_m2",),
        "min/m2": ("_min_m2",),
        "frac/d": ("_frac_d",),
        "g/cm3": ("_g_cm3",),
        "pct": ("_pct",),
        "rows": ("n_rows",),
        "leaves": ("_leaves",),
    }
)


@dataclass(frozen=True)
class Parameter:
    """One value with its range, unit and origin.

    `table` is the name of the file without its ending; the other fields are the columns.
    """

    subject: str
    parameter: str
    value: float
    low: float
    high: float
    unit: str
    source: str
    locator: str
    grade: str
    seen: str
    note: str
    table: str


@dataclass(frozen=True)
class Source:
    """One source of values: `key` as used in tables and docstrings, the citation and an address."""

    key: str
    citation: str
    address: str = ""


@dataclass(frozen=True)
class Tables:
    """All parameter tables, checked.

    Attributes
    ----------
    parameters
        Every row by (subject, parameter).
    sources
        Every source by key.
    aliases
        Other words for a subject, lower case, with the subject they stand for.
    """

    parameters: Mapping[tuple[str, str], Parameter]
    sources: Mapping[str, Source]
    aliases: Mapping[str, str]

    def value(self, subject: str, parameter: str) -> Parameter:
        """Return the row of one parameter, or raise `ParameterTableError`."""
        found = self.parameters.get((subject, parameter))
        if found is None:
            known = sorted(p for s, p in self.parameters if s == subject)
            allowed = (
                f"'{subject}' has {', '.join(known)}"
                if known
                else "no table has this subject; see scheduler/reference"
            )
            raise ParameterTableError(
                f"parameter '{parameter}' of '{subject}' not found: {allowed}"
            )
        return found

    def number(self, subject: str, parameter: str) -> float:
        """Return the bare value of one parameter, or raise `ParameterTableError`."""
        return self.value(subject, parameter).value

    def has(self, subject: str, parameter: str) -> bool:
        """Whether there is such a row."""
        return (subject, parameter) in self.parameters

    def of(self, subject: str) -> Mapping[str, Parameter]:
        """All parameters of one subject by name; empty when there are none."""
        return {p: row for (s, p), row in self.parameters.items() if s == subject}

    def subjects(self, table: str) -> tuple[str, ...]:
        """Subjects of one table in the order of the file."""
        return tuple(
            dict.fromkeys(row.subject for row in self.parameters.values() if row.table == table)
        )

    def subject_of(self, word: str) -> str | None:
        """The subject that a grower's word means, or None; case and spaces do not count."""
        plain = " ".join(word.casefold().split())
        if any(plain == subject for subject, _ in self.parameters):
            return plain
        return self.aliases.get(plain)

    def crop_names(self) -> tuple[str, ...]:
        """Names of all crops in the order of the table."""
        return self.subjects("crops")

    def texture_names(self) -> tuple[str, ...]:
        """Names of all texture classes in the order of the table."""
        return self.subjects("textures")

    def tool_kinds(self) -> tuple[str, ...]:
        """Names of all kinds of tool in the order of the table."""
        return self.subjects("tools")

    def guild_names(self) -> tuple[str, ...]:
        """Names of the weed guilds in the order of the table."""
        return tuple(s for s in self.subjects("weeds") if self.has(s, "base_temp_c"))


def load_tables(folder: Traversable | None = None) -> Tables:
    """Read and check all parameter tables.

    Parameters
    ----------
    folder
        Where the tables lie; the tables of the program when None.

    Returns
    -------
    Tables
        Checked rows. Reading takes some milliseconds; the caller keeps the result.

    Raises
    ------
    ParameterTableError
        The first fault, in one line with file and line.

    Examples
    --------
    >>> tables = load_tables()
    >>> row = tables.value("loam", "working_kpa")
    >>> row.value, row.unit, row.grade
    (22.0, 'kPa', 'E')
    """
    root = files(__name__) if folder is None else folder
    sources = _read_sources(root.joinpath("sources.toml"))
    parameters: dict[tuple[str, str], Parameter] = {}
    at: dict[tuple[str, str], str] = {}
    names = sorted(item.name for item in root.iterdir() if item.name.endswith(".csv"))
    for name in names:
        if name == "aliases.csv":
            continue
        for line, cells in _rows(root.joinpath(name), COLUMNS):
            where = f"{name}, line {line}"
            row = _parameter(cells, name.removesuffix(".csv"), where, sources)
            key = (row.subject, row.parameter)
            if key in parameters:
                raise ParameterTableError(
                    f"{where}: '{row.parameter}' of '{row.subject}' stands already in {at[key]}; "
                    "keep one of them"
                )
            parameters[key] = row
            at[key] = where
    aliases = _read_aliases(root, names, {subject for subject, _ in parameters})
    return Tables(
        parameters=MappingProxyType(parameters),
        sources=MappingProxyType(sources),
        aliases=MappingProxyType(aliases),
    )


def _parameter(
    cells: Mapping[str, str], table: str, where: str, sources: Mapping[str, Source]
) -> Parameter:
    """Check one row and turn it into a `Parameter`."""
    subject, parameter, unit = cells["subject"], cells["parameter"], cells["unit"]
    for column in ("subject", "parameter", "locator"):
        if not cells[column]:
            raise ParameterTableError(f"{where}: column '{column}' is empty; fill it in")
    if subject != " ".join(subject.casefold().split()):
        raise ParameterTableError(
            f"{where}: subject '{subject}' must be in lower case with single spaces"
        )
    if unit not in UNITS:
        raise ParameterTableError(
            f"{where}: unknown unit '{unit}' of '{parameter}'; known are {', '.join(UNITS)}"
        )
    if not _is_named_for(parameter, unit):
        raise ParameterTableError(
            f"{where}: the name '{parameter}' does not tell its unit '{unit}'; it should have "
            f"'{' or '.join(UNITS[unit])}'"
        )
    if cells["source"] not in sources:
        raise ParameterTableError(
            f"{where}: unknown source '{cells['source']}' of '{parameter}'; add it to sources.toml"
        )
    if cells["grade"] not in GRADES:
        raise ParameterTableError(
            f"{where}: grade '{cells['grade']}' of '{parameter}' is none of {', '.join(GRADES)}"
        )
    if cells["seen"] not in SEEN:
        raise ParameterTableError(
            f"{where}: '{cells['seen']}' in column 'seen' of '{parameter}' is neither "
            f"{' nor '.join(SEEN)}"
        )
    if cells["grade"] == "D" and not cells["note"]:
        raise ParameterTableError(
            f"{where}: '{parameter}' is derived (grade D) without a formula; put it in the note"
        )
    value, low, high = (_number(cells, column, where) for column in ("value", "low", "high"))
    if not low <= value <= high:
        raise ParameterTableError(
            f"{where}: value {value:g} of '{parameter}' is outside [{low:g}, {high:g}]; mend the "
            "value or its range"
        )
    if unit == "yes/no" and value not in (0.0, 1.0):
        raise ParameterTableError(
            f"{where}: '{parameter}' is yes or no, found {value:g}; write 1 or 0"
        )
    return Parameter(
        subject=subject,
        parameter=parameter,
        value=value,
        low=low,
        high=high,
        unit=unit,
        source=cells["source"],
        locator=cells["locator"],
        grade=cells["grade"],
        seen=cells["seen"],
        note=cells["note"],
        table=table,
    )


def _is_named_for(parameter: str, unit: str) -> bool:
    """Whether a parameter's name carries its unit, and no other unit's ending."""

    def carries(mark: str) -> bool:
        return parameter.endswith(mark) if mark.startswith("_") else parameter.startswith(mark)

    longest = max((mark for marks in UNITS.values() for mark in marks if carries(mark)), key=len)
    return longest in UNITS[unit]


def _number(cells: Mapping[str, str], column: str, where: str) -> float:
    text = cells[column]
    try:
        number = float(text)
    except ValueError:
        number = float("nan")
    if not -1e12 < number < 1e12:
        raise ParameterTableError(
            f"{where}: '{text}' in column '{column}' of '{cells['parameter']}' is not a number"
        )
    return number


def _rows(path: Traversable, columns: tuple[str, ...]) -> Iterable[tuple[int, dict[str, str]]]:
    """Rows of a CSV file with their line numbers, cells stripped."""
    reader = csv.reader(path.read_text(encoding="utf-8").splitlines(), strict=True)
    header = tuple(next(reader, ()))
    if header != columns:
        raise ParameterTableError(
            f"{path.name}, line 1: the columns are {', '.join(header) or 'missing'}; they must "
            f"be {', '.join(columns)}"
        )
    for cells in reader:
        if len(cells) != len(columns):
            raise ParameterTableError(
                f"{path.name}, line {reader.line_num}: {len(cells)} cells found, "
                f"{len(columns)} needed; put text with commas in quotation marks"
            )
        yield (
            reader.line_num,
            {name: cell.strip() for name, cell in zip(columns, cells, strict=True)},
        )


def _read_sources(path: Traversable) -> dict[str, Source]:
    try:
        entries = tomllib.loads(path.read_text(encoding="utf-8"))
    except tomllib.TOMLDecodeError as error:
        raise ParameterTableError(f"{path.name}: not readable as TOML: {error}") from error
    sources = {}
    for key, entry in entries.items():
        if not isinstance(entry, dict) or not entry.get("citation"):
            raise ParameterTableError(f"{path.name}: source '{key}' has no citation; give it one")
        sources[key] = Source(key, str(entry["citation"]), str(entry.get("address", "")))
    return sources


def _read_aliases(root: Traversable, names: list[str], subjects: set[str]) -> dict[str, str]:
    aliases: dict[str, str] = {}
    if "aliases.csv" not in names:
        return aliases
    for line, cells in _rows(root.joinpath("aliases.csv"), ALIAS_COLUMNS):
        alias, subject = cells["alias"].casefold(), cells["subject"]
        where = f"aliases.csv, line {line}"
        if subject not in subjects:
            raise ParameterTableError(
                f"{where}: alias '{alias}' stands for '{subject}', which no table has"
            )
        if alias in aliases or alias in subjects:
            raise ParameterTableError(
                f"{where}: alias '{alias}' is taken already; keep one meaning"
            )
        aliases[alias] = subject
    return aliases
