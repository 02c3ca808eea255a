"""Mornings, news and settings that the tests of the mail share; nothing is computed."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time, timedelta
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from pydantic import TypeAdapter

from scheduler.adapters.mail.settings import MailSettings
from scheduler.records import DayStrip, ListLine, Morning, MorningNews

GOLDEN = Path(__file__).parents[1] / "golden"
ZONE = ZoneInfo("America/New_York")
NOW = datetime(2013, 5, 14, 5, 30, tzinfo=ZONE)  # a Tuesday
MESSAGE_ID = "<morning.2013-05-14.0a1b2c3d@example.org>"
SETTINGS = MailSettings(
    to=("Field crew <crew@example.org>", "grower@example.org"),
    sender="Alder Bend <farm@example.org>",
    reply_to="grower@example.org",
    host="mail.example.org",
    port=587,
    security="starttls",
    user=None,
    password_env=None,
    password_file=None,
    ca_file=None,
    send_at=time(5, 30),
    cut_off=time(11),
    evening_note=False,
    contact="Kim, in the barn",
    subject="Alder Bend",
    time_zone="America/New_York",
)


def strip(soils: tuple[str, ...] = ("sandy loam", "silt loam", "clay loam")) -> DayStrip:
    """A day before and two after: 14 mm fell last evening, 6 mm are to come this evening."""
    hours = np.arange(72)
    rain = np.zeros(72)
    rain[14:18] = (2.0, 6.0, 4.0, 2.0)  # Mon 19:00-23:00
    rain[37:40] = (1.0, 3.0, 2.0)  # Tue 18:00-21:00
    high = np.where(hours >= 24, 2.5 * rain, rain)
    dry_at = {name: 24 + 5 * place for place, name in enumerate(soils)}  # 05:00, 10:00, 15:00
    return DayStrip(
        start_at=NOW - timedelta(hours=24, minutes=30),
        n_past=24,
        rain_mm=rain,
        rain_high_mm=high,
        surface_rel_water={
            name: 0.6 + 0.5 / (1.0 + np.exp((hours - at) / 3.0)) for name, at in dry_at.items()
        },
        workable_frac={
            name: np.where((hours >= at) & (hours < 37), 0.9, 0.1) for name, at in dry_at.items()
        },
        is_open=((hours + 5) % 24 >= 7) & ((hours + 5) % 24 < 19),
    )


def morning(name: str = "spring", *, has_strip: bool = True) -> Morning:
    """A stored morning, with the hours around it."""
    return replace(_stored(name), strip=strip() if has_strip else None)


@cache
def _stored(name: str) -> Morning:
    return TypeAdapter(Morning).validate_json((GOLDEN / f"morning_{name}.json").read_text())


NEWS = MorningNews(
    silent_on=date(2013, 5, 13),
    n_silent_days=1,
    unlogged=(
        ListLine(5, "A3", None, "sweeps"),
        ListLine(1, "B4", None, "tine weeder"),
        ListLine(2, "B2", "north", "wheel hoe"),
    ),
    corrections=("Yesterday's list had no rain in sight; 14 mm fell from 19:00.",),
    list_on=date(2013, 5, 13),
)
NOTICES = ("No weather came since Mon 04:00: the server did not answer.",)
