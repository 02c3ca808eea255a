"""What to mind before the work: heat by hour, the machine, thunder, flame.

The page cautions. It promises nothing and gives way to the machine's manual, the weather service,
the safety office and the fire authority.
"""

from __future__ import annotations

import numpy as np

from scheduler.errors import RangeError
from scheduler.records import FloatArray, IntArray

HEAT_BANDS = ("", "caution", "extreme caution", "danger", "extreme danger")
"""Names of the weather service's bands; the first, below them all, has none."""

HEAT_BAND_FROM_F = (80.0, 90.0, 103.0, 125.0)
"""Heat index from which each named band holds [degrees Fahrenheit]."""

SUN_ALLOWANCE_F = 7.0
"""Added to the shade value before an hour is called cooler; full sun adds up to 15 F."""

MACHINE_CAUTION = (
    "The machine's manual rules: disengage and stop the engine before touching a tool; "
    "nobody near; ears and eyes; never on a wet slope."
)
THUNDER_CAUTION = "Thunder heard: go in, and stay in for 30 min after the last."
FLAME_CAUTION = (
    "Flame: only as local fire rules and the wind allow; water at hand, look back later."
)
NO_FLAME_CAUTION = "No flame: the farm file does not say that local fire rules were read."

CAUTION_SHEET: tuple[tuple[str, str], ...] = (
    (
        "Who decides",
        "The people on the field. The machine's manual, the weather service's warnings, the safety "
        "office and the fire authority overrule everything printed here; a doctor or the poison "
        "centre where someone is unwell. Keep the emergency number at hand.",
    ),
    (
        "Machine",
        "Disengage before leaving the handles, stop the engine before touching or clearing a tool. "
        "Set the depth before the start. No bystanders, children or pets near. Walk backwards with "
        "care and never towards a wall or fence. Refuel a cold engine. A walking machine has no "
        "cage: distance and control are the guard.",
    ),
    (
        "Slope",
        "A wet or slippery slope is a no. Otherwise up and down as the manual says; no angle fits "
        "every machine.",
    ),
    (
        "Ears and eyes",
        "Protect ears where voices must be raised at arm's length; the manual gives the level. "
        "Over eight hours 85 dB is the limit many authorities name, and every 3 dB more halves the "
        "time. Glasses, sturdy shoes, close clothing.",
    ),
    (
        "Heat",
        "The heat index counts temperature and humidity in the shade; full sun adds to it. Hard "
        "hand work early, water, shade and breaks; the first hot days and new people need less "
        "work. Confusion or no sweat in the heat is an emergency.",
    ),
    (
        "Thunder",
        "Once it is heard: stop, into a solid building or a vehicle with a hard roof, and back out "
        "30 min after the last thunder. Start no long job with storms forecast.",
    ),
    (
        "Flame",
        "Only where the farm file says that local fire rules were read. Not in a fire ban, strong "
        "wind, dry mulch or row cover. Water at hand; look back after half an hour.",
    ),
    (
        "Body",
        "Change the task and the posture every half hour. Cover skin from UV index 3. Look for "
        "ticks after work in tall grass. Working alone: tell someone, phone on you.",
    ),
)
"""Topics and texts of the whole sheet, as the command `cautions` prints it."""


def heat_index_c(air_temp_c: FloatArray, humidity_frac: FloatArray) -> FloatArray:
    """Heat index in the shade [C].

    The regression of the US National Weather Service with its two adjustments, computed in
    degrees Fahrenheit T and percent R::

        H  = 0.5 (T + 61 + 1.2 (T - 68) + 0.094 R);  HI = (H + T) / 2          while HI < 80
        HI = -42.379 + 2.04901523 T + 10.14333127 R - 0.22475541 T R - 0.00683783 T^2
             - 0.05481717 R^2 + 0.00122874 T^2 R + 0.00085282 T R^2 - 0.00000199 T^2 R^2
        R < 13, 80 <= T <= 112:  HI - (13 - R)/4 sqrt((17 - |T - 95|)/17)
        R > 85, 80 <= T <= 87:   HI + (R - 85)/10 (87 - T)/5

    and the air temperature itself below 40 F.

    Parameters
    ----------
    air_temp_c
        Air temperature [C], any shape.
    humidity_frac
        Relative humidity [0-1], same shape.

    Returns
    -------
    ndarray
        Heat index [C], same shape; NaN where either input is NaN.

    Raises
    ------
    RangeError
        Humidity outside 0-1.

    Notes
    -----
    Stated error of the regression: 1.3 F. Made for shade and light wind; no range stated, the
    printed table runs from 80 to 110 F and from 40 to 100 %.
    Source: `rothfusz_1990`, equations of the service's heat index page.

    Examples
    --------
    >>> print(round(float(heat_index_c(np.array(30.0), np.array(0.9))), 1))
    40.8
    """
    temp_c = np.asarray(air_temp_c, dtype=np.float64)
    humidity = np.asarray(humidity_frac, dtype=np.float64)
    if np.any((humidity < 0.0) | (humidity > 1.0)):
        raise RangeError(
            f"humidity_frac: found {np.nanmin(humidity):g} to {np.nanmax(humidity):g}; "
            "allowed 0 to 1; give a fraction, not percent"
        )
    T = temp_c * 1.8 + 32.0
    R = humidity * 100.0
    simple = (0.5 * (T + 61.0 + 1.2 * (T - 68.0) + 0.094 * R) + T) / 2.0
    full = heat_regression_f(T, R)
    dry = (R < 13.0) & (T >= 80.0) & (T <= 112.0)
    full = np.where(
        dry,
        full - (13.0 - R) / 4.0 * np.sqrt(np.maximum(17.0 - np.abs(T - 95.0), 0.0) / 17.0),
        full,
    )
    humid = (R > 85.0) & (T >= 80.0) & (T <= 87.0)
    full = np.where(humid, full + (R - 85.0) / 10.0 * (87.0 - T) / 5.0, full)
    index_f = np.where(simple < 80.0, simple, full)
    index_f = np.where(T < 40.0, T, index_f)
    index_f = np.where(np.isnan(T) | np.isnan(R), np.nan, index_f)
    index_c: FloatArray = (index_f - 32.0) / 1.8
    return index_c


def heat_regression_f(air_temp_f: FloatArray, humidity_pct: FloatArray) -> FloatArray:
    """The bare regression behind the printed heat index table [F].

    Parameters
    ----------
    air_temp_f
        Air temperature [F], any shape.
    humidity_pct
        Relative humidity [%], same shape.

    Returns
    -------
    ndarray
        Heat index without adjustments [F]; of use from about 80 F on.

    Notes
    -----
    Source: `rothfusz_1990`. The printed table is this function; the adjustments of `heat_index_c`
    move the very dry and the very humid corner. Range: from about 80 F on.

    Examples
    --------
    >>> print(round(float(heat_regression_f(np.array(90.0), np.array(70.0))), 1))
    105.9
    """
    T = np.asarray(air_temp_f, dtype=np.float64)
    R = np.asarray(humidity_pct, dtype=np.float64)
    index_f: FloatArray = (
        -42.379
        + 2.04901523 * T
        + 10.14333127 * R
        - 0.22475541 * T * R
        - 6.83783e-3 * T**2
        - 5.481717e-2 * R**2
        + 1.22874e-3 * T**2 * R
        + 8.5282e-4 * T * R**2
        - 1.99e-6 * T**2 * R**2
    )
    return index_f


def heat_band(heat_index_c: FloatArray) -> IntArray:
    """Band of the weather service for each heat index, as a place in `HEAT_BANDS`.

    Parameters
    ----------
    heat_index_c
        Heat index [C], any shape.

    Returns
    -------
    ndarray of int
        0 below the bands (and where the index is NaN), 1 caution from 80 F, 2 extreme caution
        from 90 F, 3 danger from 103 F, 4 extreme danger from 125 F; same shape.

    Notes
    -----
    Bands of the service's present card, seen; an older card had 105 and 130 F. No range stated.

    Examples
    --------
    >>> heat_band(np.array([25.0, 30.0, 33.0, 45.0, 52.0])).tolist()
    [0, 1, 2, 3, 4]
    """
    index_f = np.asarray(heat_index_c, dtype=np.float64) * 1.8 + 32.0
    known_f = np.where(np.isnan(index_f), -np.inf, index_f)
    band: IntArray = np.searchsorted(
        np.asarray(HEAT_BAND_FROM_F), np.round(known_f, 9), side="right"
    ).astype(np.int64)
    return band


def cautions_for(
    local_hour: IntArray,
    air_temp_c: FloatArray,
    humidity_frac: FloatArray,
    *,
    has_flame: bool = False,
    has_read_fire_rules: bool = False,
) -> tuple[str, ...]:
    """The cautions of one day, one sentence each, for one line of the page.

    Parameters
    ----------
    local_hour
        Wall-clock hour at which each hour of the working day begins [0-23], shape (n,), rising.
    air_temp_c
        Air temperature of those hours [C], shape (n,); NaN where it is not known.
    humidity_frac
        Relative humidity of those hours [0-1], shape (n,); NaN where it is not known.
    has_flame
        Whether the farm owns a flame tool.
    has_read_fire_rules
        Whether the farm file says that local fire rules were read.

    Returns
    -------
    tuple of str
        Machine and thunder always; heat with its band and hours when a band is reached, and
        the cooler hours (heat index plus 7 F below 90 F); how many hours are not known; flame
        where the farm owns one. Temperatures in C, for the page to convert.

    Raises
    ------
    RangeError
        Arrays of different length, or a humidity outside 0-1.

    Notes
    -----
    Cooler hours are an assumption of the program (grade E), the bands are the service's.

    Examples
    --------
    >>> hour = np.arange(9, 17)
    >>> temp = np.array([27.0, 29, 31, 33, 34, 34, 33, 31])
    >>> cautions_for(hour, temp, np.full(8, 0.5))[-1]
    'Heat index up to 38 C: extreme caution 11:00-17:00, caution 09:00-11:00.'
    """
    hours = np.asarray(local_hour, dtype=np.int64)
    if not hours.shape == np.shape(air_temp_c) == np.shape(humidity_frac):
        raise RangeError(
            f"cautions: {hours.size} hours, {np.size(air_temp_c)} temperatures, "
            f"{np.size(humidity_frac)} humidities; give arrays of equal length"
        )
    cautions = [MACHINE_CAUTION, THUNDER_CAUTION]
    if has_flame:
        cautions.append(FLAME_CAUTION if has_read_fire_rules else NO_FLAME_CAUTION)
    index_c = heat_index_c(air_temp_c, humidity_frac)
    known = ~np.isnan(index_c)
    if not np.any(known):
        if hours.size:
            cautions.append("Heat index not known: temperature or humidity is missing.")
        return tuple(cautions)
    band = heat_band(index_c)
    worst = int(np.max(band))
    if worst > 0:
        words = [
            f"{HEAT_BANDS[place]} {_hour_spans(hours[band == place])}"
            for place in range(worst, 0, -1)
            if np.any(band == place)
        ]
        index_f = index_c * 1.8 + 32.0
        cooler = known & (band == 0) & (index_f + SUN_ALLOWANCE_F < HEAT_BAND_FROM_F[1])
        sentence = f"Heat index up to {np.nanmax(index_c):.0f} C: {', '.join(words)}"
        if np.any(cooler):
            sentence += f"; cooler {_hour_spans(hours[cooler])}"
        cautions.append(f"{sentence}.")
    n_unknown = int(np.sum(~known))
    if n_unknown:
        cautions.append(f"Heat index not known for {n_unknown} h of the day.")
    return tuple(cautions)


def _hour_spans(hours: IntArray) -> str:
    """Hours of one day as spans of the clock: 9, 10 and 14 become "09:00-11:00, 14:00-15:00"."""
    spans: list[list[int]] = []
    for hour in hours.tolist():
        if spans and hour == spans[-1][1]:
            spans[-1][1] = hour + 1
        else:
            spans.append([hour, hour + 1])
    return " and ".join(f"{first:02d}:00-{end:02d}:00" for first, end in spans)
