"""Wrong weather files: the exact message of each; the folder stays as it was."""

from pathlib import Path

import pytest

from scheduler.adapters.weather.csv_import import read_weather_csv
from scheduler.errors import WeatherFileError
from scheduler.records import Kind

HOURLY = "time (hour ending) [UTC],"
ROW = "2013-05-14 06:00,"

WRONG: dict[str, tuple[bytes, str]] = {
    "empty": (
        b"\n\n",
        "w.csv: found nothing, allowed a header and at least one row; check the file",
    ),
    "header only": (
        b"date,rain [mm]\n",
        "w.csv: found a header without rows, allowed at least one row; check the export",
    ),
    "no value": (
        b"date,rain [mm]\n2013-05-14,\n",
        "w.csv: found 1 rows and no value, allowed at least one value; check the columns",
    ),
    "no unit": (
        f"{HOURLY}rain\n{ROW}1\n".encode(),
        "w.csv, line 1, column 'rain': found no unit, allowed [mm], [cm], [in], [0.1 mm], "
        "[0.01 in]; write it as `rain [mm]`",
    ),
    "unknown unit": (
        f"{HOURLY}rain [mn]\n{ROW}1\n".encode(),
        "w.csv, line 1, column 'rain [mn]': found the unit [mn], allowed [mm], [cm], [in], "
        "[0.1 mm], [0.01 in]; did you mean `mm`?",
    ),
    "unit of another quantity": (
        f"{HOURLY}temperature [mph]\n{ROW}1\n".encode(),
        "w.csv, line 1, column 'temperature [mph]': found the unit [mph], allowed [C], [F], [K]; "
        "check the spelling",
    ),
    "unknown column": (
        f"{HOURLY}rainfal [mm]\n{ROW}1\n".encode(),
        "w.csv, line 1, column 2: found the name 'rainfal [mm]', allowed rain, temperature, t min, "
        "t max, dew point, relative humidity, wind at 10 m, solar; did you mean `rainfall`?, or "
        "write `ignore` before it",
    ),
    "wind without height": (
        f"{HOURLY}wind [mph]\n{ROW}1\n".encode(),
        "w.csv, line 1, column 'wind [mph]': found wind without a height, allowed such as "
        "`wind at 10 m [mph]`; add the height of the sensor",
    ),
    "two columns of one quantity": (
        f"{HOURLY}rain [mm],precipitation [in]\n{ROW}1,1\n".encode(),
        "w.csv, line 1: found two columns of rain, 'rain [mm]' and 'precipitation [in]', allowed "
        "one; write `ignore` before the other",
    ),
    "own name with another unit": (
        f"{HOURLY}rain_mm [in]\n{ROW}1\n".encode(),
        "w.csv, line 1, column 'rain_mm [in]': found [in] after a name that ends in its unit, "
        "allowed [mm] or none; rename the column to `rain [in]`",
    ),
    "no time": (
        b"rain [mm]\n1\n",
        "w.csv, line 1: found no column of time, allowed `time (hour ending) [UTC]`, "
        "`time (hour beginning) [UTC]` or `date`; add it to the header",
    ),
    "which end of the hour": (
        b"time [UTC],rain [mm]\n2013-05-14 06:00,1\n",
        "w.csv, line 1, column 'time [UTC]': found no word on it, allowed (hour ending) or "
        "(hour beginning); say which end of the hour the stamp marks",
    ),
    "no zone": (
        b"time (hour ending),rain [mm]\n2013-05-14 06:00,1\n",
        "w.csv, line 1, column 'time (hour ending)': found no zone, allowed [UTC], a name such as "
        "[America/New_York] or an offset such as [-05:00]; add the zone of the stamps",
    ),
    "unknown zone": (
        b"time (hour ending) [America/NewYork],rain [mm]\n2013-05-14 06:00,1\n",
        "w.csv, line 1: found the zone [America/NewYork], allowed UTC, an offset such as -05:00 or "
        "a name of the zone database; did you mean `America/New_York`?",
    ),
    "only time": (
        b"date\n2013-05-14\n",
        "w.csv, line 1: found no column of weather, allowed rain, temperature, t min, t max, "
        "dew point, relative humidity, wind at 10 m, solar; add one with its unit",
    ),
    "daily term in an hourly file": (
        f"{HOURLY}t min [C]\n{ROW}1\n".encode(),
        "w.csv, line 1, column 't min [C]': found t min in an hourly file, allowed temperature; "
        "write `ignore` before it",
    ),
    "dew point alone": (
        f"{HOURLY}dew point [C]\n{ROW}1\n".encode(),
        "w.csv, line 1, column 'dew point [C]': found dew point without temperature, allowed both "
        "together; add the temperature",
    ),
    "month first": (
        f"{HOURLY}rain [mm]\n05/14/2013 06:00,1\n".encode(),
        "w.csv, line 2: found the moment '05/14/2013 06:00', allowed such as 2013-05-14 06:00; "
        "write year, month, day in that order",
    ),
    "hours in a daily file": (
        b"date,rain [mm]\n2013-05-14 06:00,1\n",
        "w.csv, line 2: found the moment '2013-05-14 06:00' in a daily file, allowed such as "
        "2013-05-14; name the column time if the rows are hours",
    ),
    "days in an hourly file": (
        f"{HOURLY}rain [mm]\n2013-05-14,1\n2013-05-15,1\n2013-05-16,1\n".encode(),
        "w.csv: found rows 24 hours apart in an hourly file, allowed an hour; name the column "
        "`date` if the rows are days",
    ),
    "quarter hours": (
        f"{HOURLY}rain [mm]\n2013-05-14 06:00,1\n2013-05-14 06:15,1\n2013-05-14 06:30,1\n".encode(),
        "w.csv: found rows 15 minutes apart, allowed an hour; sum rain and average the rest to "
        "hours first",
    ),
    "an hour that does not exist": (
        b"time (hour ending) [America/New_York],rain [mm]\n2013-03-10 02:00,1\n",
        "w.csv, line 2: found 2013-03-10 02:00, an hour that the clocks of America/New_York leave "
        "out, allowed hours that exist; if the logger keeps standard time all year, declare its "
        "offset instead, such as [-05:00]",
    ),
    "a word for a number": (
        f"{HOURLY}rain [mm]\n{ROW}wet\n".encode(),
        "w.csv, line 2, column 'rain [mm]': found 'wet', allowed a number, an empty cell for "
        "missing, t for a trace; mend the cell",
    ),
    "decimal comma": (
        b"time (hour ending) [UTC];rain [mm]\n2013-05-14 06:00;1,5\n",
        "w.csv, line 2, column 'rain [mm]': found '1,5', allowed a number, an empty cell for "
        "missing, t for a trace; use a decimal point",
    ),
    "decimal comma that splits the cell": (
        f"{HOURLY}rain [mm]\n{ROW}1,5\n".encode(),
        "w.csv, line 2: found 3 cells, allowed 2 as in the header; look for a decimal comma or a "
        "missing separator",
    ),
    "infinite": (
        f"{HOURLY}rain [mm]\n{ROW}inf\n".encode(),
        "w.csv, line 2, column 'rain [mm]': found 'inf', allowed a finite number or an empty cell "
        "for missing; mend the cell",
    ),
    "not text": (
        b"PK\x03\x04\x00\x00",
        "w.csv: found bytes that are not text, allowed a CSV file; export the table as CSV",
    ),
    "not UTF-8": (
        b"date,rain [mm]\n2013-05-14,1\n2013-05-15,\xe9\n",
        "w.csv, line 3: found a letter that is not UTF-8, allowed UTF-8 text; save the file as "
        "CSV UTF-8",
    ),
    "reading time": (
        b"date (evening),rain [mm]\n2013-05-14,1\n",
        "w.csv, line 1, column 'date (evening)': found (evening), allowed (read at 07:00) or "
        "(from 07:00); say when the day of a reading ends or begins",
    ),
}


@pytest.mark.parametrize("name", WRONG)
def test_wrong_file(name: str, tmp_path: Path) -> None:
    content, message = WRONG[name]
    path = tmp_path / "w.csv"
    path.write_bytes(content)
    before = {each.name: each.read_bytes() for each in tmp_path.iterdir()}
    with pytest.raises(WeatherFileError) as caught:
        read_weather_csv(path, kind=Kind.OBSERVED, source="A", known_at=None, time_zone="UTC")
    assert str(caught.value) == message
    assert "\n" not in message
    assert {each.name: each.read_bytes() for each in tmp_path.iterdir()} == before


def test_no_such_file(tmp_path: Path) -> None:
    with pytest.raises(WeatherFileError) as caught:
        read_weather_csv(
            tmp_path / "gone.csv", kind=Kind.OBSERVED, source="A", known_at=None, time_zone="UTC"
        )
    assert str(caught.value) == (
        "gone.csv: no such file, allowed a CSV file; check the name and the folder"
    )
    assert list(tmp_path.iterdir()) == []
