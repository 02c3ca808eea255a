"""What to mind before the work: heat by hour, the machine, thunder, flame.

The page cautions. It promises nothing and gives way to the machine's manual, the weather service,
the safety office and the fire authority.
"""

from __future__ import annotations

import numpy as np

from scheduler.errors import RangeError
from scheduler.records import FloatArray, HeatBands, IntArray

HEAT_BANDS = ("", "caution", "extreme caution", "danger", "extreme danger")
"""Names of the weather service's bands; the first, below them all, has none."""

HEAT_ADVICE = (
    "",
    "water and shade at hand, breaks as needed",
    "a break of 15 min every 2 h, an eye on each other",
    "hard work waits for a cooler hour",
    "no work outside",
)
"""What each band asks for: the first two as a safety authority proposed, the rest our own."""

USUAL_HEAT_BANDS = HeatBands()
"""The weather service's present card, and our allowance for full sun, which adds up to 15 F."""

NOISE_LEVELS_DBA = (85.0, 88.0, 91.0, 94.0, 97.0, 100.0, 103.0)
"""Levels for which the sheet prints how long they may last."""

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
        "The manual rules. Know how to stop it before you start it. Set the depth first: a tool "
        "that bites pulls the machine forward. Disengage before leaving the handles; disengage and "
        "stop the engine before touching, clearing or changing a tool. A walking machine has no "
        "cage: distance and control are the guard. No bystanders, children or pets near. Sturdy "
        "shoes, close clothing, feet away from the tools.",
    ),
    (
        "Reverse",
        "Slowly, with the tools disengaged, and never towards a wall, a fence or a person: the "
        "handles can pin you.",
    ),
    (
        "Fuel",
        "Refuel outdoors with the engine off and cold, no flame or cigarette near.",
    ),
    (
        "Slope",
        "A wet or slippery slope is a no. Otherwise up and down as the manual says; no angle fits "
        "every machine.",
    ),
    (
        "Ears and eyes",
        "Protect ears where voices must be raised at arm's length; the manual gives the level. "
        "Over eight hours 85 dBA is the limit many authorities name, and every 3 dB more halves "
        "the time. Glasses against stones and dust.",
    ),
    (
        "Heat",
        "The heat index joins temperature and humidity, in the shade; full sun can add 15 F (8 C). "
        "Hard hand work early, water, shade and breaks; the first hot days and new people need "
        "less work. Confusion or no sweat in the heat is an emergency. Cards differ: an older one "
        "of the same service begins danger at 105 F (41 C) and extreme danger at 130 F (54 C). "
        "Some states have rules of their own: ask the safety office.",
    ),
    (
        "Thunder",
        "Once it is heard: stop, into a solid building or a vehicle with a hard roof, and back out "
        "30 min after the last thunder. Start no long job with storms forecast.",
    ),
    (
        "Flame",
        "Only where the farm file says that local fire rules were read. Not in a fire ban or on a "
        "day of fire warning, not in wind that bends the flame, not near dry mulch or row cover. "
        "Water at hand; look back after half an hour. Legal notices overrule.",
    ),
    (
        "Sun",
        "UV index 0-2 is low, 3-5 moderate, 6-7 high, 8-10 very high, 11 and more extreme. Cover "
        "skin, head and eyes from 3.",
    ),
    (
        "Ticks and stings",
        "Long, light trousers, tucked in; look over the body after work; edges and tall grass are "
        "worst. Trouble with breathing after a sting is an emergency.",
    ),
    (
        "Back and hands",
        "Change the task and the posture every 20 to 30 min; stretch.",
    ),
    (
        "Working alone",
        "Tell someone where you are and until when; phone on you, not in the truck.",
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


def heat_band(heat_index_c: FloatArray, from_c: tuple[float, ...] | None = None) -> IntArray:
    """Band of the weather service for each heat index, as a place in `HEAT_BANDS`.

    Parameters
    ----------
    heat_index_c
        Heat index [C], any shape.
    from_c
        Heat index from which each band holds [C], four values that rise; those of
        `USUAL_HEAT_BANDS` where None.

    Returns
    -------
    ndarray of int
        0 below the bands (and where the index is NaN), then by the usual bands 1 caution from
        80 F, 2 extreme caution from 90 F, 3 danger from 103 F, 4 extreme danger from 125 F; same
        shape.

    Raises
    ------
    RangeError
        Bands that are not four, or do not rise.

    Notes
    -----
    Bands of the service's present card, seen (`nws_heat_card`); an older card had 105 and 130 F.
    No range stated.

    Examples
    --------
    >>> heat_band(np.array([25.0, 30.0, 33.0, 45.0, 52.0])).tolist()
    [0, 1, 2, 3, 4]
    """
    edges_c = np.array(USUAL_HEAT_BANDS.from_c if from_c is None else from_c)
    if edges_c.shape != (len(HEAT_BANDS) - 1,) or not np.all(np.diff(edges_c) > 0.0):
        raise RangeError(
            f"heat bands: found {', '.join(f'{edge:g}' for edge in edges_c)} C; allowed "
            f"{len(HEAT_BANDS) - 1} temperatures that rise; correct [cautions] heat_bands"
        )
    index_c = np.asarray(heat_index_c, dtype=np.float64)
    known_c = np.where(np.isnan(index_c), -np.inf, index_c)
    band: IntArray = np.searchsorted(
        np.round(edges_c, 9), np.round(known_c, 9), side="right"
    ).astype(np.int64)
    return band


def noise_limit_min(level_dba: FloatArray) -> FloatArray:
    """Time a day for which a level of noise is within the recommended limit [min].

    ``T = 480 / 2^((L - 85) / 3)``: eight hours at 85 dBA, half of it for each 3 dB more.

    Parameters
    ----------
    level_dba
        Sound level L at the ear [dBA], any shape.

    Returns
    -------
    ndarray
        Minutes a day without protection [min], same shape; NaN where the level is NaN.

    Raises
    ------
    RangeError
        A level outside the printed table, 80 to 140 dBA.

    Notes
    -----
    A limit for averages over the day; the law of a place may differ. Range: 80 to 140 dBA.
    Source: `niosh_1998`, recommended exposure limit and table 1-1.

    Examples
    --------
    >>> noise_limit_min(np.array([85.0, 88.0, 100.0])).tolist()
    [480.0, 240.0, 15.0]
    """
    level = np.asarray(level_dba, dtype=np.float64)
    if np.any((level < 80.0) | (level > 140.0)):
        raise RangeError(
            f"level_dba: found {np.nanmin(level):g} to {np.nanmax(level):g}; allowed 80 to 140; "
            "the machine's manual gives its level"
        )
    limit_min: FloatArray = 480.0 / 2.0 ** ((level - 85.0) / 3.0)
    return limit_min


def cautions_for(
    local_hour: IntArray,
    air_temp_c: FloatArray,
    humidity_frac: FloatArray,
    *,
    has_flame: bool = False,
    has_read_fire_rules: bool = False,
    bands: HeatBands = USUAL_HEAT_BANDS,
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
    bands
        Where the bands of the heat index begin, and what full sun adds before an hour is called
        cooler.

    Returns
    -------
    tuple of str
        Machine and thunder always; heat with its band and hours when a band is reached, and
        the cooler hours (heat index plus the allowance for sun below the second band); how many
        hours are not known; flame where the farm owns one. Temperatures in C, for the page to
        convert.

    Raises
    ------
    RangeError
        Arrays of different length, a humidity outside 0-1, or bands that do not rise.

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
    band = heat_band(index_c, bands.from_c)
    worst = int(np.max(band))
    if worst > 0:
        words = [
            f"{HEAT_BANDS[place]} {_hour_spans(hours[band == place])}"
            for place in range(worst, 0, -1)
            if np.any(band == place)
        ]
        cooler = known & (band == 0) & (index_c + bands.sun_allowance_c < bands.from_c[1])
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
