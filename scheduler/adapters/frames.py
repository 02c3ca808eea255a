"""Answers as tables, for a notebook or a spreadsheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas

    from scheduler.records import BedAnswer, Morning


def beds_frame(morning: Morning) -> pandas.DataFrame:
    """One row for each planting of a morning, in the order of the answer.

    Parameters
    ----------
    morning : Morning
        The answer of one morning.

    Returns
    -------
    pandas.DataFrame
        Indexed by planting, as "B4" or "B4/north". Moments carry the farm's time zone; chances are
        0-1; what is not known is missing (NaN, NaT or None). Beds that are worth doing but beyond
        the hours come last, with `is_reached` False.
    """
    import pandas

    asked = [(bed, True) for bed in morning.beds] + [(bed, False) for bed in morning.not_reached]
    frame = pandas.DataFrame(
        [_row(bed, is_reached) for bed, is_reached in asked], columns=list(_COLUMNS)
    ).set_index("planting")
    for name, kind in _COLUMNS.items():
        if kind == "moment":
            times = pandas.to_datetime(frame[name], utc=True)
            frame[name] = times.dt.tz_convert(morning.farm.place.time_zone)
        elif kind:
            frame[name] = frame[name].astype(pandas.api.types.pandas_dtype(kind))
    return frame


_COLUMNS = {
    "planting": "",
    "rank": "Int64",
    "soil": "",
    "crop": "",
    "verdict": "",
    "because": "",
    "until": "moment",
    "sure_frac": "float64",
    "tool": "",
    "start": "moment",
    "end": "moment",
    "work_min": "float64",
    "setup_min": "float64",
    "workable_now_frac": "float64",
    "workable_from": "moment",
    "surface_rel_water": "float64",
    "surface_temp_c": "float64",
    "crust_frac": "float64",
    "crust_expected_at": "moment",
    "flush_opened_at": "moment",
    "gdd_since_opening_cd": "float64",
    "thread_most_at": "moment",
    "last_good_at": "moment",
    "is_reached": "bool",
}
"""Columns and their types; text where none is named."""


def _row(bed: BedAnswer, is_reached: bool) -> dict[str, object]:
    action, crust, flush = bed.action, bed.crust, bed.flush
    return {
        "planting": bed.bed if bed.part is None else f"{bed.bed}/{bed.part}",
        "rank": bed.rank,
        "soil": bed.soil_name,
        "crop": bed.crop,
        "verdict": bed.verdict,
        "because": bed.because,
        "until": bed.until,
        "sure_frac": bed.sure,
        "tool": None if action is None else action.tool,
        "start": None if action is None else action.start,
        "end": None if action is None else action.end,
        "work_min": None if action is None else action.work_min,
        "setup_min": None if action is None else action.setup_min,
        "workable_now_frac": bed.soil.workable_now,
        "workable_from": bed.soil.workable_from,
        "surface_rel_water": bed.soil.surface_rel_water,
        "surface_temp_c": bed.soil.surface_temp_c,
        "crust_frac": None if crust is None else crust.chance,
        "crust_expected_at": None if crust is None else crust.expected_at,
        "flush_opened_at": None if flush is None else flush.opened_at,
        "gdd_since_opening_cd": None if flush is None else flush.gdd_since_opening,
        "thread_most_at": None if flush is None else flush.thread_most_at,
        "last_good_at": bed.last_good_at,
        "is_reached": is_reached,
    }
