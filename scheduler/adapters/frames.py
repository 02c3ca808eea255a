"""Answers as tables, for a notebook or a spreadsheet."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas

    from scheduler.records import (
        BedAnswer,
        FitDays,
        FlushWindow,
        Morning,
        PassReview,
        Range,
        Replay,
        ReviewTotal,
        SeasonReview,
    )

STAGES = ("thread", "seed_leaf", "true_leaf", "young", "established")


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
    asked = [(bed, True) for bed in morning.beds] + [(bed, False) for bed in morning.not_reached]
    rows = [_row(bed, is_reached) for bed, is_reached in asked]
    return _framed(rows, _COLUMNS, morning.farm.place.time_zone).set_index("planting")


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
        "planting": _planting(bed.bed, bed.part),
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


# ------------------------------------------------------------------- season


def windows_frame(review: SeasonReview) -> pandas.DataFrame:
    """One row for each window of a season, in the order of the review.

    Parameters
    ----------
    review : SeasonReview
        A season read back.

    Returns
    -------
    pandas.DataFrame
        A range takes three columns, as `cost_low_min`, `cost_mid_min` and `cost_high_min`; moments
        carry the farm's time zone; what does not apply is missing.
    """
    rows = [_window_row(window) for window in review.windows]
    return _framed(rows, _WINDOW_COLUMNS, review.farm.place.time_zone)


def passes_frame(review: SeasonReview) -> pandas.DataFrame:
    """One row for each logged pass and what it did; columns as those of `windows_frame`."""
    rows = [_pass_row(found) for found in review.passes]
    return _framed(rows, _PASS_COLUMNS, review.farm.place.time_zone)


def totals_frame(review: SeasonReview) -> pandas.DataFrame:
    """One row for each total; `by` says of what it is one: planting, crop, tool, week, reason."""
    rows = [_total_row(by, total) for by, totals in review.totals.items() for total in totals]
    return _framed(rows, _TOTAL_COLUMNS, review.farm.place.time_zone)


def fit_days_frame(review: SeasonReview) -> pandas.DataFrame:
    """One row for each soil and week: days fit for the field, and those of the years before."""
    rows = [_fit_row(found) for found in review.fit_days]
    return _framed(rows, _FIT_COLUMNS, review.farm.place.time_zone)


def days_frame(review: SeasonReview) -> pandas.DataFrame:
    """One row for each planting and day: weeds by stage, the crop, and the rain of the farm."""
    rows = []
    for strip in review.strips:
        crops = {
            day: crop for first, last, crop in strip.crops for day in range(first, last) if crop
        }
        for day, weeds_m2 in enumerate(strip.weeds_m2):
            rows.append(
                {
                    "planting": _planting(strip.bed, strip.part),
                    "on": review.from_on + timedelta(days=day),
                    "crop": crops.get(day),
                    "rain_mm": review.rain_mm[day],
                }
                | {f"{stage}_m2": value for stage, value in zip(STAGES, weeds_m2, strict=True)}
            )
    return _framed(rows, _DAY_COLUMNS, review.farm.place.time_zone)


def replays_frame(review: SeasonReview) -> pandas.DataFrame:
    """One row for each rule that the season was played again under."""
    rows = [_replay_row(found) for found in review.replays]
    return _framed(rows, _REPLAY_COLUMNS, review.farm.place.time_zone)


def scores_frame(review: SeasonReview) -> pandas.DataFrame:
    """One row for each chance that was said and what came of it; one for a score without any."""
    rows: list[dict[str, object]] = []
    for score in review.scores:
        head = {"what": score.what, "n": score.n, "brier": score.brier, "words": score.words}
        if not score.bins:
            rows.append(head)
        for said, true, n in score.bins:
            rows.append(head | {"said_frac": said, "true_frac": true, "n_said": n})
    return _framed(rows, _SCORE_COLUMNS, review.farm.place.time_zone)


def _ranges(*names: str) -> dict[str, str]:
    """Three columns for each of some ranges, each named by its quantity and unit."""
    return {
        f"{name.rpartition('_')[0]}_{end}_{name.rpartition('_')[2]}": "float64"
        for name in names
        for end in ("low", "mid", "high")
    }


_WINDOW_COLUMNS = {
    "planting": "",
    "crop": "",
    "soil": "",
    "opened_at": "moment",
    "opened_by": "",
    "ripe_at": "moment",
    "last_good_at": "moment",
    "closed_at": "moment",
    "closed_by": "",
    "outcome": "",
    "reason": "",
    "because": "",
    "own_miss": "",
    "best_at": "moment",
    "best_tool": "",
    "work_min": "float64",
    **_ranges("fit_h", "cost_min", "yield_min", "weeds_m2"),
    "done": "",
    "why": "",
}
_PASS_COLUMNS = {
    "planting": "",
    "crop": "",
    "tool": "",
    "at": "moment",
    "did": "",
    "work_min": "float64",
    "is_timed": "bool",
    **_ranges("killed_m2", "saved_min"),
    "why": "",
}
_TOTAL_COLUMNS = {
    "by": "",
    "name": "",
    "n_windows": "int64",
    "n_missed": "int64",
    **_ranges("cost_min", "yield_min"),
    "machine_min": "float64",
    "hand_min": "float64",
    **_ranges("saved_min"),
}
_FIT_COLUMNS = {
    "soil": "",
    "week_on": "date",
    **_ranges("days_d", "past_d"),
    "n_past_years": "int64",
}
_DAY_COLUMNS = {
    "planting": "",
    "on": "date",
    "crop": "",
    "rain_mm": "float64",
    **{f"{stage}_m2": "float64" for stage in STAGES},
}
_REPLAY_COLUMNS = {
    "rule": "",
    "n_truths": "int64",
    **_ranges("hand_min", "machine_min", "against_logged_min", "of_logged_frac"),
    "n_passes_low": "float64",
    "n_passes_mid": "float64",
    "n_passes_high": "float64",
}
_SCORE_COLUMNS = {
    "what": "",
    "n": "int64",
    "brier": "float64",
    "said_frac": "float64",
    "true_frac": "float64",
    "n_said": "Int64",
    "words": "",
}


def _window_row(window: FlushWindow) -> dict[str, object]:
    return {
        "planting": window.key,
        "crop": window.crop,
        "soil": window.soil_name,
        "opened_at": window.opened_at,
        "opened_by": window.opened_by,
        "ripe_at": window.ripe_at,
        "last_good_at": window.last_good_at,
        "closed_at": window.closed_at,
        "closed_by": window.closed_by,
        "outcome": window.outcome,
        "reason": window.reason,
        "because": window.because,
        "own_miss": window.own_miss,
        "best_at": window.best_at,
        "best_tool": window.best_tool,
        "work_min": window.work_min,
        **_ends("fit_h", window.fit_hours),
        **_ends("cost_min", window.cost_min),
        **_ends("yield_min", window.yield_min),
        **_ends("weeds_m2", window.weeds_m2),
        "done": "; ".join(window.done),
        "why": window.why,
    }


def _pass_row(found: PassReview) -> dict[str, object]:
    return {
        "planting": _planting(found.bed, found.part),
        "crop": found.crop,
        "tool": found.tool,
        "at": found.at,
        "did": found.did,
        "work_min": found.work_min,
        "is_timed": found.is_timed,
        **_ends("killed_m2", found.killed_m2),
        **_ends("saved_min", found.saved_min),
        "why": found.why,
    }


def _total_row(by: str, total: ReviewTotal) -> dict[str, object]:
    return {
        "by": by,
        "name": total.name,
        "n_windows": total.n_windows,
        "n_missed": total.n_missed,
        **_ends("cost_min", total.cost_min),
        **_ends("yield_min", total.yield_min),
        "machine_min": total.machine_min,
        "hand_min": total.hand_min,
        **_ends("saved_min", total.saved_min),
    }


def _fit_row(found: FitDays) -> dict[str, object]:
    return {
        "soil": found.soil_name,
        "week_on": found.week_on,
        **_ends("days_d", found.days),
        **({} if found.past_d is None else _ends("past_d", found.past_d)),
        "n_past_years": found.n_past_years,
    }


def _replay_row(found: Replay) -> dict[str, object]:
    return {
        "rule": found.rule,
        "n_truths": found.n_truths,
        **_ends("hand_min", found.hand_min),
        **_ends("machine_min", found.machine_min),
        "n_passes_low": found.n_passes.low,
        "n_passes_mid": found.n_passes.mid,
        "n_passes_high": found.n_passes.high,
        **_ends("against_logged_min", found.against_logged_min),
        **_ends("of_logged_frac", found.of_logged_frac),
    }


def _ends(name: str, span: Range) -> dict[str, object]:
    return dict(zip(_ranges(name), (span.low, span.mid, span.high), strict=True))


def _planting(bed: str, part: str | None) -> str:
    return bed if part is None else f"{bed}/{part}"


def _framed(
    rows: Iterable[Mapping[str, object]], columns: Mapping[str, str], time_zone: str
) -> pandas.DataFrame:
    """Rows as a table whose columns have their types whatever is missing."""
    import pandas

    frame = pandas.DataFrame(list(rows), columns=list(columns))
    for name, kind in columns.items():
        if kind == "moment":
            frame[name] = pandas.to_datetime(frame[name], utc=True).dt.tz_convert(time_zone)
        elif kind == "date":
            frame[name] = pandas.to_datetime(frame[name])
        elif kind:
            frame[name] = frame[name].astype(pandas.api.types.pandas_dtype(kind))
    return frame
