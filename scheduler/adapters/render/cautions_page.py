"""The whole sheet of cautions, with its two small tables."""

from __future__ import annotations

import numpy as np

from scheduler.adapters.quantities import duration_text, temperature_text
from scheduler.adapters.render.phrases import wrapped
from scheduler.planning.cautions import (
    CAUTION_SHEET,
    HEAT_ADVICE,
    HEAT_BANDS,
    NOISE_LEVELS_DBA,
    USUAL_HEAT_BANDS,
    noise_limit_min,
)
from scheduler.records import HeatBands

TODAY_LINE = "The hours of heat of a day stand on its list: whitethread today."


def cautions_text(
    bands: HeatBands = USUAL_HEAT_BANDS, units: str | None = None, width: int = 80
) -> str:
    """The sheet of cautions as text.

    Parameters
    ----------
    bands
        Where the bands of the heat index begin on this farm.
    units
        "us" or "metric"; None shows both.
    width
        Columns; no line is longer.

    Returns
    -------
    str
        Text that ends with a line break.
    """
    tables = {"Heat": _heat_lines(bands, units, width), "Ears and eyes": _noise_lines(width)}
    lines: list[str] = []
    for topic, text in CAUTION_SHEET:
        lines += wrapped(f"{topic}: {text}", width, rest="  ")
        lines += tables.get(topic, [])
    lines += wrapped(TODAY_LINE, width)
    return "\n".join(lines) + "\n"


def _heat_lines(bands: HeatBands, units: str | None, width: int) -> list[str]:
    lines: list[str] = []
    for from_c, name, advice in zip(bands.from_c, HEAT_BANDS[1:], HEAT_ADVICE[1:], strict=True):
        line = f"from {_temperature(from_c, units)} {name}: {advice}"
        lines += wrapped(line, width, first="    ", rest="      ")
    whose = "the farm file's" if bands != USUAL_HEAT_BANDS else "the weather service's"
    rise = f"{_rise(bands.sun_allowance_c, units)} more for full sun"
    told = (
        f"(bands: {whose}; an hour counts as cooler where the index, {rise}, stays below "
        f"{HEAT_BANDS[2]})"
    )
    return lines + wrapped(told, width, first="    ", rest="    ")


def _noise_lines(width: int) -> list[str]:
    minutes = noise_limit_min(np.array(NOISE_LEVELS_DBA))
    spans = [
        f"{level:g} dBA {_minutes(float(limit))}"
        for level, limit in zip(NOISE_LEVELS_DBA, minutes, strict=True)
    ]
    return wrapped(f"a day at most: {', '.join(spans)}", width, first="    ", rest="    ")


def _minutes(limit_min: float) -> str:
    is_whole = limit_min == round(limit_min)
    return duration_text(limit_min) if is_whole else f"{limit_min:g} min"


def _temperature(value_c: float, units: str | None) -> str:
    if units is not None:
        return temperature_text(value_c, units)
    return f"{temperature_text(value_c, 'us')} ({temperature_text(value_c, 'metric')})"


def _rise(value_c: float, units: str | None) -> str:
    """A difference of temperature, which has no 32 to add."""
    in_f, in_c = f"{value_c * 1.8:.0f} F", f"{value_c:.0f} C"
    if units is None:
        return f"{in_f} ({in_c})"
    return in_f if units == "us" else in_c
