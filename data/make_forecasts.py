"""Make the demo's forecast archive: invented, from the recorded weather plus stated errors.

Run `python data/make_forecasts.py` after `make_station_weather.py`. It writes
`demo/forecasts.csv.gz` and prints how the forecasts compare with what came. Random numbers are
keyed by name, so the same input gives the same bytes whatever the order of the work.

One forecast is issued every morning at 05:00 local time, 1 March to 31 October, for ten days: two
days by the hour, then eight days in steps of six hours. For a day that lies `lead` days ahead

- the day is taken from the record with chance HIT[lead]; else another day of the same month stands
  in its place (a day that was right once stays right as it comes nearer);
- its rain moves by up to 3 hours, and by 0.7 hours more for each day of lead, either way;
- its amounts are multiplied by a lognormal factor of mean 1 whose log has a standard deviation of
  0.25, growing by 0.05 a day;
- its temperature has the recorded day's mean plus one error for the whole day, of standard
  deviation 1 C growing to 4 C (a day that stands in lends its daily course, not its warmth);
- its humidity and wind carry errors likewise (0.04 to 0.12; 15 % to 40 %).
"""

from __future__ import annotations

import csv
import gzip
import hashlib
import io
import math
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

DEMO = Path(__file__).parent / "demo"
ZONE = ZoneInfo("America/New_York")
# of the first thirty seeds, one whose frozen morning sees the next rain coming
SEED = "demo forecasts 13"
FIRST, LAST = date(2013, 3, 1), date(2013, 10, 31)
ISSUED_AT = time(5, 0)
N_DAYS = 10
N_HOURLY = 48
STEP_H = 6
HIT = (0.95, 0.85, 0.77, 0.68, 0.58, 0.48, 0.38, 0.30, 0.22, 0.15, 0.15)
SHIFT_H, SHIFT_GROWTH_H = 3.0, 0.7
RAIN_SD, RAIN_SD_GROWTH = 0.25, 0.05
TEMP_SD_C = (1.0, 4.0)
HUMIDITY_SD = (0.04, 0.12)
WIND_SD = (0.15, 0.40)
COLUMNS = (
    "issued_at",
    "lead_h",
    "n_hours",
    "rain_mm",
    "air_temp_c",
    "humidity_frac",
    "wind_2m_m_s",
)
LABEL = (
    "# Invented for the demo: recorded weather plus stated, growing errors (data/README.md). "
    "Not a forecast that any service issued."
)


def keyed(*names: object) -> np.random.Generator:
    """A random generator that depends on its names alone."""
    text = "|".join([SEED, *map(str, names)])
    digest = hashlib.sha256(text.encode()).digest()
    return np.random.Generator(np.random.PCG64(int.from_bytes(digest[:16], "big")))


def grown(ends: tuple[float, float], lead: int) -> float:
    """A size that grows in a straight line from the first day of a forecast to its tenth."""
    return ends[0] + (ends[1] - ends[0]) * min(lead, N_DAYS - 1) / (N_DAYS - 1)


def recorded() -> tuple[datetime, dict[str, np.ndarray]]:
    """The station's hours from the first one; holes filled so that a forecast has none."""
    with gzip.open(DEMO / "station_2013_hourly.csv.gz", "rt", encoding="utf-8") as file:
        rows = list(csv.reader(file))[1:]
    first = datetime.fromisoformat(rows[0][0]).replace(tzinfo=UTC)
    table = np.array([[float(cell) if cell else np.nan for cell in row[1:]] for row in rows])
    hours = np.arange(len(table))
    for column in range(3):
        good = ~np.isnan(table[:, column])
        table[:, column] = np.interp(hours, hours[good], table[good, column])
    return first, {
        "air_temp_c": table[:, 0],
        "humidity_frac": table[:, 1] / 100.0,
        "wind_2m_m_s": table[:, 2],
        "rain_mm": np.nan_to_num(table[:, 3], nan=0.0),
    }


class Archive:
    """Forecasts of one recorded year."""

    def __init__(self) -> None:
        self.first, self.series = recorded()
        self.n_hours = len(self.series["rain_mm"])

    def hour_of(self, day: date) -> int:
        """Index of the hour that begins a local day."""
        begin = datetime.combine(day, time(0), ZONE).astimezone(UTC)
        return round((begin - self.first).total_seconds() / 3600.0)

    def stand_in(self, target: date, issued: date) -> date:
        """The recorded day that a forecast issued on one day shows for another."""
        lead = (target - issued).days
        if keyed("hit", target).random() < HIT[lead]:
            return target
        first = target.replace(day=1)
        next_month = (first + timedelta(days=32)).replace(day=1)
        others = [first + timedelta(days=d) for d in range((next_month - first).days)]
        others.remove(target)
        # the wrong day is kept for three issues, so that forecasts do not jump every morning
        return others[int(keyed("other", target, lead // 3).integers(len(others)))]

    def day_values(self, target: date, issued: date) -> dict[str, np.ndarray]:
        """24 hours of a local day as one forecast shows them, and rain with 12 hours around."""
        lead = (target - issued).days
        shown = self.stand_in(target, issued)
        begin = self.hour_of(shown)
        rng = keyed("errors", target, issued)
        lasting = keyed("lasting", target)

        def error() -> float:
            return 0.7 * float(lasting.normal()) + math.sqrt(0.51) * float(rng.normal())

        hours = slice(begin, begin + 24)
        came = self.hour_of(target)
        course_c = self.series["air_temp_c"][hours]
        mean_c = float(self.series["air_temp_c"][came : came + 24].mean())
        temp_c = course_c - course_c.mean() + mean_c + grown(TEMP_SD_C, lead) * error()
        humidity_error = grown(HUMIDITY_SD, lead) * error()
        wind_sd = grown(WIND_SD, lead)
        wind_factor = math.exp(wind_sd * error() - wind_sd**2 / 2)
        rain_sd = RAIN_SD + RAIN_SD_GROWTH * lead
        rain_factor = math.exp(rain_sd * error() - rain_sd**2 / 2)
        reach_h = int(SHIFT_H + SHIFT_GROWTH_H * lead)
        shift_h = int(rng.integers(-reach_h, reach_h + 1))
        rain = np.zeros(48)
        rain[12 + shift_h : 36 + shift_h] = self.series["rain_mm"][hours] * rain_factor
        return {
            "air_temp_c": temp_c,
            "humidity_frac": np.clip(
                self.series["humidity_frac"][hours] + humidity_error, 0.05, 1.0
            ),
            "wind_2m_m_s": self.series["wind_2m_m_s"][hours] * wind_factor,
            "rain_mm": rain,
        }

    def forecast(self, issued: date) -> dict[str, np.ndarray]:
        """240 hours from the hour of issue, by the hour."""
        start = self.hour_of(issued) + ISSUED_AT.hour
        n_hours = N_DAYS * 24
        out = {name: np.zeros(n_hours) for name in self.series}
        for lead in range(N_DAYS + 1):
            target = issued + timedelta(days=lead)
            values = self.day_values(target, issued)
            at = self.hour_of(target) - start
            for name, day in values.items():
                begin = at - 12 if name == "rain_mm" else at
                low, high = max(0, begin), min(n_hours, begin + len(day))
                if low >= high:
                    continue
                part = day[low - begin : high - begin]
                if name == "rain_mm":
                    out[name][low:high] += part
                else:
                    out[name][low:high] = part
        return out


def rows_of(issued: date, values: dict[str, np.ndarray]) -> list[tuple[str, ...]]:
    """One forecast as rows: two days by the hour, then steps of six hours."""
    issued_at = datetime.combine(issued, ISSUED_AT, ZONE).astimezone(UTC)
    text = issued_at.strftime("%Y-%m-%dT%H:%MZ")
    n_hours = N_DAYS * 24
    steps = [(h, 1) for h in range(N_HOURLY)]
    steps += [(h, STEP_H) for h in range(N_HOURLY, n_hours, STEP_H)]
    rows = []
    for lead_h, n in steps:
        part = {name: array[lead_h : lead_h + n] for name, array in values.items()}
        rows.append(
            (
                text,
                str(lead_h),
                str(n),
                f"{round(float(part['rain_mm'].sum()), 1):g}",
                f"{part['air_temp_c'].mean():.1f}",
                f"{part['humidity_frac'].mean():.2f}",
                f"{part['wind_2m_m_s'].mean():.1f}",
            )
        )
    return rows


def main() -> None:
    """Write the archive and print how good it is."""
    archive = Archive()
    out = io.StringIO()
    out.write(LABEL + "\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    issued = FIRST
    seen: dict[int, list[tuple[float, float, float, float]]] = {}
    while issued <= LAST:
        values = archive.forecast(issued)
        writer.writerows(rows_of(issued, values))
        start = archive.hour_of(issued) + ISSUED_AT.hour
        for lead in range(N_DAYS):
            a = slice(lead * 24, lead * 24 + 24)
            b = slice(start + a.start, start + a.stop)
            seen.setdefault(lead, []).append(
                (
                    values["rain_mm"][a].sum(),
                    archive.series["rain_mm"][b].sum(),
                    values["air_temp_c"][a].mean(),
                    archive.series["air_temp_c"][b].mean(),
                )
            )
        issued += timedelta(days=1)
    path = DEMO / "forecasts.csv.gz"
    with path.open("wb") as raw, gzip.GzipFile("", "wb", 9, raw, mtime=0) as packed:
        packed.write(out.getvalue().encode())
    print("lead d | rain shown, came mm | agree on 1 mm | r | temperature error sd C")
    for lead, pairs in seen.items():
        shown, came, temp, temp_came = np.array(pairs).T
        agree = np.mean((shown >= 1.0) == (came >= 1.0))
        r = np.corrcoef(shown, came)[0, 1]
        sd = np.std(temp - temp_came)
        print(f"{lead} | {shown.sum():.0f}, {came.sum():.0f} | {agree:.2f} | {r:.2f} | {sd:.1f}")


if __name__ == "__main__":
    main()
