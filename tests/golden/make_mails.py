"""Three mornings of the demo farm as mails: an ordinary one, one whose yesterday was wrong, one
whose station is silent. Run on purpose, from the root of the repository:

PYTHONPATH=. python tests/golden/make_mails.py            renders the stored records anew
PYTHONPATH=. python tests/golden/make_mails.py --compute  computes the records first, by the demo

Read the difference of the mails before committing it: the tests compare against these files.
"""

from __future__ import annotations

import json
import math
import sys
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from pydantic import TypeAdapter

from scheduler import service
from scheduler.adapters.demo import write_demo_farm
from scheduler.adapters.farmfile import read_farm
from scheduler.adapters.journal import FarmDatabase, open_farm_database
from scheduler.adapters.mail.daily import KnownBy
from scheduler.adapters.render.answer_json import answer
from scheduler.adapters.render.mail_html import mail_html
from scheduler.adapters.render.mail_text import mail_text
from scheduler.adapters.render.news_words import subject_line
from scheduler.records import DayStrip, Farm, Morning, MorningNews, WeatherValue

HERE = Path(__file__).parent
ZONE = ZoneInfo("America/New_York")
CID = "hours.morning@example.org"
SILENCE = timedelta(days=3)
DIGITS = 6  # of a number that is stored

MAILS = {
    "ordinary": datetime(2013, 5, 14, 5, 30, tzinfo=ZONE),
    "corrected": datetime(2013, 4, 20, 5, 30, tzinfo=ZONE),
    "silent": datetime(2013, 5, 27, 5, 30, tzinfo=ZONE),
}


@dataclass(frozen=True)
class Stored:
    """What a mail is made of."""

    morning: Morning
    news: MorningNews


# ------------------------------------------------------------------- the parts


def mail_parts(stored: Stored) -> dict[str, str]:
    """The text part below its subject, and the HTML part, by the ends of their files' names."""
    morning, news = stored.morning, stored.news
    text = f"Subject: {subject_line(morning, news)}\n\n{mail_text(morning, news)}"
    return {"txt": text, "html": mail_html(morning, news, (), CID) + "\n"}


# --------------------------------------------------------------------- records


def read(name: str) -> Stored:
    """A stored morning with its strip, and its news."""
    whole = json.loads((HERE / f"mail_{name}.json").read_text(encoding="utf-8"))
    morning = TypeAdapter(Morning).validate_python(whole["morning"])
    news = TypeAdapter(MorningNews).validate_python(whole["news"])
    return Stored(replace(morning, strip=_strip(whole["strip"])), news)


def write(name: str, stored: Stored) -> None:
    """Store a morning and its news."""
    strip = stored.morning.strip
    assert strip is not None
    whole = {
        "morning": TypeAdapter(Morning).dump_python(
            replace(stored.morning, strip=None), mode="json"
        ),
        "news": TypeAdapter(MorningNews).dump_python(stored.news, mode="json"),
        "strip": {
            "start_at": strip.start_at.isoformat(),
            "n_past": strip.n_past,
            "rain_mm": strip.rain_mm.tolist(),
            "rain_high_mm": strip.rain_high_mm.tolist(),
            "surface_rel_water": {k: v.tolist() for k, v in strip.surface_rel_water.items()},
            "workable_frac": {k: v.tolist() for k, v in strip.workable_frac.items()},
            "is_open": strip.is_open.tolist(),
        },
    }
    text = json.dumps(_rounded(whole), indent=1, allow_nan=False)
    (HERE / f"mail_{name}.json").write_text(f"{text}\n", encoding="utf-8")


def _strip(stored: Mapping[str, Any]) -> DayStrip:
    return DayStrip(
        start_at=datetime.fromisoformat(stored["start_at"]),
        n_past=stored["n_past"],
        rain_mm=np.array(stored["rain_mm"]),
        rain_high_mm=np.array(stored["rain_high_mm"]),
        surface_rel_water={k: np.array(v) for k, v in stored["surface_rel_water"].items()},
        workable_frac={k: np.array(v) for k, v in stored["workable_frac"].items()},
        is_open=np.array(stored["is_open"]),
    )


def _rounded(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _rounded(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(each) for each in value]
    if isinstance(value, float):
        assert math.isfinite(value)
        return float(f"{value:.{DIGITS}g}")
    return value


# ------------------------------------------------------------------- computing


class SilentStation(KnownBy):
    """A farm's database of which no weather was read after a moment; forecasts come as ever."""

    def __init__(self, database: FarmDatabase, silent_from: datetime) -> None:
        super().__init__(database, datetime.max.replace(tzinfo=silent_from.tzinfo))
        self._silent_from = silent_from

    def weather_values(
        self, known_at: datetime, start_at: datetime, end_at: datetime
    ) -> Sequence[WeatherValue]:
        """As of the moment of silence."""
        until = min(known_at, self._silent_from)
        return self._database.weather_values(until, start_at, end_at)

    def weather_columns(self, known_at: datetime, *more: Any, **options: Any) -> Any:
        """As of the moment of silence."""
        return self._database.weather_columns(min(known_at, self._silent_from), *more, **options)


def computed(farm: Farm, database: FarmDatabase, weather: Any, now: datetime) -> Stored:
    """A morning after the list of the day before it."""
    yesterday = now - timedelta(days=1)
    before = service.morning(farm, database, weather, yesterday, lists=database)
    database.write_list(before.as_of, yesterday, answer(before))
    found = service.morning(farm, database, weather, now, lists=database)
    return Stored(found, service.morning_news(farm, database, database, found, weather, now))


def compute(name: str) -> Stored:
    """One of the mornings, by the program as it is now."""
    now = MAILS[name]
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "farm"
        write_demo_farm(folder)
        with open_farm_database(folder) as database:
            weather = SilentStation(database, now - SILENCE) if name == "silent" else database
            return computed(read_farm(folder), database, weather, now)


if __name__ == "__main__":
    DayStrip.__pydantic_config__ = {"arbitrary_types_allowed": True}  # stored beside the morning
    for name in MAILS:
        if "--compute" in sys.argv:
            write(name, compute(name))
        for end, part in mail_parts(read(name)).items():
            (HERE / f"mail_{name}.{end}").write_text(part, encoding="utf-8")
