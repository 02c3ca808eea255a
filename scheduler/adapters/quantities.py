"""Text with a unit to SI, and SI back to the grower's units.

The only room that knows feet and Fahrenheit. Text is read with the unit definitions of pint, which
is loaded at the first reading and not before; showing a quantity needs no library.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING, Any

from scheduler.adapters.nearest import hint
from scheduler.errors import UsageError

if TYPE_CHECKING:
    import pint

UNIT_SYSTEMS = ("metric", "us")
MM_PER_IN = 25.4
M_PER_FT = 0.3048
M_S_PER_KM_H = 1 / 3.6
M_S_PER_MPH = 0.44704


class QuantityError(UsageError):
    """A text is not a quantity of the kind that is asked for; the message does not say where."""


# ------------------------------------------------------------------- reading


@dataclass(frozen=True)
class _Dimension:
    """One kind of quantity: the units a grower may write, each with its name in pint."""

    name: str
    unit_names: Mapping[str, str]
    shown: str  # the units as a message lists them
    example: str


def _named(**words: str) -> dict[str, str]:
    return {word: unit for unit, text in words.items() for word in text.split(", ")}


_LENGTH = _Dimension(
    "a length",
    _named(
        millimeter="mm, millimeter, millimeters, millimetre, millimetres",
        centimeter="cm, centimeter, centimeters, centimetre, centimetres",
        meter="m, meter, meters, metre, metres",
        kilometer="km, kilometer, kilometers, kilometre, kilometres",
        inch='in, inch, inches, "',
        foot="ft, foot, feet, '",
        yard="yd, yard, yards",
    ),
    "mm, cm, m, in, ft, yd",
    '"60 ft" or "18 m"',
)
_SPEED = _Dimension(
    "a speed",
    _named(
        kilometer_per_hour="km/h, kph, kmh, kmph, km/hour",
        meter_per_second="m/s",
        mile_per_hour="mph, mile/h, miles/h, mi/h",
    )
    | {"ft/min": "foot / minute", "m/min": "meter / minute", "ft/s": "foot / second"},
    "km/h, m/s, mph, ft/min",
    '"3 km/h" or "2 mph"',
)
_TIME = _Dimension(
    "a duration",
    _named(
        second="s, sec, second, seconds",
        minute="min, mins, minute, minutes",
        hour="h, hr, hrs, hour, hours",
        day="d, day, days",
    ),
    "s, min, h, d",
    '"10 min" or "3 h"',
)
_TEMPERATURE = _Dimension(
    "a temperature",
    _named(
        degree_Celsius="c, degc, deg c, °c, ºc, celsius",
        degree_Fahrenheit="f, degf, deg f, °f, ºf, fahrenheit",
    ),
    "C, F",
    '"64 F" or "18 C"',
)
_TEMPERATURE_RISE = _Dimension(
    "a difference of temperature",
    {word: f"delta_{name}" for word, name in _TEMPERATURE.unit_names.items()},
    "C, F",
    '"7 F" or "4 C"',
)
_SHARE = _Dimension("a share", _named(percent="%, percent, pct"), "%", '"20 %"')
_DIMENSIONS = (_LENGTH, _SPEED, _TIME, _TEMPERATURE, _SHARE)

_NUMBER = r"\d+\s+\d+/\d+|\d+/\d+|\d+\.?\d*|\.\d+"
_PAIR = re.compile(rf"\s*(?P<number>{_NUMBER})\s*(?P<unit>[^\d\s.,+-][^\d,+-]*)", re.ASCII)
_SIGNED = re.compile(rf"\s*(?P<sign>[+\-−]?)\s*(?P<rest>(?:{_NUMBER}).*)", re.ASCII | re.DOTALL)
_BARE = re.compile(rf"\s*[+\-−]?\s*(?:{_NUMBER})\s*", re.ASCII)
_AREA = re.compile(
    r"\s*(?P<number>\d+\.?\d*|\.\d+)\s*"
    r"(?P<unit>m2|m²|ft2|ft²|sq\.?\s?m|sq\.?\s?ft|square (?:metres?|meters?|foot|feet))\s*",
    re.ASCII | re.IGNORECASE,
)
_SIDES = re.compile(
    r"\s*(?P<first>\d+\.?\d*)\s*(?P<own>mm|cm|m|in|ft)?\s*x\s*"
    r"(?P<last>\d+\.?\d*)\s*(?P<unit>mm|cm|m|in|ft)\s*",
    re.ASCII | re.IGNORECASE,
)
_LONGEST_TEXT = 60


def length_m(text: object) -> float:
    """Return a length [m].

    Parameters
    ----------
    text : object
        Text such as "60 ft", "18 m", "5 ft 6 in" or "3/4 in".

    Raises
    ------
    QuantityError
        If there is no unit, the unit is unknown or the unit is not one of length.

    Examples
    --------
    >>> round(length_m("60 ft"), 3)
    18.288
    """
    return _read(text, _LENGTH, "meter")


def depth_mm(text: object) -> float:
    """Return a short length, such as a working depth [mm]; text and errors as in `length_m`.

    Examples
    --------
    >>> round(depth_mm("0.6 in"), 2)
    15.24
    """
    return _read(text, _LENGTH, "millimeter")


def rain_mm(text: object) -> float:
    """Return a depth of rain or irrigation [mm]; text and errors as in `length_m`.

    Examples
    --------
    >>> rain_mm("1 in")
    25.4
    """
    return _read(text, _LENGTH, "millimeter")


def speed_m_s(text: object) -> float:
    """Return a speed [m/s] from text such as "3 km/h" or "2 mph"; errors as in `length_m`.

    Examples
    --------
    >>> round(speed_m_s("3.6 km/h"), 6)
    1.0
    """
    return _read(text, _SPEED, "meter_per_second")


def duration_min(text: object) -> float:
    """Return a duration [min] from text such as "10 min" or "1 h 20 min"; errors as in `length_m`.

    Examples
    --------
    >>> duration_min("1 h 20 min")
    80.0
    """
    return _read(text, _TIME, "minute")


def duration_h(text: object) -> float:
    """Return a duration [h] from text such as "3 h" or "90 min"; errors as in `length_m`.

    Examples
    --------
    >>> duration_h("90 min")
    1.5
    """
    return _read(text, _TIME, "hour")


def temperature_c(text: object) -> float:
    """Return a temperature [C] from text such as "64 F" or "-3 C"; errors as in `length_m`.

    Examples
    --------
    >>> round(temperature_c("64 F"), 2)
    17.78
    """
    return _read(text, _TEMPERATURE, "degree_Celsius")


def temperature_rise_c(text: object) -> float:
    """Return a difference of temperature [C] from text such as "7 F"; errors as in `length_m`.

    Examples
    --------
    >>> round(temperature_rise_c("9 F"), 9)
    5.0
    """
    return _read(text, _TEMPERATURE_RISE, "delta_degree_Celsius")


def share_pct(text: object) -> float:
    """Return a share [%] from text such as "20 %"; errors as in `length_m`.

    Examples
    --------
    >>> share_pct("3.5 %")
    3.5
    """
    return _read(text, _SHARE, "percent")


def area_m2(text: str) -> float:
    """Return a small area [m2] from text such as "0.25 m2", "2 ft2" or "50 x 50 cm".

    Raises
    ------
    QuantityError
        If the text is not an area with one of these units.

    Examples
    --------
    >>> area_m2("0.25 m2"), round(area_m2("1 sq ft"), 6), round(area_m2("50 x 50 cm"), 6)
    (0.25, 0.092903, 0.25)
    """
    found = _AREA.fullmatch(text)
    if found is not None:
        factor = M_PER_FT**2 if "f" in found["unit"].casefold() else 1.0
        return float(found["number"]) * factor
    sides = _SIDES.fullmatch(text)
    if sides is None:
        raise QuantityError(
            f"{found_text(text)} is no area; allowed units: m2, ft2; write it like 0.25 m2 or "
            "50 x 50 cm"
        )
    unit = sides["unit"]
    return length_m(f"{sides['first']} {sides['own'] or unit}") * length_m(
        f"{sides['last']} {unit}"
    )


def latitude_deg(text: object) -> float:
    """Return a latitude [degrees, north positive] from "40.78 deg N", "40.78 N" or a number.

    Raises
    ------
    QuantityError
        If the text is not a latitude, or lies outside -90 to 90.

    Examples
    --------
    >>> latitude_deg("40.78 deg N"), latitude_deg("33.9 S"), latitude_deg(51.5)
    (40.78, -33.9, 51.5)
    """
    return _read_angle(text, "a latitude", "N", "S", 90.0, '"40.78 deg N" or "-33.9"')


def longitude_deg(text: object) -> float:
    """Return a longitude [degrees, east positive] from "73.97 deg W", "73.97 W" or a number.

    Raises
    ------
    QuantityError
        If the text is not a longitude, or lies outside -180 to 180.

    Examples
    --------
    >>> longitude_deg("73.97 deg W"), longitude_deg("-73.97")
    (-73.97, -73.97)
    """
    return _read_angle(text, "a longitude", "E", "W", 180.0, '"73.97 deg W" or "-73.97"')


def found_text(value: object) -> str:
    """Return a value as a message shows it: text in quotes, on one line, shortened when long.

    Examples
    --------
    >>> found_text("60 fet"), found_text(60), found_text(True), found_text([1])
    ('"60 fet"', '60', 'true', 'a list')
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        shown = value if len(value) <= _LONGEST_TEXT else value[: _LONGEST_TEXT - 3] + "..."
        plain = shown.replace("\\", "\\\\").replace('"', '\\"')
        return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in plain) + '"'
    if isinstance(value, int | float):
        return f"{value:.10g}" if isinstance(value, float) else _shortened(str(value))
    if isinstance(value, list | tuple):
        return "a list" if value else "an empty list"
    if isinstance(value, dict):
        return "a table"
    return _shortened(str(value))


def _shortened(text: str) -> str:
    return text if len(text) <= _LONGEST_TEXT else text[: _LONGEST_TEXT - 3] + "..."


def _read(value: object, dimension: _Dimension, target: str) -> float:
    found = found_text(value)
    allowed = f"write {dimension.name} such as {dimension.example}"
    if isinstance(value, int | float) and not isinstance(value, bool):
        raise QuantityError(f"{found} has no unit; {allowed}, in quotes")
    if not isinstance(value, str):
        raise QuantityError(f"{found} is not {dimension.name}; {allowed}")
    if len(value) > _LONGEST_TEXT:
        raise QuantityError(f"{found} is too long for {dimension.name}; {allowed}")
    if _BARE.fullmatch(value):
        raise QuantityError(f"{found} has no unit; {allowed}")
    signed = _SIGNED.fullmatch(value)
    pairs = [] if signed is None else _pairs(signed["rest"])
    if signed is None or not pairs:
        comma = "; a decimal takes a point, not a comma" if re.search(r"\d,\d", value) else ""
        raise QuantityError(f"{found} is not a number with a unit; {allowed}{comma}")
    if len(pairs) > 1 and dimension not in (_LENGTH, _TIME):
        raise QuantityError(f"{found} is more than one quantity; {allowed}")
    sign = -1.0 if signed["sign"] in ("-", "−") else 1.0
    total = sum(_converted(sign * number, unit, dimension, target, found) for number, unit in pairs)
    return float(f"{total:.12g}")  # 60 ft is 18.288 m and not 18.287999999999997 m


def _pairs(text: str) -> list[tuple[float, str]]:
    """Split "5 ft 6 in" into numbers and units; an empty list where that cannot be done."""
    pairs: list[tuple[float, str]] = []
    at = 0
    while at < len(text):
        match = _PAIR.match(text, at)
        if match is None:
            return []
        try:
            number = sum((Fraction(part) for part in match["number"].split()), Fraction(0))
        except ZeroDivisionError:
            return []
        pairs.append((float(number), match["unit"].strip()))
        at = match.end()
    return pairs


def _converted(number: float, unit: str, dimension: _Dimension, target: str, found: str) -> float:
    word = " ".join(unit.lower().split()).replace(" / ", "/").replace(" per ", "/").rstrip(".")
    name = dimension.unit_names.get(word)
    if name is None:
        other = _dimension_of(unit, word)
        if other is not None and other != dimension.name:
            raise QuantityError(
                f"{found} is {other}, not {dimension.name}; allowed units: {dimension.shown}"
            )
        nearby = hint(word, (name for name in dimension.unit_names if len(name) > 1))
        raise QuantityError(
            f"{found} has an unknown unit; allowed units: {dimension.shown}{nearby}"
        )
    return float(_registry().Quantity(number, name).to(target).magnitude)


_OTHER_KINDS = {
    "[mass]": "a mass",
    "[length]": "a length",
    "[time]": "a duration",
    "[length] ** 2": "an area",
    "[length] ** 3": "a volume",
    "[length] / [time]": "a speed",
    "[temperature]": "a temperature",
}


def _dimension_of(unit: str, word: str) -> str | None:
    """Return the kind of quantity a unit belongs to, or None where no one knows it."""
    for dimension in _DIMENSIONS:
        if word in dimension.unit_names:
            return dimension.name
    try:
        kind = str(_registry().parse_units(unit).dimensionality)
    except Exception:  # the library raises many kinds of errors on free text
        return None
    return _OTHER_KINDS.get(kind)


@cache
def _registry() -> pint.UnitRegistry[Any]:
    import pint

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True, cache_folder=None)


_ANGLE = re.compile(
    r"\s*(?P<number>[+\-−]?\s*(?:\d+\.?\d*|\.\d+))\s*(?:deg(?:rees?)?|°|º)?\s*(?P<side>[A-Za-z]*)\s*",
    re.ASCII,
)


def _read_angle(
    value: object, name: str, positive: str, negative: str, limit: float, example: str
) -> float:
    found = found_text(value)
    wrong = QuantityError(f"{found} is not {name}; write decimal degrees such as {example}")
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise wrong
    match = _ANGLE.fullmatch(value if isinstance(value, str) else repr(value))
    if match is None or len(match[0]) > _LONGEST_TEXT:
        raise wrong
    side = match["side"].upper()
    number = match["number"].replace("−", "-").replace(" ", "")
    if side not in ("", positive, negative) or (side and number[0] in "+-"):
        raise wrong
    angle = float(number) * (-1.0 if side == negative else 1.0)
    if abs(angle) > limit:
        raise QuantityError(
            f"{found} is out of range; {name} lies between {-limit:g} and {limit:g} degrees"
        )
    return angle


# ------------------------------------------------------------------- showing


def length_text(length_m: float, units: str) -> str:
    """Return a length of bed or row: feet or metres, a decimal only below ten.

    Parameters
    ----------
    length_m : float
        Length [m].
    units : str
        "us" or "metric".

    Examples
    --------
    >>> length_text(18.288, "us"), length_text(18.288, "metric"), length_text(0.762, "us")
    ('60 ft', '18 m', '2.5 ft')
    """
    value, unit = (length_m / M_PER_FT, "ft") if _is_us(units) else (length_m, "m")
    return _shown(value, 0 if abs(value) >= 9.95 else 1, unit)


def depth_text(depth_mm: float, units: str) -> str:
    """Return a working depth [mm] as "0.6 in" or "15 mm".

    Examples
    --------
    >>> depth_text(15.0, "us"), depth_text(15.0, "metric")
    ('0.6 in', '15 mm')
    """
    if _is_us(units):
        return _shown(depth_mm / MM_PER_IN, 1, "in")
    return _shown(depth_mm, 0, "mm")


def spacing_text(spacing_mm: float, units: str) -> str:
    """Return a row spacing, width or clearance [mm] as "12 in" or "30 cm".

    Examples
    --------
    >>> spacing_text(304.8, "us"), spacing_text(304.8, "metric"), spacing_text(25.0, "metric")
    ('12 in', '30 cm', '2.5 cm')
    """
    value, unit = (spacing_mm / MM_PER_IN, "in") if _is_us(units) else (spacing_mm / 10, "cm")
    return _shown(value, 0 if abs(value) >= 9.95 else 1, unit)


def rain_text(rain_mm: float, units: str) -> str:
    """Return a depth of rain or irrigation [mm] as "0.98 in" or "25 mm".

    Examples
    --------
    >>> rain_text(25.0, "us"), rain_text(25.0, "metric"), rain_text(2.54, "metric")
    ('0.98 in', '25 mm', '2.5 mm')
    """
    if _is_us(units):
        return _shown(rain_mm / MM_PER_IN, 2, "in", is_trimmed=False)
    return _shown(rain_mm, 0 if abs(rain_mm) >= 9.95 else 1, "mm")


def temperature_text(temperature_c: float, units: str) -> str:
    """Return a temperature [C] as "64 F" or "18 C".

    Examples
    --------
    >>> temperature_text(18.0, "us"), temperature_text(18.0, "metric")
    ('64 F', '18 C')
    """
    if _is_us(units):
        return _shown(temperature_c * 9 / 5 + 32, 0, "F")
    return _shown(temperature_c, 0, "C")


def degree_days_text(thermal_time_cd: float, units: str) -> str:
    """Return growing degree days [C d] in the grower's degrees.

    Examples
    --------
    >>> degree_days_text(50.0, "us"), degree_days_text(50.0, "metric")
    ('90 F days', '50 C days')
    """
    if _is_us(units):
        return _shown(thermal_time_cd * 9 / 5, 0, "F days")
    return _shown(thermal_time_cd, 0, "C days")


def speed_text(speed_m_s: float, units: str) -> str:
    """Return a speed [m/s] as "1.9 mph" or "3 km/h".

    Examples
    --------
    >>> speed_text(1 / 1.2, "us"), speed_text(1 / 1.2, "metric")
    ('1.9 mph', '3 km/h')
    """
    if _is_us(units):
        return _shown(speed_m_s / M_S_PER_MPH, 1, "mph")
    return _shown(speed_m_s / M_S_PER_KM_H, 1, "km/h")


def density_text(density_m2: float, units: str) -> str:
    """Return a number of weeds [1/m2] as "29/sq ft" or "310/m2".

    Examples
    --------
    >>> density_text(310.0, "us"), density_text(310.0, "metric"), density_text(2.0, "us")
    ('29/sq ft', '310/m2', '0.2/sq ft')
    """
    value, unit = (density_m2 * M_PER_FT**2, "/sq ft") if _is_us(units) else (density_m2, "/m2")
    return _shown(value, 0 if abs(value) >= 9.95 else 1, unit, gap="")


def area_text(area_m2: float, units: str) -> str:
    """Return a small area [m2] as "2.7 sq ft" or "0.25 m2".

    Examples
    --------
    >>> area_text(0.25, "us"), area_text(0.25, "metric")
    ('2.7 sq ft', '0.25 m2')
    """
    value, unit = (area_m2 / M_PER_FT**2, "sq ft") if _is_us(units) else (area_m2, "m2")
    return f"{value:.2g} {unit}"


def duration_text(duration_min: float) -> str:
    """Return a duration [min] as "6 min" or "1 h 20 min".

    Examples
    --------
    >>> duration_text(6.2), duration_text(80.0), duration_text(120.0)
    ('6 min', '1 h 20 min', '2 h')
    """
    if not math.isfinite(duration_min):
        return "unknown"
    hours, minutes = divmod(round(duration_min), 60)
    parts = ([f"{hours} h"] if hours else []) + ([f"{minutes} min"] if minutes or not hours else [])
    return " ".join(parts)


def _is_us(units: str) -> bool:
    if units not in UNIT_SYSTEMS:
        raise ValueError(f"units must be one of {', '.join(UNIT_SYSTEMS)}, not {units!r}")
    return units == "us"


def _shown(
    value: float, decimals: int, unit: str, *, gap: str = " ", is_trimmed: bool = True
) -> str:
    if not math.isfinite(value):
        return "unknown"
    number = f"{value:.{decimals}f}"
    if is_trimmed and "." in number:
        number = number.rstrip("0").rstrip(".")
    if float(number) == 0:
        number = number.lstrip("-")
    return f"{number}{gap}{unit}"
