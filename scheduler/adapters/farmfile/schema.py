"""The tables of farm.toml: which keys they have and what each value may be.

Every value is read by one small function that returns SI or raises a message without a place;
`checking` adds the place. Names end in units; the aliases are the keys of the file.
"""

from __future__ import annotations

import re
import unicodedata
import zoneinfo
from collections.abc import Callable, Sequence
from datetime import date, datetime, time
from functools import cache
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, PlainValidator
from pydantic_core import PydanticCustomError

from scheduler.adapters import quantities
from scheduler.adapters.farmfile.texture import hand_test_texture
from scheduler.adapters.nearest import hint, nearest
from scheduler.adapters.quantities import QuantityError, found_text
from scheduler.records import TEXTURES, TOOL_KINDS, HeatBands, Setup

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
IRRIGATIONS = ("none", "drip", "sprinkler")
ENDS = ("open", "one blocked", "both blocked")
BED_HISTORIES = ("unknown", "clean", "weedy", "cover")
TRAVELS = ("over one row", "on the bed", "in the paths", "by hand")
TOOLBAR_KINDS = (
    "tine weeder",
    "finger weeder",
    "torsion weeder",
    "brush weeder",
    "sweeps",
    "knives",
    "hilling",
)
"""Kinds that can share one bar and work in one pass."""
N_HEAT_BANDS = len(HeatBands().from_c)
MAIL_SECURITIES = ("starttls", "tls", "none")
FORECASTS = ("metno", "nws", "openmeteo", "none")
LONGEST_NAME = 200
FAULT = "farm_fault"

_LONG_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_BIDI_CONTROLS = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_SECRET_KEY = re.compile(r"pass(word|wd|phrase|code)?$|secret|token|api_?key", re.IGNORECASE)
_ALLOWED_SECRET_KEYS = ("password_env", "password_file")


def is_secret_key(key: str) -> bool:
    """Tell whether a key looks as if its value were a secret."""
    return key not in _ALLOWED_SECRET_KEYS and (
        _SECRET_KEY.search(key) is not None or key.casefold().startswith("password")
    )


# ---------------------------------------------------------------- one value


def _validator(read: Callable[[Any], Any]) -> PlainValidator:
    """Turn a reading function into a pydantic validator that keeps the message as it is."""

    def validate(value: Any) -> Any:
        try:
            return read(value)
        except QuantityError as error:
            raise PydanticCustomError(FAULT, "{told}", {"told": str(error)}) from None

    return PlainValidator(validate)


def _between(
    read: Callable[[object], float], low: float, high: float, allowed: str
) -> Callable[[object], float]:
    """Return a reading function that refuses what lies outside [low, high]."""

    def value_in_range(value: object) -> float:
        number = read(value)
        if not low - 1e-9 <= number <= high + 1e-9:
            raise QuantityError(f"{found_text(value)} is out of range; allowed: {allowed}")
        return number

    return value_in_range


read_elevation_m = _between(
    quantities.length_m, -450, 6000, "-450 m to 6000 m (-1476 ft to 19685 ft)"
)
read_bed_length_m = _between(quantities.length_m, 0.5, 1000, "0.5 m to 1000 m (1.6 ft to 3281 ft)")
read_bed_width_m = _between(quantities.length_m, 0.1, 50, "10 cm to 50 m (3.9 in to 164 ft)")
read_working_hours = _between(quantities.duration_h, 0, 24, "0 h to 24 h")
_read_spacing_mm = _between(quantities.depth_mm, 20, 3000, "2 cm to 3 m (0.8 in to 9.8 ft)")


def _number(low: float, high: float, allowed: str) -> PlainValidator:
    def number_in_range(value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise QuantityError(f"{found_text(value)} is not a number; allowed: {allowed}")
        if not low <= value <= high:
            raise QuantityError(f"{found_text(value)} is out of range; allowed: {allowed}")
        return float(value)

    return _validator(number_in_range)


def _whole(low: int, high: int, allowed: str) -> PlainValidator:
    def whole_in_range(value: Any) -> int:
        return _read_whole(value, low, high, allowed)

    return _validator(whole_in_range)


def _read_whole(value: Any, low: int, high: int, allowed: str) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise QuantityError(f"{found_text(value)} is not a whole number; allowed: {allowed}")
    if not low <= value <= high:
        raise QuantityError(f"{found_text(value)} is out of range; allowed: {allowed}")
    return value


def _one_of(allowed: Sequence[str]) -> PlainValidator:
    def one_of(value: Any) -> str:
        word = value.strip().casefold() if isinstance(value, str) else None
        if word in allowed:
            return str(word)
        nearby = hint(value, allowed) if isinstance(value, str) else ""
        raise QuantityError(
            f"{found_text(value)} is not one of the words allowed here; "
            f"allowed: {', '.join(allowed)}{nearby}"
        )

    return _validator(one_of)


def read_name(value: Any) -> str:
    """Return a name: one line of text without control characters, normalised.

    Raises
    ------
    QuantityError
        If it is no text, empty, too long, or holds control characters.
    """
    if not isinstance(value, str):
        raise QuantityError(f"{found_text(value)} is not text; write it in quotes")
    name = unicodedata.normalize("NFC", value.strip())
    if not name:
        raise QuantityError(f"{found_text(value)} is empty; write a name")
    if len(name) > LONGEST_NAME:
        raise QuantityError(
            f"{found_text(value)} has {len(name)} characters; allowed: up to {LONGEST_NAME}"
        )
    if any(
        unicodedata.category(c) in ("Cc", "Zl", "Zp", "Cs") or c in _BIDI_CONTROLS for c in name
    ):
        raise QuantityError(
            f"{found_text(value)} holds a control character; allowed: one line of plain text"
        )
    return name


def _read_text(value: Any) -> str:
    if isinstance(value, str) and not value.strip():
        return ""
    return read_name(value)


def read_bed_name(value: Any) -> str:
    """Return the name of a bed; a slash is kept for the parts of beds ("B4/north").

    Raises
    ------
    QuantityError
        If it is no name, or holds a slash.
    """
    name = read_name(value)
    if "/" in name:
        raise QuantityError(
            f"{found_text(value)} holds a slash, which is kept for parts of beds; "
            "allowed: letters, digits, spaces and the like"
        )
    return name


def _read_bed_names(value: Any) -> tuple[str, ...]:
    if not isinstance(value, list) or not value:
        raise QuantityError(
            f'{found_text(value)} is not a list of bed names; write such as ["A1", "A2"]'
        )
    return tuple(read_bed_name(name) for name in value)


_BED_RANGE = re.compile(r"\s*(?P<head>\D*)(?P<first>\d+)\s*-\s*(?P<again>\D*)(?P<last>\d+)\s*")
_MOST_BEDS = 500


def read_bed_range(value: Any) -> tuple[str, ...]:
    """Return the bed names of a range, in order; leading zeros are kept.

    Raises
    ------
    QuantityError
        If the text is no range, or runs backwards or too far.

    Examples
    --------
    >>> read_bed_range("A9-A11"), read_bed_range("B01-B02")
    (('A9', 'A10', 'A11'), ('B01', 'B02'))
    """
    allowed = 'write such as "A1-A12": the same letters, then numbers that rise'
    match = _BED_RANGE.fullmatch(value) if isinstance(value, str) else None
    if match is None or match["again"] not in ("", match["head"]) or len(match[0]) > 100:
        raise QuantityError(f"{found_text(value)} is not a range of bed names; {allowed}")
    first, last = int(match["first"]), int(match["last"])
    if last < first:
        raise QuantityError(f"{found_text(value)} runs backwards; {allowed}")
    if last - first >= _MOST_BEDS:
        raise QuantityError(f"{found_text(value)} is more than {_MOST_BEDS} beds; {allowed}")
    width = len(match["first"])
    return tuple(
        read_bed_name(f"{match['head']}{number:0{width}d}") for number in range(first, last + 1)
    )


def read_clock(value: Any) -> time:
    """Return a time of day, to the minute.

    Raises
    ------
    QuantityError
        If it is not one.

    Examples
    --------
    >>> read_clock("6:30")
    datetime.time(6, 30)
    """
    if isinstance(value, time):
        return value.replace(second=0, microsecond=0)
    match = re.fullmatch(r"(\d{1,2}):(\d{2})", value.strip()) if isinstance(value, str) else None
    if match is None or int(match[1]) > 23 or int(match[2]) > 59:
        raise QuantityError(f'{found_text(value)} is not a time of day; write such as "06:00"')
    return time(int(match[1]), int(match[2]))


_FIRST_DAY, _LAST_DAY = date(1900, 1, 1), date(2200, 12, 31)


def read_date(value: Any) -> date:
    """Return a day of the calendar, from a TOML date or the same written as text.

    Raises
    ------
    QuantityError
        If it is none, carries a time of day, or lies too far off.

    Examples
    --------
    >>> read_date("2013-05-20")
    datetime.date(2013, 5, 20)
    """
    allowed = "write such as 2013-05-20"
    if isinstance(value, datetime):
        raise QuantityError(f"{found_text(value)} carries a time of day; {allowed}")
    day = value if isinstance(value, date) else None
    if isinstance(value, str) and re.fullmatch(r"\d{4}-\d{2}-\d{2}", value.strip(), re.ASCII):
        try:
            day = date.fromisoformat(value.strip())
        except ValueError:
            raise QuantityError(
                f"{found_text(value)} is no day of the calendar; {allowed}"
            ) from None
    if day is None:
        raise QuantityError(f"{found_text(value)} is not a date; {allowed}")
    if not _FIRST_DAY <= day <= _LAST_DAY:
        raise QuantityError(
            f"{found_text(str(day))} is out of range; allowed: {_FIRST_DAY} to {_LAST_DAY}"
        )
    return day


@cache
def _time_zones() -> frozenset[str]:
    return frozenset(zoneinfo.available_timezones())


def read_time_zone(value: Any) -> str:
    """Return the name of a time zone of the public time zone database.

    Raises
    ------
    QuantityError
        If there is none of that name; the nearest name is told.
    """
    zones = _time_zones()
    if isinstance(value, str) and value in zones:
        return value
    nearby = ""
    if isinstance(value, str):
        by_city = {zone.rsplit("/", 1)[-1]: zone for zone in sorted(zones) if "/" in zone}
        city = nearest(value.rsplit("/", 1)[-1], by_city)
        name = nearest(value, zones) if city is None or "/" in value else by_city[city]
        if name is None and city is not None:
            name = by_city[city]
        nearby = "" if name is None else f'; nearest: "{name}"'
    raise QuantityError(
        f"{found_text(value)} is not a time zone; "
        f'allowed: an area and a city, such as "America/New_York" or "Europe/Paris"{nearby}'
    )


def _read_weekdays(value: Any) -> tuple[int, ...]:
    words = value if isinstance(value, list) and value else [value]
    return tuple(read_weekday(word) for word in words)


def read_weekday(value: Any) -> int:
    """Return the number of a weekday, Monday 0, from its first three letters or its full name.

    Raises
    ------
    QuantityError
        If it is not a weekday.
    """
    word = value.strip().casefold() if isinstance(value, str) else ""
    if word in WEEKDAYS:
        return WEEKDAYS.index(word)
    if word in _LONG_DAYS:
        return _LONG_DAYS.index(word)
    raise QuantityError(
        f"{found_text(value)} is not a weekday; allowed: {', '.join(WEEKDAYS)}"
        f"{hint(word, WEEKDAYS)}"
    )


def _hours_of_all_days(value: Any) -> Any:
    """Turn one text, meant for every day, into a table of days."""
    if not isinstance(value, str):
        return value
    try:
        read_working_hours(value)
    except QuantityError as error:
        raise PydanticCustomError(FAULT, "{told}", {"told": str(error)}) from None
    return dict.fromkeys(WEEKDAYS, value)


def _read_hand_test(value: Any) -> str:
    if isinstance(value, list) and value and all(isinstance(word, str) for word in value):
        return hand_test_texture(value)
    return hand_test_texture(read_name(value))


def _read_row_counts(value: Any) -> tuple[int, ...]:
    counts = value if isinstance(value, list) else [value]
    return tuple(_read_whole(count, 1, 20, "1 to 20 rows") for count in counts)


def _read_spacings(value: Any) -> tuple[float, ...]:
    return tuple(_read_spacing_mm(text) for text in (value if isinstance(value, list) else [value]))


def _read_carried(value: Any) -> tuple[str, ...]:
    words = value if isinstance(value, list) else [value]
    kinds: list[str] = []
    for word in words:
        kind = " ".join(word.casefold().split()) if isinstance(word, str) else ""
        if kind not in TOOLBAR_KINDS:
            raise QuantityError(
                f"{found_text(word)} does not share a toolbar; "
                f"allowed: {', '.join(TOOLBAR_KINDS)}{hint(kind, TOOLBAR_KINDS)}"
            )
        if kind in kinds:
            raise QuantityError(f"{found_text(word)} stands twice; name each kind once")
        kinds.append(kind)
    return tuple(kinds)


_read_heat_index_c = _between(quantities.temperature_c, 10, 80, "10 C to 80 C (50 F to 176 F)")


def _read_heat_bands(value: Any) -> tuple[float, ...]:
    example = 'write such as ["80 F", "90 F", "103 F", "125 F"]'
    if not isinstance(value, list) or len(value) != N_HEAT_BANDS:
        found = f"{len(value)} of them" if isinstance(value, list) and value else found_text(value)
        raise QuantityError(
            f"found {found}; allowed: {N_HEAT_BANDS} temperatures, one for each band; {example}"
        )
    bands = tuple(_read_heat_index_c(text) for text in value)
    for lower, upper, text in zip(bands[:-1], bands[1:], value[1:], strict=True):
        if upper <= lower:
            raise QuantityError(
                f"{found_text(text)} does not lie above the band before it; "
                f"allowed: temperatures that rise; {example}"
            )
    return bands


def _read_flag(value: Any) -> bool:
    if not isinstance(value, bool):
        raise QuantityError(f"{found_text(value)} is not yes or no; allowed: true, false")
    return value


def _read_addresses(value: Any) -> tuple[str, ...]:
    addresses = value if isinstance(value, list) and value else [value]
    return tuple(_read_address(address) for address in addresses)


def _read_address(value: Any) -> str:
    address = read_name(value)
    if not re.fullmatch(r"[^@]*[^@\s<]@[^@\s<>]+>?", address):
        raise QuantityError(
            f'{found_text(value)} is not a mail address; write such as "grower@example.org"'
        )
    return address


def _read_station(value: Any) -> str:
    station = read_name(value)
    if not re.fullmatch(r"[A-Za-z0-9]{3,10}", station):
        raise QuantityError(
            f"{found_text(value)} is not the name of a weather station; allowed: 3 to 10 letters "
            'and digits, such as "72503"'
        )
    return station.upper()


def read_contact(value: object) -> str:
    """Return the mail address that weather services are told.

    Raises
    ------
    QuantityError
        If it is no plain mail address in the letters of ASCII.

    Examples
    --------
    >>> read_contact("grower@example.org")
    'grower@example.org'
    """
    address = _read_address(value)
    if not address.isascii() or " " in address or "<" in address:
        raise QuantityError(
            f"{found_text(value)} cannot be sent with a request; write the plain mail address, "
            'such as "grower@example.org"'
        )
    return address


Name = Annotated[str, _validator(read_name)]
Text = Annotated[str, _validator(_read_text)]
Flag = Annotated[bool, _validator(_read_flag)]
Clock = Annotated[time, _validator(read_clock)]
StationId = Annotated[str, _validator(_read_station)]
Hours = Annotated[float, _validator(read_working_hours)]
SpacingMm = Annotated[float, _validator(_read_spacing_mm)]
LatitudeDeg = Annotated[float, _validator(quantities.latitude_deg)]
LongitudeDeg = Annotated[float, _validator(quantities.longitude_deg)]
ElevationM = Annotated[float, _validator(read_elevation_m)]
BedLengthM = Annotated[float, _validator(read_bed_length_m)]
BedWidthM = Annotated[float, _validator(read_bed_width_m)]
HeadlandM = Annotated[
    float, _validator(_between(quantities.length_m, 0, 100, "0 m to 100 m (0 ft to 328 ft)"))
]
ToolWidthM = Annotated[
    float, _validator(_between(quantities.length_m, 0.02, 10, "2 cm to 10 m (0.8 in to 32.8 ft)"))
]
ToolDepthMm = Annotated[
    float, _validator(_between(quantities.depth_mm, 0, 250, "0 mm to 250 mm (0 in to 9.8 in)"))
]
SpeedMS = Annotated[
    float,
    _validator(
        _between(quantities.speed_m_s, 0.05, 5.56, "0.2 km/h to 20 km/h (0.1 mph to 12.4 mph)")
    ),
]
ClearanceMm = Annotated[
    float, _validator(_between(quantities.depth_mm, 0, 3000, "0 cm to 300 cm (0 in to 118 in)"))
]
SunAllowanceC = Annotated[
    float,
    _validator(_between(quantities.temperature_rise_c, 0, 15, "0 C to 15 C (0 F to 27 F)")),
]
SetupMin = Annotated[float, _validator(_between(quantities.duration_min, 0, 480, "0 min to 8 h"))]
SharePct = Annotated[float, _validator(_between(quantities.share_pct, 0, 100, "0 % to 100 %"))]
OrganicMatterPct = Annotated[
    float, _validator(_between(quantities.share_pct, 0, 30, "0 % to 30 %"))
]
StonesPct = Annotated[float, _validator(_between(quantities.share_pct, 0, 80, "0 % to 80 %"))]


# ------------------------------------------------------------------- tables


class Table(BaseModel):
    """One table of farm.toml; a key it does not know is a fault."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class FarmTable(Table):
    """[farm]: the name and how quantities are shown."""

    name: Name = Field(examples=['"Long Acre"'])
    units: Annotated[str, _one_of(quantities.UNIT_SYSTEMS)] = "metric"
    seed: Annotated[int | None, _whole(0, 2**63 - 1, "0 to 9223372036854775807")] = None
    flame_rules_read: Flag = False


class PlaceTable(Table):
    """[place]: where the farm lies."""

    latitude_deg: LatitudeDeg = Field(alias="latitude", examples=['"40.78 deg N"'])
    longitude_deg: LongitudeDeg = Field(alias="longitude", examples=['"73.97 deg W"'])
    elevation_m: ElevationM = Field(alias="elevation", examples=['"12 ft"'])
    time_zone: Annotated[str, _validator(read_time_zone)] = Field(examples=['"America/New_York"'])


class HoursTable(Table):
    """[work] hours: hours for this work on each weekday; a day left out has none."""

    mon: Hours = 0.0
    tue: Hours = 0.0
    wed: Hours = 0.0
    thu: Hours = 0.0
    fri: Hours = 0.0
    sat: Hours = 0.0
    sun: Hours = 0.0


class BlockedTable(Table):
    """[work] blocked: hours of a weekday, or of several, that are taken."""

    weekdays: Annotated[tuple[int, ...], _validator(_read_weekdays)] = Field(
        alias="day", examples=['"tue"']
    )
    start: Clock = Field(alias="from", examples=['"07:00"'])
    end: Clock = Field(alias="to", examples=['"12:00"'])
    why: Text = ""

    @property
    def is_backwards(self) -> bool:
        """Whether the hours end before they start."""
        return self.end <= self.start


class WorkTable(Table):
    """[work]: when there is time, and what it is worth."""

    start: Clock = time(6, 0)
    end: Clock = time(20, 0)
    hours: Annotated[HoursTable, BeforeValidator(_hours_of_all_days)] = Field(
        examples=['{ mon = "3 h", thu = "2 h" }']
    )
    blocked: tuple[BlockedTable, ...] = ()
    hourly_value: Annotated[float | None, _number(0, 10000, "0 to 10000")] = None
    currency: Text = ""
    machine_price: Annotated[float | None, _number(0.01, 100, "0.01 to 100")] = None


class SoilTable(Table):
    """[soils.NAME]: a texture word, a hand test or the fractions."""

    texture: Annotated[str | None, _one_of(TEXTURES)] = None
    hand_test: Annotated[str | None, _validator(_read_hand_test)] = None
    sand_pct: SharePct | None = Field(default=None, alias="sand")
    silt_pct: SharePct | None = Field(default=None, alias="silt")
    clay_pct: SharePct | None = Field(default=None, alias="clay")
    organic_matter_pct: OrganicMatterPct = Field(default=3.0, alias="organic_matter")
    stones_pct: StonesPct = Field(default=0.0, alias="stones")


class BedDefaults(Table):
    """[defaults.bed]: what all beds share unless a bed group says otherwise."""

    length_m: BedLengthM | None = Field(
        default=None, alias="length", examples=['"60 ft" or "18 m"']
    )
    width_m: BedWidthM | None = Field(default=None, alias="width", examples=['"30 in" or "75 cm"'])
    soil: Name | None = Field(default=None, examples=['"home"'])
    irrigation: Annotated[str | None, _one_of(IRRIGATIONS)] = None
    headland_m: HeadlandM | None = Field(default=None, alias="headland")
    ends: Annotated[str | None, _one_of(ENDS)] = None
    was: Annotated[str | None, _one_of(BED_HISTORIES)] = None


class BedTable(BedDefaults):
    """[[beds]]: one bed, some beds by name, or a range of beds."""

    name: Annotated[str | None, _validator(read_bed_name)] = None
    names: Annotated[tuple[str, ...] | None, _validator(_read_bed_names)] = None
    range: Annotated[tuple[str, ...] | None, _validator(read_bed_range)] = None


class SetupTable(Table):
    """[tools.NAME] setups: a named setting, what it is made for and what to remember about it."""

    name: Name = Field(examples=['"carrots, three rows"'])
    note: Text = ""
    n_rows: Annotated[int | None, _whole(1, 20, "1 to 20 rows")] = Field(default=None, alias="rows")
    row_spacing_mm: SpacingMm | None = Field(default=None, alias="spacing")


def _no_setup_twice(setups: tuple[SetupTable, ...]) -> tuple[SetupTable, ...]:
    seen: set[str] = set()
    for setup in setups:
        if setup.name.casefold() in seen:
            told = f"{found_text(setup.name)} is the name of two set-ups; give each its own name"
            raise PydanticCustomError(FAULT, "{told}", {"told": told})
        seen.add(setup.name.casefold())
    return setups


class ToolTable(Table):
    """[tools.NAME]: one tool as the farm owns it."""

    kind: Annotated[str, _one_of(TOOL_KINDS)] = Field(examples=['"wheel hoe"'])
    depth_mm: ToolDepthMm | None = Field(
        default=None, alias="depth", examples=['"0.6 in" or "15 mm"']
    )
    speed_m_s: SpeedMS = Field(alias="speed", examples=['"2 mph" or "3 km/h"'])
    width_m: ToolWidthM | None = Field(default=None, alias="width")
    rows: Annotated[tuple[int, ...], _validator(_read_row_counts)] = ()
    row_spacings_mm: Annotated[tuple[float, ...], _validator(_read_spacings)] = Field(
        default=(), alias="row_spacings"
    )
    travel: Annotated[str | None, _one_of(TRAVELS)] = None
    track_mm: SpacingMm | None = Field(default=None, alias="track")
    clearance_mm: ClearanceMm | None = Field(default=None, alias="clearance")
    setup_min: SetupMin | None = Field(default=None, alias="setup_time")
    carries: Annotated[tuple[str, ...], _validator(_read_carried)] = ()
    setups: Annotated[tuple[SetupTable, ...], AfterValidator(_no_setup_twice)] = ()

    def setup_records(self) -> tuple[Setup, ...]:
        """Return the named set-ups as records."""
        return tuple(
            Setup(setup.name, setup.note, setup.n_rows, setup.row_spacing_mm)
            for setup in self.setups
        )


class PlanTable(Table):
    """[[plans]]: a sowing or setting to come, of one bed or of several."""

    bed: Annotated[str | None, _validator(read_bed_name)] = None
    beds: Annotated[tuple[str, ...] | None, _validator(_read_bed_names)] = None
    range: Annotated[tuple[str, ...] | None, _validator(read_bed_range)] = None
    crop: Name = Field(examples=['"carrot"'])
    sow_on: Annotated[date | None, _validator(read_date)] = Field(default=None, alias="sow")
    set_on: Annotated[date | None, _validator(read_date)] = Field(default=None, alias="set")


class CautionsTable(Table):
    """[cautions]: where the bands of the heat index begin, if the local card differs."""

    heat_bands_c: Annotated[tuple[float, ...] | None, _validator(_read_heat_bands)] = Field(
        default=None, alias="heat_bands"
    )
    sun_allowance_c: SunAllowanceC | None = Field(default=None, alias="sun_allowance")


class MailTable(Table):
    """[mail]: to whom the morning mail goes and through which server; never a password."""

    to: Annotated[tuple[str, ...], _validator(_read_addresses)] = ()
    sender: Annotated[str | None, _validator(_read_address)] = Field(default=None, alias="from")
    reply_to: Annotated[str | None, _validator(_read_address)] = None
    host: Name | None = None
    port: Annotated[int | None, _whole(1, 65535, "1 to 65535")] = None
    security: Annotated[str | None, _one_of(MAIL_SECURITIES)] = None
    user: Name | None = None
    password_env: Name | None = None
    password_file: Name | None = None
    ca_file: Name | None = None
    send_at: Clock | None = None
    cut_off: Clock | None = None
    evening_note: Flag | None = None
    contact: Text | None = None
    subject: Text | None = None


class WeatherTable(Table):
    """[weather]: where weather comes from, and whether it may be asked for."""

    station: StationId | None = None
    rain_station: StationId | None = None
    forecast: Annotated[str | None, _one_of(FORECASTS)] = None
    consent: Flag | None = None
    contact: Annotated[str | None, _validator(read_contact)] = None
    past_years: Annotated[int | None, _whole(0, 80, "0 to 80 years")] = None
    gauge_read_at: Clock | None = None


def key_example(table: type[BaseModel], key: str) -> str:
    """Return what a key of a table may look like in the file."""
    for name, field in table.model_fields.items():
        if key == (field.alias or name) and field.examples:
            return f"{key} = {field.examples[0]}"
    raise KeyError(key)


def table_keys(table: type[BaseModel]) -> tuple[str, ...]:
    """Return the keys a table may have, as the file writes them."""
    return tuple(field.alias or name for name, field in table.model_fields.items())
