"""What a grower asks in words: moments ahead, rain, water, passes, and what is refused."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from scheduler.adapters.what_if_words import Asked, Names, asked_changes, moment_ahead
from scheduler.errors import UsageError
from scheduler.planning.whatif import Changes
from scheduler.records import Bed
from tests.scenes.made import made_farm

ZONE = ZoneInfo("America/New_York")
NOW = datetime(2013, 5, 14, 5, 30, tzinfo=ZONE)  # a Tuesday
FARM = made_farm([Bed("B4", 18.0, 0.75, "silt"), Bed("B5", 18.0, 0.75, "silt")])
NAMES = Names(["B4", "B5"], [tool.name for tool in FARM.tools], ["carrot"], {})


def asked(**said: object) -> tuple[Changes, tuple[str, ...]]:
    return asked_changes(Asked(**said), FARM, NAMES, NOW)  # type: ignore[arg-type]


def at(day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2013, 5, day, hour, minute, tzinfo=ZONE)


@pytest.mark.parametrize(
    ("words", "moment"),
    [
        ("now", NOW),
        ("20:00", at(14, 20)),
        ("today 9:15", at(14, 9, 15)),
        ("tonight", at(14, 20)),
        ("tonight 21:30", at(14, 21, 30)),
        ("this afternoon", at(14, 15)),
        ("this evening", at(14, 18)),
        ("tomorrow", at(15, 10)),
        ("tomorrow 6:00", at(15, 6)),
        ("tomorrow morning", at(15, 9)),
        ("Thu noon", at(16, 12)),
        ("thursday at 7:00", at(16, 7)),
        ("tuesday", at(21, 10)),
        ("2013-05-20 08:00", at(20, 8)),
        ("2013-05-20T08:00", at(20, 8)),
        ("in 2 h", at(14, 7, 30)),
        ("in 1.5 hours", at(14, 7)),
    ],
)
def test_moments_ahead(words: str, moment: datetime) -> None:
    assert moment_ahead(words, NOW, ZONE, "--at") == moment


@pytest.mark.parametrize("words", ["soon", "25:00", "noonish", "", "2013-05-40 10:00", "9.30"])
def test_no_moment_is_refused(words: str) -> None:
    with pytest.raises(UsageError, match="--at:"):
        moment_ahead(words, NOW, ZONE, "--at")


def test_rain_to_come() -> None:
    (one,) = asked(rain="15 mm", at="tonight 20:00")[0].rain
    assert (one.rain_mm, one.start_at, one.end_at) == (15.0, at(14, 20), at(14, 23))
    (other,) = asked(rain="0.5 in tonight 21:00", over="90 min")[0].rain
    assert other.rain_mm == pytest.approx(12.7)
    assert (other.start_at, other.end_at) == (at(14, 21), at(14, 22, 30))
    (soon,) = asked(rain="15 mm")[0].rain
    assert soon.start_at == at(14, 6)


def test_rain_that_fell_is_as_log_rain_has_it_and_tells_its_line() -> None:
    changes, to_log = asked(fell="14 mm", when="last night")
    (event,) = changes.logged
    assert (event.kind, event.data["rain_mm"]) == ("rain", 14.0)
    assert event.data["start_at"] == at(13, 18).astimezone(ZoneInfo("UTC")).isoformat()
    assert to_log == ("whitethread log rain 14 mm last night",)


def test_water_and_passes_now_and_ahead() -> None:
    changes, to_log = asked(
        water=("B4 8 mm", "B5 8 mm tomorrow 6:00"), passes=("B4 tines tomorrow 10:00", "B5 hoe")
    )
    assert not to_log
    assert [(e.kind, e.bed, e.happened_at) for e in changes.acts] == [
        ("water", "B4", NOW),
        ("water", "B5", at(15, 6)),
        ("pass", "B4", at(15, 10)),
        ("pass", "B5", NOW),
    ]
    assert dict(changes.acts[2].data) == {"tool": "tines", "depth_mm": 18.0}
    (later,) = asked(water=("B4 8 mm",), at="tonight 19:00")[0].acts
    assert later.happened_at == at(14, 19)


@pytest.mark.parametrize(
    "words", ["B4 tines yesterday 14:00", "B4 tines 4:00", "B4 tines 13 May", "B4 tines last night"]
)
def test_a_pass_that_was_made_is_as_if_logged(words: str) -> None:
    changes, to_log = asked(passes=(words,))
    (event,) = changes.logged
    assert not changes.acts
    assert event.happened_at < NOW
    assert event.happened_at > NOW - timedelta(days=2)
    assert to_log == (f"whitethread log pass {words}",)


def test_hours() -> None:
    assert asked(hours="5")[0].hours_today_h == 5.0
    assert asked(hours="90 min")[0].hours_today_h == 1.5
    assert asked(is_skipped=True)[0].hours_today_h == 0.0
    assert asked()[0] == Changes()
    assert Asked().is_empty


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"rain": "15"}, "--rain: found '15'; write an amount .* 0.6 in"),
        ({"rain": ""}, "--rain: found ''"),
        ({"rain": "1500 mm"}, "0 to 600 mm"),
        ({"rain": "15 mm", "at": "soon"}, "--at: found 'soon'"),
        ({"rain": "15 mm", "at": "4:00"}, "which has passed"),
        ({"rain": "15 mm", "over": "3 mm"}, "--over: "),
        ({"rain": "15 mm", "over": "90 h"}, "up to 48 h"),
        ({"over": "3 h"}, "give --rain too"),
        ({"at": "tonight"}, "give --rain too"),
        ({"when": "last night"}, "give --fell too"),
        ({"fell": "14 mm", "when": "tomorrow"}, "--fell: "),
        ({"fell": "much"}, "--fell: "),
        ({"water": ("B9 8 mm",)}, "--water: .*'B9'"),
        ({"water": ("B4",)}, "--water: "),
        ({"passes": ("B4 rake now",)}, "--pass: "),
        ({"passes": ("tines now",)}, "--pass: "),
        ({"passes": ("B4 tines soonish",)}, "cannot read 'soonish'.*or ahead, last: now, 20:00"),
        ({"hours": "many"}, "--hours: found 'many'; give hours of today"),
        ({"hours": "-2"}, "--hours: found '-2'; .* 0 to 24"),
        ({"hours": "30"}, "0 to 24"),
        ({"hours": "5", "is_skipped": True}, "--skip-today"),
    ],
)
def test_bad_words_are_refused_in_one_line(said: dict[str, object], words: str) -> None:
    with pytest.raises(UsageError, match=words) as refused:
        asked(**said)
    assert "\n" not in str(refused.value)
