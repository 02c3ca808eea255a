"""All faults of a farm.toml at once, and the farm where there are none."""

from __future__ import annotations

import re
import tomllib
import zlib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from scheduler.adapters.farmfile.beds import read_beds
from scheduler.adapters.farmfile.findings import TOP_TABLES, Findings, one_table
from scheduler.adapters.farmfile.plans import read_plans
from scheduler.adapters.farmfile.schema import (
    CautionsTable,
    FarmTable,
    MailTable,
    PlaceTable,
    Table,
    WeatherTable,
)
from scheduler.adapters.farmfile.soils import read_soils
from scheduler.adapters.farmfile.tools import read_tools, warn_of_tools
from scheduler.adapters.farmfile.where import FILE_NAME, key_lines
from scheduler.adapters.farmfile.work import read_work_plan
from scheduler.adapters.nearest import hint
from scheduler.records import Farm, HeatBands, Place

_FURTHEST_FROM_CLOCK_DEG = 50.0


@dataclass(frozen=True)
class FarmCheck:
    """What a check found: faults stop the program, warnings do not; one line each.

    `farm` is the farm as described, or None where there is a fault.
    """

    faults: tuple[str, ...]
    warnings: tuple[str, ...]
    farm: Farm | None


def check_text(text: str, crops: Collection[str] | None = None) -> FarmCheck:
    """Return all faults and warnings of a farm.toml given as text.

    Parameters
    ----------
    text : str
        The whole file.
    crops : collection of str, optional
        The crops a plan may name; None leaves them unchecked.

    Returns
    -------
    FarmCheck
        With the farm where there is no fault.

    Examples
    --------
    >>> check_text("[farm]\\nname = Long Acre").faults
    ('farm.toml line 2, column 8: not valid TOML: Invalid value; text takes quotes around it, such
    as name = "Long Acre"',)
    """
    try:
        document = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        return FarmCheck((_syntax_fault(text, error),), (), None)
    findings = Findings(document, key_lines(text))
    farm = _checked_farm(document, crops, findings)
    faults = findings.fault_texts()
    return FarmCheck(faults, tuple(findings.warnings), None if faults else farm)


_SYNTAX_PLACE = re.compile(r" \(at (?:line (?P<line>\d+), column (?P<column>\d+)|.*)\)$")


_SYNTAX_ADVICE = (
    ("Invalid value", '; text takes quotes around it, such as name = "Long Acre"'),
    ("Expected newline", '; text takes quotes around it, such as name = "Long Acre"'),
    ("Cannot overwrite", "; a key stands once in its table"),
    ("Cannot declare", "; a table stands once, except bed groups, which begin with [[beds]]"),
)


def _syntax_fault(text: str, error: Exception) -> str:
    told = " ".join(str(error).split())
    match = _SYNTAX_PLACE.search(told)
    if match is not None and match["line"]:
        at = f"line {match['line']}, column {match['column']}"
    else:
        at = f"line {len(text.rstrip().splitlines()) or 1}"
    told = _SYNTAX_PLACE.sub("", told)
    advice = next((text for start, text in _SYNTAX_ADVICE if told.startswith(start)), "")
    return f"{FILE_NAME} {at}: not valid TOML: {told}{advice}"


def _checked_farm(
    document: Mapping[str, Any], crops: Collection[str] | None, findings: Findings
) -> Farm | None:
    for key in document:
        if key not in TOP_TABLES:
            findings.fault(
                (key,),
                f"unknown table; allowed: {', '.join(TOP_TABLES)}{hint(key, TOP_TABLES)}",
            )
    farm = one_table(FarmTable, "farm", document, findings, is_needed=True)
    place = one_table(PlaceTable, "place", document, findings, is_needed=True)
    work = read_work_plan(document, findings)
    mail = one_table(MailTable, "mail", document, findings)
    weather = one_table(WeatherTable, "weather", document, findings)
    soils = read_soils(document, findings)
    n_faults = len(findings.faults)
    beds = read_beds(document, findings)
    are_beds_whole = len(findings.faults) == n_faults  # a fault of beds is not told at plans again
    bed_names = [bed.name for bed in beds] if are_beds_whole else None
    tools = read_tools(document, findings)
    plans = read_plans(document, bed_names, crops, findings)
    cautions = one_table(CautionsTable, "cautions", document, findings)
    if farm is None or place is None or work is None:
        return None
    _warn_of_clock(place, findings)
    _warn_of_weather(weather, findings)
    warn_of_tools(tools, farm, findings)
    return Farm(
        name=farm.name,
        place=Place(
            latitude_deg=place.latitude_deg,
            longitude_deg=place.longitude_deg,
            elevation_m=place.elevation_m,
            time_zone=place.time_zone,
        ),
        units=farm.units,
        seed=zlib.crc32(farm.name.encode()) if farm.seed is None else farm.seed,
        soils=soils,
        beds=beds,
        tools=tools,
        work=work,
        flame_rules_read=farm.flame_rules_read,
        plans=plans,
        heat_bands=_heat_bands(cautions),
        mail=_written_values(mail),
        weather=_written_values(weather),
    )


def _heat_bands(table: CautionsTable | None) -> HeatBands:
    """Return the bands as written; the weather service's where they are not."""
    usual = HeatBands()
    if table is None:
        return usual
    allowance_c = table.sun_allowance_c
    return HeatBands(
        from_c=table.heat_bands_c or usual.from_c,
        sun_allowance_c=usual.sun_allowance_c if allowance_c is None else allowance_c,
    )


def _warn_of_clock(place: PlaceTable, findings: Findings) -> None:
    """Warn where the clock and the longitude tell of different sides of the world."""
    zone = ZoneInfo(place.time_zone)
    offsets = [datetime(2023, month, 1, tzinfo=UTC).astimezone(zone) for month in (1, 7)]
    standard_h = min(
        (moment.utcoffset() or timedelta()).total_seconds() / 3600 for moment in offsets
    )
    apart_deg = abs((place.longitude_deg - 15 * standard_h + 180) % 360 - 180)
    if apart_deg > _FURTHEST_FROM_CLOCK_DEG:
        side = "W" if place.longitude_deg < 0 else "E"
        other = "E" if side == "W" else "W"
        findings.warn(
            ("place", "longitude"),
            f"{abs(place.longitude_deg):g} deg {side} is far from where the clocks go by "
            f"{place.time_zone}; is it {abs(place.longitude_deg):g} deg {other}?",
        )


def _warn_of_weather(weather: WeatherTable | None, findings: Findings) -> None:
    """Warn where consent is given but no forecast will come, or only under a condition."""
    if weather is None or not weather.consent:
        return
    if weather.contact is None and weather.forecast not in ("none", "openmeteo"):
        findings.warn(
            ("weather", "consent"),
            "without a contact no forecast is asked for, since the services want to know whom to "
            'write to; add contact = "grower@example.org", your own address',
        )
    if weather.forecast == "openmeteo":
        findings.warn(
            ("weather", "forecast"),
            "the free service behind it is for non-commercial use alone; a farm that sells is "
            "commercial and needs a paid plan of its own",
        )


def _written_values(table: Table | None) -> dict[str, Any]:
    """Return the keys that are written, under the names of the file; times as text."""
    if table is None:
        return {}
    values = table.model_dump(by_alias=True, exclude_unset=True)
    return {
        key: value.strftime("%H:%M") if isinstance(value, time) else value
        for key, value in values.items()
    }
