"""The journal whatever is put into it: it reads back the same, and forgets nothing."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.adapters.journal import export_csv, import_csv, open_farm_database
from scheduler.adapters.journal.entries import (
    COUNTS,
    DATA_KEYS,
    KIND_RULES,
    LONGEST_SPAN,
    STAGES,
    WORDS,
)
from scheduler.adapters.journal.spreadsheets import EVENT_COLUMNS
from scheduler.records import Event, Forecast, Kind, WeatherValue

START = datetime(2013, 1, 1, tzinfo=UTC)
EVER = datetime(2100, 1, 1, tzinfo=UTC)
FEW = settings(max_examples=30, deadline=None)

# texts as people and attackers write them: formulas, quotes, delimiters, other scripts
texts = st.one_of(
    st.sampled_from(["=1+1", "+3", "-", "@x", "'=x", "''+", "'tis", '"', ",", ";", "a;b,c"]),
    st.text(
        st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp")), min_size=1, max_size=12
    ).map(str.strip),
)  # fmt: skip
names = texts.filter(bool)
moments = st.integers(0, 400 * 86400).map(lambda seconds: START + timedelta(seconds=seconds))


@st.composite
def data_values(draw: st.DrawFn, key: str) -> Any:
    known = DATA_KEYS[key]
    if known.holds == "number":
        return draw(st.floats(known.low, known.high))
    if known.holds == "whole":
        return draw(st.integers(int(known.low), int(known.high)))
    if known.holds == "yes_no":
        return draw(st.booleans())
    return draw(st.sampled_from(WORDS[known.holds])) if known.holds in WORDS else draw(names)


@st.composite
def looks(draw: st.DrawFn) -> dict[str, Any]:
    """What a look may say: one of its forms."""
    form = draw(st.sampled_from(["nothing", "stages", "sprouts", "quadrat", "first", "survivors"]))
    if form == "first":
        key = draw(st.sampled_from(["first", "amount"]))
        return {key: draw(data_values(key))}
    if form == "survivors":
        left_n, of_n = sorted(draw(st.tuples(st.integers(1, 500), st.integers(1, 500))))
        return {"left_n": left_n, "of_n": of_n}
    if form == "nothing":
        return {"nothing": True}
    keys = STAGES if form == "stages" else COUNTS
    said = draw(st.lists(st.sampled_from(keys), min_size=1, unique=True))
    if form == "stages":
        return {key: draw(data_values(key)) for key in said}
    counted = {key: draw(st.integers(1, 90)) for key in said}
    if form == "sprouts":
        return counted
    return {**counted, "area_m2": draw(st.floats(0.1, 5)), "quadrat": draw(names)}


@st.composite
def entries(draw: st.DrawFn, event_id: str) -> Event:
    """A valid entry of any kind but undo."""
    kind = draw(st.sampled_from([kind for kind in KIND_RULES if kind != "undo"]))
    rule = KIND_RULES[kind]
    keys = [*rule.needs, *(key for key in rule.may_have if draw(st.booleans()))]
    if rule.needs_one_of:
        keys += draw(st.lists(st.sampled_from(rule.needs_one_of), min_size=1, unique=True))
    data = {key: draw(data_values(key)) for key in keys if DATA_KEYS[key].holds != "moment"}
    happened_at = draw(moments)
    recorded_at = happened_at + timedelta(microseconds=draw(st.integers(0, 10**11)))
    if "start_at" in keys:
        seconds = draw(st.integers(1, int(LONGEST_SPAN.total_seconds())))
        data["end_at"] = happened_at.isoformat()
        data["start_at"] = (happened_at - timedelta(seconds=seconds)).isoformat()
    if data.get("is_trace"):
        data["rain_mm"] = 0.0
    if {"air_temp_min_c", "air_temp_max_c"} <= data.keys():
        low, high = sorted((data["air_temp_min_c"], data["air_temp_max_c"]))
        data |= {"air_temp_min_c": low, "air_temp_max_c": high}
    if ("from_m" in data) != ("to_m" in data) or data.get("from_m", 0) >= data.get("to_m", 1):
        data.pop("from_m", None)
        data.pop("to_m", None)
    if "found" in data and "how" not in data:
        data["worked"] = False
    data.pop("how" if data.get("worked") is False else "found", None)
    if kind == "look":
        data = draw(looks())
    if data.get("work_min") == 0:
        del data["work_min"]
    has_part = rule.has_bed and draw(st.booleans())
    return Event(
        event_id=event_id,
        kind=kind,
        happened_at=happened_at,
        recorded_at=recorded_at,
        bed=draw(names) if rule.has_bed else None,
        part=draw(names) if has_part else None,
        data=data,
        note=draw(texts),
    )


@st.composite
def journals(draw: st.DrawFn) -> list[Event]:
    """Entries in order of recording; some are corrected, some undone, some corrections undone."""
    events: list[Event] = []
    standing: list[Event] = []
    recorded_at = START + timedelta(days=500)
    for number in range(draw(st.integers(1, 9))):
        prefix = draw(st.sampled_from(["", "=", "-", "'@"]))
        event = draw(entries(f"{prefix}{number}"))
        recorded_at += timedelta(minutes=draw(st.integers(0, 90)))
        what = draw(st.sampled_from(["new", "correct", "undo"])) if standing else "new"
        target = draw(st.sampled_from(standing)) if what != "new" else None
        supersedes = target.event_id if target else None
        kind = "undo" if what == "undo" else event.kind
        event = Event(
            event.event_id,
            kind,
            event.happened_at,
            recorded_at,
            event.bed,
            event.part,
            {} if kind == "undo" else event.data,
            supersedes,
            event.note,
        )
        events.append(event)
        if target:
            standing.remove(target)
        if what == "undo" and target and target.supersedes:
            standing.append(next(e for e in events if e.event_id == target.supersedes))
        if what != "undo":
            standing.append(event)
    return events


@st.composite
def revisions(draw: st.DrawFn) -> list[WeatherValue]:
    """Values of few hours and sources, revised often; no two known at the same moment differ."""
    made: dict[tuple[Any, ...], WeatherValue] = {}
    for _ in range(draw(st.integers(0, 14))):
        variable = draw(st.sampled_from(["rain_mm", "air_temp_c"]))
        start_at = START + timedelta(hours=draw(st.integers(0, 3)))
        end_at = start_at + timedelta(hours=draw(st.sampled_from([1, 24])))
        source = draw(st.sampled_from(["station", "=gauge"]))
        known_at = START + timedelta(days=draw(st.integers(1, 5)))
        is_trace = variable == "rain_mm" and draw(st.booleans())
        made[variable, start_at, end_at, source, known_at] = WeatherValue(
            variable,
            start_at,
            end_at,
            0.0 if is_trace else draw(st.floats(0, 1e3) | st.sampled_from([0.0, 0.1])),
            draw(st.sampled_from([Kind.OBSERVED, Kind.MODEL])),
            source,
            known_at,
            is_trace,
            draw(st.sampled_from(["", "", "stuck", "-x"])),
        )
    return list(made.values())


@FEW
@given(journals(), revisions())
def test_write_then_read_gives_the_same_journal(
    events: list[Event], values: list[WeatherValue]
) -> None:
    with TemporaryDirectory() as first, TemporaryDirectory() as second:
        with open_farm_database(first, create=True) as farm:
            assert farm.add_events(events) == len(events)
            farm.add_weather_values(values)
            assert farm.all_events(EVER) == tuple(events)
            held = farm.all_weather_values(EVER)
        for path in export_csv(first, Path(first) / "out"):
            open_farm_database(second, create=True).close()
            added = import_csv(second, path, now=EVER, time_zone="Europe/Berlin")
            again = import_csv(second, path, now=EVER, time_zone="Europe/Berlin")
            assert added.n_known == again.n_added == 0
            assert again.n_known == added.n_added
        with open_farm_database(second) as farm:
            assert farm.all_events(EVER) == tuple(events)
            assert farm.all_weather_values(EVER) == held
        columns = ("events.csv", "weather.csv")
        export_csv(second, Path(second) / "out")
        for name in columns:
            texts = [(Path(folder) / "out" / name).read_bytes() for folder in (first, second)]
            assert texts[0] == texts[1]


@FEW
@given(journals())
def test_a_spreadsheet_changes_nothing(events: list[Event]) -> None:
    """Semicolons, decimal commas, a byte order mark, blank rows, columns in another order."""
    numeric = {key for key, known in DATA_KEYS.items() if known.holds in ("number", "whole")}
    with TemporaryDirectory() as first, TemporaryDirectory() as second:
        with open_farm_database(first, create=True) as farm:
            farm.add_events(events)
        path, _ = export_csv(first, Path(first) / "out")
        with path.open(newline="", encoding="utf-8") as stream:
            rows = list(csv.DictReader(stream))
        saved = io.StringIO(newline="")
        writer = csv.writer(saved, delimiter=";", lineterminator="\r\n")
        columns = sorted(EVENT_COLUMNS)
        writer.writerow([*columns, ""])
        for row in rows:
            cells = [row[c].replace(".", ",") if c in numeric else row[c] for c in columns]
            writer.writerow([*cells, ""])
            writer.writerow([""] * len(cells))
        path.write_bytes(b"\xef\xbb\xbf" + saved.getvalue().encode())
        with open_farm_database(second, create=True) as farm:
            import_csv(second, path, now=EVER, time_zone="Europe/Berlin")
            assert farm.all_events(EVER) == tuple(events)


@FEW
@given(journals())
def test_corrections_are_those_of_a_stack(events: list[Event]) -> None:
    """Second opinion: each first entry is a pile; a correction is laid on it, an undo lifts one."""
    with TemporaryDirectory() as folder, open_farm_database(folder, create=True) as farm:
        farm.add_events(events)
        for known_at in {event.recorded_at for event in events}:
            piles: list[list[Event]] = []
            for event in (event for event in events if event.recorded_at <= known_at):
                if event.supersedes is None:
                    piles.append([event])
                    continue
                pile = next(p for p in piles if p and p[-1].event_id == event.supersedes)
                if event.kind == "undo":
                    pile.pop()
                else:
                    pile.append(event)
            expected = [pile[-1].event_id for pile in piles if pile]
            found = [event.event_id for event in farm.events(known_at)]
            assert sorted(found) == sorted(expected)


@FEW
@given(revisions(), st.data())
def test_the_newest_revision_known_is_read(values: list[WeatherValue], data: st.DataObject) -> None:
    """Second opinion: a dictionary that keeps the last value of each key; batches do not matter."""
    cut = data.draw(st.integers(0, len(values)))
    with TemporaryDirectory() as folder, open_farm_database(folder, create=True) as farm:
        farm.add_weather_values(values[:cut])
        farm.add_weather_values(values[cut:])
        assert farm.add_weather_values(values) == 0
        start_at = START + timedelta(hours=data.draw(st.integers(-1, 5)))
        end_at = start_at + timedelta(hours=data.draw(st.integers(1, 30)))
        for day in range(7):
            known_at = START + timedelta(days=day)
            newest: dict[tuple[Any, ...], WeatherValue] = {}
            for value in sorted(values, key=lambda value: value.known_at):
                if value.known_at <= known_at:
                    key = (value.variable, value.start_at, value.end_at, value.source)
                    newest[key] = value
            expected = {
                key: (value.value, value.kind, value.is_trace, value.suspect)
                for key, value in newest.items()
                if value.start_at < end_at and value.end_at > start_at
            }
            found = {
                (v.variable, v.start_at, v.end_at, v.source): (
                    v.value,
                    v.kind,
                    v.is_trace,
                    v.suspect,
                )
                for v in farm.weather_values(known_at, start_at, end_at)
            }
            assert found == expected
            columns = farm.weather_columns(known_at, start_at, end_at)
            assert sum(held.values.size for held in columns.values()) == len(expected)


@FEW
@given(st.lists(st.floats(-60, 60) | st.just(float("nan")), max_size=30))
def test_a_forecast_reads_back_to_the_digit(numbers: list[float]) -> None:
    made = Forecast("model", START, START, START, {"air_temp_c": np.array(numbers)}, "note")
    with TemporaryDirectory() as folder, open_farm_database(folder, create=True) as farm:
        farm.add_forecast(made)
        held = farm.latest_forecast(EVER)
        assert held is not None
        np.testing.assert_array_equal(held.values["air_temp_c"], np.array(numbers))
        assert held.values["air_temp_c"].dtype == np.float64
        assert (held.source, held.issued_at, held.note) == ("model", START, "note")
