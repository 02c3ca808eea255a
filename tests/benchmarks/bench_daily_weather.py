"""The list from daily weather against the list from hourly weather, over the demo season.

`python -m tests.benchmarks.bench_daily_weather [--without-gauge]`. Twelve mornings of the demo
farm, each listed twice: with the station's hours, and with nothing of the station but the lowest
and the highest temperature and the rain of each civil day. Journal and forecasts are the same; with
`--without-gauge` the own rain entries are left out of both. Prints figures, asserts nothing; takes
minutes.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from scipy.stats import spearmanr

from scheduler import service
from scheduler.adapters.demo import write_demo_farm
from scheduler.adapters.farmfile import read_farm
from scheduler.adapters.journal import FarmDatabase, open_farm_database
from scheduler.records import BedAnswer, Event, Forecast, Kind, Morning, WeatherValue

FIRST, EVERY_DAYS, N_MORNINGS = date(2013, 4, 16), 12, 12
AT = time(5, 30)
KNOWN_AFTER = timedelta(hours=1)  # the end of the day
LEAST_HOURS = 20  # of a day that has a daily value


class Store:
    """The demo's journal and weather; the weather by the day if so wished."""

    def __init__(self, database: FarmDatabase, zone: ZoneInfo, *, is_daily: bool, has_gauge: bool):
        self._database = database
        self._zone = zone
        self._is_daily = is_daily
        self._has_gauge = has_gauge

    def events(self, known_at: datetime) -> tuple[Event, ...]:
        """As the journal, with or without its rain."""
        events = self._database.events(known_at)
        return events if self._has_gauge else tuple(e for e in events if e.kind != "rain")

    def weather_values(
        self, known_at: datetime, start_at: datetime, end_at: datetime
    ) -> Sequence[WeatherValue]:
        """As the database, or made daily."""
        values = self._database.weather_values(known_at, start_at, end_at)
        return daily(values, self._zone, known_at) if self._is_daily else values

    def latest_forecast(self, known_at: datetime) -> Forecast | None:
        """As the database."""
        return self._database.latest_forecast(known_at)

    def forecasts_since(self, known_at: datetime, issued_from: datetime) -> Sequence[Forecast]:
        """As the database."""
        return self._database.forecasts_since(known_at, issued_from)


def daily(values: Sequence[WeatherValue], zone: ZoneInfo, known_at: datetime) -> list[WeatherValue]:
    """Lowest, highest and rain of every civil day that is over and known well enough."""
    by_day: dict[tuple[date, str], list[float]] = {}
    for value in values:
        is_meant = value.kind is Kind.OBSERVED and value.variable in ("rain_mm", "air_temp_c")
        if is_meant and not value.suspect:
            day = value.start_at.astimezone(zone).date()
            by_day.setdefault((day, value.variable), []).append(value.value)
    result = []
    for (day, variable), found in sorted(by_day.items()):
        start, end = (
            datetime.combine(each, time(0), zone).astimezone(UTC)
            for each in (day, day + timedelta(days=1))
        )
        if len(found) < LEAST_HOURS or end + KNOWN_AFTER > known_at:
            continue
        made = (
            [("rain_mm", sum(found))]
            if variable == "rain_mm"
            else [("air_temp_min_c", min(found)), ("air_temp_max_c", max(found))]
        )
        for name, amount in made:
            known = end + KNOWN_AFTER
            result.append(WeatherValue(name, start, end, amount, Kind.OBSERVED, "daily", known))
    return result


def lines_of(morning: Morning) -> dict[tuple[str, str], BedAnswer]:
    """Every line by bed and part; a pass that found no hours keeps its `go`."""
    return {(a.bed, a.part or ""): a for a in (*morning.beds, *morning.not_reached)}


def places(lines: dict[tuple[str, str], BedAnswer]) -> dict[tuple[str, str], float]:
    """The rank of each line; what is not ranked comes last together."""
    last = 1.0 + max((a.rank for a in lines.values() if a.rank is not None), default=0)
    return {key: last if a.rank is None else float(a.rank) for key, a in lines.items()}


def correlation(one: Sequence[float], two: Sequence[float]) -> float:
    """Spearman's rank correlation; NaN where either side has no order."""
    if len(one) < 3 or len(set(one)) < 2 or len(set(two)) < 2:
        return float("nan")
    return float(spearmanr(one, two).statistic)


def main() -> None:
    """Compare twelve mornings."""
    has_gauge = "--without-gauge" not in sys.argv
    print(f"own gauge in both: {'yes' if has_gauge else 'no'}")
    print("morning     lines  same verdict  go hourly/daily/both  order of all  of shared go")
    same, orders, shared_orders, changes = [], [], [], Counter[str]()
    counts, sures = np.zeros(3), []
    with tempfile.TemporaryDirectory() as folder:
        path = write_demo_farm(Path(folder) / "farm")
        farm = read_farm(path)
        zone = ZoneInfo(farm.place.time_zone)
        with open_farm_database(path) as database:
            for i in range(N_MORNINGS):
                day = FIRST + timedelta(days=EVERY_DAYS * i)
                now = datetime.combine(day, AT, zone).astimezone(UTC)
                found = []
                for is_daily in (False, True):
                    store = Store(database, zone, is_daily=is_daily, has_gauge=has_gauge)
                    found.append(lines_of(service.morning(farm, store, store, now)))
                hours, days = found
                keys = sorted(hours.keys() & days.keys())
                pairs = [(hours[key], days[key]) for key in keys]
                same += [a.verdict == b.verdict for a, b in pairs]
                changes.update(
                    f"{a.verdict} ({a.because}) -> {b.verdict} ({b.because})"
                    for a, b in pairs
                    if a.verdict != b.verdict
                )
                at, on = places(hours), places(days)
                order = correlation([at[k] for k in keys], [on[k] for k in keys])
                go = [k for k in keys if hours[k].rank is not None and days[k].rank is not None]
                shared = correlation([at[k] for k in go], [on[k] for k in go])
                orders.append(order)
                shared_orders.append(shared)
                sures += [
                    (a.sure, b.sure) for a, b in pairs if a.sure is not None and b.sure is not None
                ]
                n = [sum(a.rank is not None for a in one.values()) for one in found]
                counts += (*n, len(go))
                share = float(np.mean([a.verdict == b.verdict for a, b in pairs]))
                print(
                    f"{day}  {len(keys):5d}  {share:12.2f}  {n[0]:9d}/{n[1]:3d}/{len(go):3d}"
                    f"    {order:12.2f}  {shared:12.2f}",
                    flush=True,
                )
    print(f"share of equal verdicts            {np.mean(same):.3f} of {len(same)} lines")
    print(f"rank correlation, all lines        {np.nanmedian(orders):.2f} (median of mornings)")
    print(f"rank correlation, shared go lines  {np.nanmedian(shared_orders):.2f}")
    print(f"go lines hourly, daily, both       {counts.astype(int).tolist()}")
    if sures:
        both = np.array(sures, dtype=np.float64)
        print(f"mean sure where both have one      {both[:, 0].mean():.2f} {both[:, 1].mean():.2f}")
    for text, count in changes.most_common(8):
        print(f"  {count:3d}  {text}")


if __name__ == "__main__":
    main()
