"""Invented seasons read back, which the tests of the review's pages share; nothing is computed."""

from __future__ import annotations

import csv
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.adapters.farmfile import parse_farm
from scheduler.records import (
    Farm,
    FitDays,
    FloatArray,
    FlushWindow,
    PassReview,
    PlantingStrip,
    Range,
    Replay,
    ReviewTotal,
    Score,
    SeasonReview,
)

DEMO = Path(__file__).parents[2] / "data" / "demo"
ZONE = ZoneInfo("America/New_York")
NONE = Range(0.0, 0.0, 0.0)


@cache
def farm() -> Farm:
    return parse_farm((DEMO / "farm.toml").read_text(encoding="utf-8"))


def at(month: int, day: int, hour: int = 10) -> datetime:
    return datetime(2013, month, day, hour, tzinfo=ZONE)


def spread(mid: float, factor: float = 1.7) -> Range:
    return Range(mid / factor, mid, mid * factor)


# ------------------------------------------------------------- by hand, small


def small_windows() -> tuple[FlushWindow, ...]:
    """Every outcome and every reason, once."""
    hit = FlushWindow(
        bed="B4",
        part=None,
        crop="carrot",
        soil_name="silt",
        opened_at=at(5, 1),
        opened_by="sowing",
        ripe_at=at(5, 6),
        last_good_at=at(5, 12),
        closed_at=at(5, 8),
        closed_by="pass",
        fit_hours=Range(6.0, 9.0, 12.0),
        outcome="hit",
        done=("tine weeder 8 May",),
        why="9 of your hours were fit; the tine weeder came on 8 May.",
        weeds_m2=Range(120.0, 260.0, 500.0),
    )

    def missed(day: int, reason: str, because: str | None, cost: float, **more: object) -> object:
        return replace(
            hit,
            opened_at=at(6, day),
            opened_by="rain",
            ripe_at=at(6, day + 2),
            last_good_at=at(6, day + 3, 14),
            closed_at=at(6, day + 4),
            closed_by="hand weeding",
            outcome="missed",
            done=(),
            why=f"Of the 4 days none was used: {reason}.",
            reason=reason,
            because=because,
            best_at=at(6, day + 2, 11),
            best_tool="tine weeder",
            work_min=6.0,
            cost_min=spread(cost),
            yield_min=spread(cost / 10),
            **more,
        )

    rows = (
        missed(1, "never_fit", "wet", 95.0, bed="C4", crop="beet"),
        missed(4, "crop", "crop_tender", 12.0),
        missed(8, "no_hours", "no_hours", 160.0, bed="A4", part="north"),
        missed(12, "not_done", None, 45.0, bed="A4", part="south", crop="beet"),
        missed(16, "not_listed", "weeds_small", 30.0, own_miss="model"),
        missed(20, "not_listed", "wet", 31.0, own_miss="forecast"),
        missed(24, "no_list", None, 0.4, crop=None),
        missed(26, "unknown", None, 5.0),
    )
    small = replace(hit, opened_at=at(7, 1), ripe_at=at(7, 4), last_good_at=at(7, 9))
    small = replace(small, closed_at=at(7, 14), closed_by="age", outcome="small", done=())
    still = replace(small, ripe_at=at(7, 6), closed_at=at(7, 10), closed_by="end", outcome="open")
    return (hit, *rows, small, still)  # type: ignore[return-value]


def total(
    name: str, windows: Iterable[FlushWindow], passes: Iterable[PassReview], hand: float
) -> ReviewTotal:
    found, made = list(windows), list(passes)
    sums = [
        Range(*(sum(getattr(span, end) for span in spans) for end in ("low", "mid", "high")))
        for spans in (
            [w.cost_min for w in found],
            [w.yield_min for w in found],
            [p.saved_min for p in made],
        )
    ]
    machine = sum(p.work_min for p in made)
    n_missed = sum(w.outcome == "missed" for w in found)
    return ReviewTotal(name, len(found), n_missed, sums[0], sums[1], machine, hand, sums[2])


def totals_of(
    windows: Sequence[FlushWindow], passes: Sequence[PassReview]
) -> dict[str, tuple[ReviewTotal, ...]]:
    def grouped(name_of: object, items: Iterable[object]) -> dict[str, list[object]]:
        groups: dict[str, list[object]] = defaultdict(list)
        for item in items:
            name = name_of(item)  # type: ignore[operator]
            if name is not None:
                groups[name].append(item)
        return groups

    def monday(moment: datetime) -> str:
        day = moment.astimezone(ZONE).date()
        return (day - timedelta(days=day.weekday())).isoformat()

    ways = {
        "planting": (lambda w: w.key, lambda p: p.bed if not p.part else f"{p.bed}/{p.part}"),
        "crop": (lambda w: w.crop or "no crop", lambda p: p.crop or "no crop"),
        "tool": (lambda w: w.best_tool, lambda p: p.tool),
        "week": (lambda w: monday(w.ripe_at), lambda p: monday(p.at)),
        "reason": (lambda w: w.reason, lambda p: None),
    }
    totals = {}
    for way, (of_window, of_pass) in ways.items():
        by_window, by_pass = grouped(of_window, windows), grouped(of_pass, passes)
        names = sorted({*by_window, *by_pass})
        totals[way] = tuple(
            total(
                name,
                by_window.get(name, []),  # type: ignore[arg-type]
                by_pass.get(name, []),  # type: ignore[arg-type]
                0.0 if way in ("tool", "reason") else 40.0 + 12.0 * len(by_window.get(name, [])),
            )
            for name in names
        )
    return totals


def small_passes() -> tuple[PassReview, ...]:
    hit = PassReview(
        "B4", None, "carrot", "tine weeder", at(5, 8), "hit", 6.0, True,
        spread(180.0), spread(60.0), "Most were threads, and it stayed dry for two days.",
    )  # fmt: skip
    little = replace(hit, at=at(5, 22), did="little", killed_m2=spread(8.0), saved_min=spread(2.0))
    vain = replace(hit, bed="C4", crop="beet", tool="wheel hoe", at=at(6, 2), did="in vain")
    vain = replace(vain, work_min=14.0, is_timed=False, killed_m2=NONE, saved_min=NONE)
    return hit, replace(little, why="Little stood there."), replace(vain, why="Rain an hour later.")


def weeds(n_days: int, rises: Sequence[int], falls: Sequence[int], most: float) -> FloatArray:
    """Weeds by stage that come up at some days, age by a stage in ten, and fall at some."""
    found = np.zeros((n_days, 5))
    age = np.array((3.0, 8.0, 16.0, 28.0))
    for rise in rises:
        left = most
        for day in range(rise, n_days):
            if day in falls:
                left *= 0.2
            old = day - rise
            stage = int(np.searchsorted(age, old, side="right"))
            found[day, stage] += left * min(1.0, (old + 1) / 4)
    return found


def small_season() -> SeasonReview:
    """Five plantings on three soils from 19 March to 26 October, with all there is to say."""
    windows, passes = small_windows(), small_passes()
    from_on, to_on = date(2013, 3, 19), date(2013, 10, 26)
    n_days = (to_on - from_on).days + 1
    rain = np.zeros(n_days)
    rain[10::9] = 12.0
    rain[80] = 58.0
    strips = tuple(
        PlantingStrip(
            bed,
            part,
            soil,
            crops=((20, 110, crop), (110, 150, None), (150, n_days, "spinach")),
            weeds_m2=weeds(n_days, (30, 60, 100, 160), (50, 80, 130, 190), most),
            done=((20, "sow", crop), (50, "pass", "tine weeder"), (80, "hand", "hand")),
        )
        for bed, part, soil, crop, most in (
            ("A4", "north", "sandy", "carrot", 150.0),
            ("A4", "south", "sandy", "beet", 90.0),
            ("B4", None, "silt", "carrot", 300.0),
            ("C4", None, "loam", "beet", 700.0),
            ("C5", None, "loam", "snap bean", 20.0),
        )
    )
    return SeasonReview(
        farm=farm(),
        year=2013,
        from_on=from_on,
        to_on=to_on,
        as_of=datetime(2013, 11, 2, 18, tzinfo=ZONE),
        is_over=True,
        windows=windows,
        passes=passes,
        strips=strips,
        rain_mm=rain,
        fit_days=fit_days(from_on, to_on, ("sandy", "loam", "silt"), 4),
        scores=scores(),
        replays=replays(),
        totals=totals_of(windows, passes),
        notes=("Hand seconds are not timed on this farm.", "No list was issued before 1 April."),
        attribution=("Surface observations, public domain.",),
    )


def fit_days(
    from_on: date, to_on: date, soils: Sequence[str], n_past_years: int
) -> tuple[FitDays, ...]:
    monday = from_on - timedelta(days=from_on.weekday())
    n_weeks = ((to_on - monday).days) // 7 + 1
    draw = np.random.default_rng(7)
    wet = draw.uniform(0.0, 4.0, n_weeks)
    return tuple(
        FitDays(
            soil,
            monday + timedelta(days=7 * week),
            Range(*(float(np.clip(6 - wet[week] * (place + 1) / 2 + d, 0, 6)) for d in (-1, 0, 1))),
            Range(1.0, 3.0, 5.0) if n_past_years else None,
            n_past_years,
        )
        for place, soil in enumerate(soils)
        for week in range(n_weeks)
    )


def scores() -> tuple[Score, ...]:
    return (
        Score(
            "working hours",
            182,
            "182 passes tell whether the soil was fit: of those it called fit, 9 in 10 were.",
            0.11,
            ((0.1, 0.25, 8), (0.5, 0.6, 20), (0.7, 0.75, 44), (0.9, 0.93, 110)),
        ),
        Score("emergence", 36, "36 rows came up; 29 within the range told, on average a day late."),
        Score("kill", 2, "2 looks after a pass are too few to say anything.", None, ()),
        Score("sure", 74, "74 lines were sure by 8 in 10; 7 in 10 of them held.", 0.17,
              ((0.5, 0.4, 12), (0.8, 0.7, 62))),
    )  # fmt: skip


def replays() -> tuple[Replay, ...]:
    return (
        Replay("as logged", Range(3300.0, 4200.0, 5200.0), spread(1300.0, 1.05),
               Range(194.0, 194.0, 194.0), NONE, 8, Range(1.0, 1.0, 1.0)),
        Replay("every 8 days", Range(3000.0, 3900.0, 5600.0), spread(1900.0, 1.02),
               Range(290.0, 296.0, 300.0), Range(-700.0, -300.0, 400.0), 8,
               Range(0.82, 0.93, 1.09)),
        Replay("whenever seen", Range(3900.0, 4900.0, 6100.0), spread(1500.0, 1.1),
               Range(210.0, 224.0, 240.0), Range(350.0, 720.0, 1100.0), 8,
               Range(1.08, 1.17, 1.25)),
        Replay("the list with the same hours", Range(2500.0, 3200.0, 4100.0), spread(1250.0, 1.1),
               Range(170.0, 182.0, 195.0), Range(-1400.0, -980.0, -520.0), 8,
               Range(0.68, 0.76, 0.88)),
    )  # fmt: skip


# -------------------------------------------------------- the demo's size


def big_season(seed: int = 3) -> SeasonReview:
    """Thirty-six beds with the demo's own journal; the flushes and what they cost are invented."""
    with (DEMO / "journal.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    small = small_season()
    from_on, to_on = small.from_on, small.to_on
    n_days = (to_on - from_on).days + 1
    draw = np.random.default_rng(seed)
    soils = {bed.name: bed.soil for bed in farm().beds}
    entries: dict[tuple[str, str | None], list[tuple[int, datetime, dict[str, str]]]]
    entries = defaultdict(list)
    for row in rows:
        if row["bed"]:
            moment = datetime.fromisoformat(row["happened_at"])
            day = (moment.date() - from_on).days
            if 0 <= day < n_days:
                entries[row["bed"], row["part"] or None].append((day, moment, row))
    strips: list[PlantingStrip] = []
    windows: list[FlushWindow] = []
    passes: list[PassReview] = []
    for (bed, part), found in sorted(entries.items(), key=lambda item: str(item[0])):
        found.sort(key=lambda entry: entry[0])
        spans = _spans(found, n_days)
        done = tuple(
            (day, row["kind"], row["tool"] or row["crop"] or row["kind"])
            for day, _, row in found
            if row["kind"] in ("sow", "plant", "prep", "pass", "hand", "clear")
        )
        falls = [day for day, kind, _ in done if kind in ("pass", "hand", "prep")]
        rises = sorted(int(day) for day in draw.integers(5, n_days - 15, 6))
        most = float(draw.lognormal(4.6, 0.8))
        strips.append(
            PlantingStrip(bed, part, soils[bed], spans, weeds(n_days, rises, falls, most), done)
        )
        for rise in rises:
            windows.append(_window(bed, part, soils[bed], spans, rise, falls, from_on, draw))
        for _, moment, row in found:
            if row["kind"] == "pass":
                did = str(draw.choice(("hit", "little", "in vain"), p=(0.6, 0.3, 0.1)))
                saved = {"hit": 40.0, "little": 3.0, "in vain": 0.0}[did]
                passes.append(
                    PassReview(
                        bed,
                        part,
                        None,
                        row["tool"],
                        moment,
                        did,
                        float(row["work_min"] or 5.0),
                        bool(row["work_min"]),
                        spread(saved * 3),
                        spread(saved),
                        "Invented.",
                    )
                )
    return replace(
        small,
        windows=tuple(windows),
        passes=tuple(passes),
        strips=tuple(strips),
        totals=totals_of(windows, passes),
    )


def _spans(
    found: Sequence[tuple[int, datetime, dict[str, str]]], n_days: int
) -> tuple[tuple[int, int, str | None], ...]:
    spans: list[tuple[int, int, str | None]] = []
    start, crop = 0, None
    for day, _, row in found:
        if row["kind"] in ("sow", "plant", "clear"):
            if day > start:
                spans.append((start, day, crop))
            start, crop = day, None if row["kind"] == "clear" else row["crop"]
    return (*spans, (start, n_days, crop))


def _window(
    bed: str,
    part: str | None,
    soil: str,
    spans: Sequence[tuple[int, int, str | None]],
    rise: int,
    falls: Sequence[int],
    from_on: date,
    draw: np.random.Generator,
) -> FlushWindow:
    opened_at = datetime(from_on.year, from_on.month, from_on.day, 6, tzinfo=ZONE)
    opened_at += timedelta(days=rise)
    ripe_at = opened_at + timedelta(days=float(draw.uniform(3, 6)))
    last_good_at = ripe_at + timedelta(days=float(draw.uniform(2, 8)))
    first, last = ((m.date() - from_on).days for m in (ripe_at, last_good_at))
    crop = next((name for start, end, name in spans if start <= rise < end), None)
    hits = [day for day in falls if first <= day <= last]
    cost = float(draw.lognormal(3.2, 0.9))
    outcome = "hit" if hits else "missed" if cost > 12 else "small"
    reasons = ("never_fit", "crop", "no_hours", "not_done", "not_listed", "no_list")
    reason = str(draw.choice(reasons, p=(0.3, 0.1, 0.3, 0.1, 0.1, 0.1)))
    fit = float(draw.uniform(0, 12))
    span = Range(fit * 0.6, fit, fit * 1.3)
    made = FlushWindow(
        bed, part, crop, soil, opened_at, "rain", ripe_at, last_good_at, last_good_at, "age",
        span, outcome, (), f"{fit:.0f} of your hours were fit; invented.",
        weeds_m2=spread(200.0),
    )  # fmt: skip
    if outcome != "missed":
        return made
    return replace(
        made,
        reason=reason,
        because={"never_fit": "wet", "crop": "crop_tender", "no_hours": "no_hours"}.get(reason),
        own_miss="model" if reason == "not_listed" else None,
        best_at=ripe_at,
        best_tool=str(draw.choice(("tine weeder", "wheel hoe", "finger weeder"))),
        work_min=7.0,
        cost_min=spread(cost),
        yield_min=spread(cost / 8),
    )


def bare_season() -> SeasonReview:
    """No journal at all: weather and fit days of one year on record, and nothing else."""
    small = small_season()
    return replace(
        small,
        windows=(),
        passes=(),
        strips=(),
        scores=(),
        replays=(),
        totals={},
        fit_days=fit_days(small.from_on, small.to_on, ("sandy", "loam"), 0),
        notes=("No planting is on record, so no flush can be told.",),
    )


def half_season() -> SeasonReview:
    """The small season as of 20 June: not over, and its last flushes still open."""
    small = small_season()
    to_on = date(2013, 6, 20)
    n_days = (to_on - small.from_on).days + 1
    windows = tuple(w for w in small.windows if w.ripe_at.date() <= to_on)
    windows = (*windows[:-1], replace(windows[-1], outcome="open", reason=None, cost_min=NONE))
    strips = tuple(
        replace(
            strip,
            crops=tuple((a, min(b, n_days), name) for a, b, name in strip.crops if a < n_days),
            weeds_m2=strip.weeds_m2[:n_days],
            done=tuple(entry for entry in strip.done if entry[0] < n_days),
        )
        for strip in small.strips
    )
    return replace(
        small,
        to_on=to_on,
        as_of=datetime(2013, 6, 20, 20, tzinfo=ZONE),
        is_over=False,
        windows=windows,
        strips=strips,
        rain_mm=small.rain_mm[:n_days],
        fit_days=tuple(week for week in small.fit_days if week.week_on <= to_on),
        totals=totals_of(windows, small.passes),
    )
