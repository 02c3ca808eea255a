"""Writes the hand-made mornings and their pages; run on purpose, with this command:

PYTHONPATH=. python tests/golden/make_mornings.py

Read the difference of the pages before committing it: the tests compare against these files.

The farm and every figure are invented; no model is run here.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter

from scheduler.adapters.render.answer_json import answer_text
from scheduler.adapters.render.text import today_text
from scheduler.records import (
    Action,
    Bed,
    BedAnswer,
    Blocked,
    CrustAnswer,
    DayStrip,
    Farm,
    FlushAnswer,
    Morning,
    Place,
    Plan,
    RainAhead,
    Range,
    Refusal,
    Setup,
    Soil,
    SoilAnswer,
    Tool,
    WeatherAnswer,
    WorkPlan,
)

HERE = Path(__file__).parent
ZONE = ZoneInfo("America/New_York")
DAY = date(2013, 5, 14)
NOW = datetime(2013, 5, 14, 5, 30, tzinfo=ZONE)


def at(day: int, hour: int, minute: int = 0, month: int = 5) -> datetime:
    """A local moment of 2013."""
    return datetime(2013, month, day, hour, minute, tzinfo=ZONE)


SOILS = {
    "A": "sandy loam",
    "B": "silt loam",
    "C": "silt loam",
    "D": "clay loam",
}
DRY_FROM = {"sandy loam": NOW, "silt loam": at(14, 10, 30), "clay loam": at(16, 12)}
N_BEDS = {"A": 8, "B": 8, "C": 12, "D": 8}


def farm() -> Farm:
    """An invented farm of 36 beds on three soils."""
    beds = tuple(
        Bed(f"{block}{number}", 18.3, 0.76, SOILS[block])
        for block, count in N_BEDS.items()
        for number in range(1, count + 1)
    )
    return Farm(
        name="Alder Bend",
        place=Place(40.7, -74.2, 3.0, "America/New_York"),
        units="metric",
        seed=7,
        soils={
            "sandy loam": Soil("sandy loam", "sandy loam", None, None, 2.5),
            "silt loam": Soil("silt loam", "silt loam", None, None, 3.5),
            "clay loam": Soil("clay loam", "clay loam", None, None, 3.0),
        },
        beds=beds,
        tools=(
            Tool("tine weeder", "tine weeder", 15, 0.8, setups=(Setup("blind"), Setup("hard"))),
            Tool("sweeps", "sweeps", 25, 0.9),
            Tool("wheel hoe", "wheel hoe", 20, 0.6, travel="by hand"),
        ),
        work=WorkPlan(
            time(7),
            time(19),
            (3, 3, 0, 3, 3, 4, 0),
            (Blocked(2, time(7), time(19), "harvest"),),
        ),
        plans=(
            Plan("D7", "leek", date(2013, 6, 12), is_sown=False),
            Plan("A7", "carrot", date(2013, 5, 28)),
            Plan("A2", "beet", date(2013, 5, 20)),
        ),
    )


def flush(bed: str) -> FlushAnswer | None:
    """One invented flush for each block of beds."""
    block, number = bed[0], int(bed[1:])
    if block == "A" and number > 5:
        return FlushAnswer(None, None, None, None, None, None, None, at(19, 9))
    start = 11 + number // 3
    return FlushAnswer(
        at(start - 7, 15),
        "rain",
        60.0 + 8 * number,
        at(start, 9),
        at(start + 3, 12),
        at(start + 6, 18),
        Range(0.2, 0.45, 0.7),
        None,
    )


def answer(bed: str, verdict: str, because: str, **changes: object) -> BedAnswer:
    """The verdict of one bed, with its soil, crust and flush filled in."""
    soil = SOILS[bed[0]]
    crust = CrustAnswer(0.2, at(16, 14) if bed[0] == "C" and int(bed[1:]) <= 6 else None, 0.5, None)
    base = BedAnswer(
        rank=None,
        bed=bed,
        part=None,
        crop=None,
        verdict=verdict,
        because=because,
        until=None,
        sure=0.8,
        action=None,
        soil=SoilAnswer(0.9 if soil == "sandy loam" else 0.2, DRY_FROM[soil], 0.7, 11.5),
        crust=crust,
        flush=flush(bed),
        why=(),
        soil_name=soil,
    )
    return replace(base, **changes)  # type: ignore[arg-type]


def go(
    rank: int,
    bed: str,
    crop: str | None,
    on: date | None,
    tool: tuple[str, str | None, float],
    hours: tuple[int, int],
    minutes: tuple[float, float],
    sure: float,
    why: tuple[str, ...],
    note: str = "",
    **changes: object,
) -> BedAnswer:
    """One line of today's list."""
    start = max(at(14, hours[0]), DRY_FROM[SOILS[bed[0]]])
    action = Action(tool[0], tool[1], tool[2], start, at(14, hours[1]), *minutes, note)
    facts: dict[str, object] = {
        "rank": rank,
        "crop": crop,
        "established_on": on,
        "sure": sure,
        "action": action,
        "why": why,
        "last_good_at": at(16, 18),
    }
    return answer(bed, "go", "", **(facts | changes))


TINE, SWEEPS, HOE = ("tine weeder", "blind", 15), ("sweeps", None, 25), ("wheel hoe", None, 20)


def spring() -> Morning:
    """A busy morning: three soils, eight lines, and more work than hours."""
    beds = [
        go(
            1,
            "B4",
            "carrot",
            date(2013, 5, 8),
            TINE,
            (7, 18),
            (6, 10),
            0.84,
            (
                "carrot up tomorrow: last good hour 18:00 today",
                "threads most today, 78 degree-days since 6 May",
                "no rain before 18:00, so they dry",
            ),
            last_good_at=at(14, 18),
            crust=CrustAnswer(0.4, at(15, 12), 0.6, at(17, 12)),
            note="last time here: fair, one notch closer",
            refusals=(
                Refusal("sweeps", "crop_tender", "the rows of carrot are not to be seen yet"),
                Refusal("wheel hoe", "crop_tender", "the rows of carrot are not to be seen yet"),
            ),
        ),
        go(
            2,
            "B5",
            "beet",
            date(2013, 5, 6),
            TINE,
            (7, 18),
            (6, 0),
            0.71,
            (
                "threads since 12 May, most tomorrow, 84 degree-days",
                "beet not up before Fri",
            ),
        ),
        go(
            3,
            "A2",
            None,
            None,
            TINE,
            (7, 18),
            (5, 0),
            0.97,
            (
                "threads most today, 66 degree-days since the rain of 4 May; 9 mm dry on top",
                "sowing planned on it",
            ),
            plan="stale bed for beet 20 May: kill the flush 14-16 May, shallow",
            plan_days=(date(2013, 5, 14), date(2013, 5, 16)),
        ),
        go(
            4,
            "A1",
            "lettuce",
            date(2013, 4, 29),
            SWEEPS,
            (7, 18),
            (8, 5),
            0.9,
            ("two-leaf weeds between rows, threads most Fri; dry 25 mm down",),
            is_sown=False,
        ),
        go(
            5,
            "A3",
            "kale",
            date(2013, 4, 24),
            SWEEPS,
            (7, 18),
            (8, 0),
            0.88,
            ("threads most today, 84 degree-days since the rain of 4 May",),
            is_sown=False,
        ),
        go(
            6,
            "B1",
            "spring cabbage, pointed",
            date(2013, 4, 20),
            SWEEPS,
            (7, 18),
            (8, 0),
            0.66,
            ("threads most today, 68 degree-days; loosened 11 days ago",),
            is_sown=False,
        ),
        go(
            7,
            "B2",
            "pea",
            date(2013, 4, 12),
            HOE,
            (7, 18),
            (12, 0),
            0.62,
            ("threads most tomorrow, 76 degree-days since the pass of 5 May",),
            part="north",
            note="one end is blocked: back out 18 m after each run; lift over B2/south "
            "(bean is coming up)",
        ),
        go(
            8,
            "B3",
            "onion",
            date(2013, 4, 18),
            HOE,
            (7, 18),
            (14, 0),
            0.58,
            ("threads most tomorrow",),
            is_sown=False,
            note="last time here: fair",
        ),
        answer("B2", "wait", "crop_tender", part="south", crop="bean", until=at(20, 9)),
    ]
    beds += [answer(f"A{n}", "nothing", "clean") for n in (4, 6, 8)]
    later = "stale bed for carrot 28 May: prepare it by 16 May"
    by = date(2013, 5, 16)
    beds += [answer("A7", "nothing", "clean", plan=later, plan_days=(by, by))]
    beds += [
        answer(
            "A5",
            "hand",
            "no_fit",
            crop="leek",
            minutes={"by_hand": Range(25, 40, 70)},
            last_call_on=date(2013, 5, 18),
        )
    ]
    beds += [answer(f"B{n}", "wait", "weeds_small", until=at(17, 9)) for n in (7, 8)]
    beds += [
        answer(f"C{n}", "wait", "wet", until=at(16, 12) if n < 7 or n == 9 else at(17, 8))
        for n in range(1, 13)
        if n != 11
    ]
    beds += [answer("C11", "wait", "rain_after", until=at(16, 10), crop="spinach")]
    beds += [
        answer(f"D{n}", "wait", "wet", until=at(16, 12), last_call_on=date(2013, 5, day))
        for n, day in zip(range(1, 7), (9, 9, 9, 21, 21, 22), strict=True)
    ]
    beds += [
        answer(
            "D7",
            "wait",
            "unknown",
            until=at(15, 7),
            look={
                "ask": "count threads in a hand's breadth of soil",
                "where": "middle",
                "gain_min": 35,
            },
            plan="stale bed for leek 12 Jun: prepare it by 24 May",
            plan_days=(date(2013, 5, 24), date(2013, 5, 24)),
        ),
        answer("D8", "wait", "crop_up", until=at(22, 9), crop="bean"),
    ]
    left = (
        replace(
            answer("B6", "wait", "no_hours", until=at(16, 10), crop="radish"),
            action=Action("wheel hoe", None, 20, at(14, 10, 30), at(14, 18), 14, 0),
            last_good_at=at(16, 18),
        ),
    )
    return Morning(
        farm=farm(),
        as_of=NOW,
        inputs={
            "farm_toml_version": 3,
            "n_events": 212,
            "last_event": "2013-05-13T19:10:00-04:00",
            "parameters_sha256": "0" * 64,
        },
        n_soil_members=32,
        n_particles=0,
        attribution=("surface observations, public domain",),
        weakest_inputs=("flush size (not looked at)", "hand seconds (not timed here)"),
        weather=WeatherAnswer(
            at(14, 4, 51),
            "Alder Bend airfield",
            0.65,
            at(13, 20),
            ("Own gauge 18 mm on 11 May outranks the station's 3 mm", "2 hours of rain not known"),
        ),
        hours_available=3.0,
        minutes_planned=97.0,
        setup_changes=3,
        beds=tuple(beds),
        not_reached=left,
        cautions=(
            "The machine's manual rules: disengage, stop the engine before touching a tool",
            "nobody near; ears and eyes; not on a wet slope",
            "Thunder: go in, stay in 30 min after the last",
        ),
        day=DAY,
        outlook_line="Rain after 18:00, 7 in 10, 4-12 mm",
        rain_ahead=RainAhead(at(14, 18), 0.7, Range(4.0, 7.0, 12.0)),
    )


def wet() -> Morning:
    """The morning after 25 mm: no bed can be worked, no forecast, old weather."""
    whole = spring()
    beds = tuple(
        answer(
            bed.name,
            "wait",
            "wet",
            until={"sandy loam": at(15, 13), "silt loam": at(17, 11), "clay loam": None}[bed.soil],
            soil=SoilAnswer(
                0.0,
                {"sandy loam": at(15, 13), "silt loam": at(17, 11), "clay loam": None}[bed.soil],
                1.2,
                9.0,
            ),
            crust=None,
            flush=None,
            sure=None,
        )
        for bed in whole.farm.beds
    )
    return replace(
        whole,
        beds=beds,
        not_reached=(),
        minutes_planned=0.0,
        setup_changes=0,
        outlook_line="",
        rain_ahead=None,
        weather=WeatherAnswer(
            NOW - timedelta(hours=50), "Alder Bend airfield", 50.0, None, ("No network for 2 days",)
        ),
        weakest_inputs=(),
        attribution=(),
    )


PAGES = ((80, "metric"), (80, "us"), (40, "metric"))
MORNINGS = {"spring": spring, "wet": wet}


if __name__ == "__main__":
    DayStrip.__pydantic_config__ = {"arbitrary_types_allowed": True}  # no strip is stored
    for name, make in MORNINGS.items():
        morning = make()
        stored = TypeAdapter(Morning).dump_json(morning, indent=1)
        (HERE / f"morning_{name}.json").write_bytes(stored + b"\n")
        (HERE / f"morning_{name}.answer.json").write_text(answer_text(morning))
        for width, units in PAGES:
            page = today_text(morning, width, units)
            (HERE / f"morning_{name}.{width}.{units}.txt").write_text(page)
