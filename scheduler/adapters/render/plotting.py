"""What the terminal plots share: a plain figure, its lines, and midnights along the days."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from scheduler.adapters.render.phrases import WEEKDAYS


def begin_figure(figure: Any, width: int, height: int) -> None:
    """Clear a figure of plotext and give it its size, without colours."""
    figure.clear()
    figure.plot_size(width, height)
    figure.theme("colorless")


def figure_lines(figure: Any) -> list[str]:
    """The drawn lines of a figure, blank ones left out; the figure is cleared."""
    text: str = figure.build().string(colorless=True)
    figure.clear()
    return [line.rstrip() for line in text.splitlines() if line.strip()]


def midnight_ticks(
    now: datetime, zone: ZoneInfo, span: tuple[float, float], every_d: int
) -> tuple[list[float], list[str]]:
    """Midnights of the farm's clock counted from today's, every so many days within a span [d]."""
    today = now.astimezone(zone).date()
    first, last = int(span[0]) // every_d - 1, int(span[1]) // every_d + 1
    places, words = [], []
    for step in range(first, last + 1):
        day = today + timedelta(days=step * every_d)
        midnight = datetime(day.year, day.month, day.day, tzinfo=zone).astimezone(UTC)
        place = (midnight - now) / timedelta(days=1)
        if span[0] <= place <= span[1]:
            places.append(place)
            words.append(f"{WEEKDAYS[day.weekday()]} {day.day}")
    return places, words
