"""A new farm folder from the answers to eight questions."""

from __future__ import annotations

import contextlib
import json
import os
import re
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from scheduler.adapters.farmfile.checking import check_text
from scheduler.adapters.farmfile.schema import (
    read_bed_length_m,
    read_bed_width_m,
    read_contact,
    read_elevation_m,
    read_name,
    read_time_zone,
    read_working_hours,
)
from scheduler.adapters.farmfile.texture import hand_test_texture
from scheduler.adapters.farmfile.where import FILE_NAME
from scheduler.adapters.nearest import hint
from scheduler.adapters.quantities import (
    UNIT_SYSTEMS,
    QuantityError,
    duration_min,
    found_text,
    latitude_deg,
    longitude_deg,
)
from scheduler.errors import FarmFileError
from scheduler.records import TEXTURES

JOURNAL_NAME = "farm.db"
_MOST_BEDS = 500


@dataclass(frozen=True)
class Answers:
    """What the grower said, as text; each field has the default of its question."""

    farm_name: str = "Long Acre"
    units: str = "us"
    place: str = "40.78 N, 73.97 W, 12 ft"
    time_zone: str = "America/New_York"
    soil: str = "silt loam"
    beds: str = ""  # empty: the default of the units
    hours: str = "3 h"
    price: str = "15 min"


@dataclass(frozen=True)
class Question:
    """One question of `init`; `key` is the field of `Answers` it fills."""

    key: str
    text: str
    default_by_units: Mapping[str, str]

    def default(self, units: str = "us") -> str:
        """Return the answer that stands where the grower gives none."""
        return self.default_by_units.get(units.strip().casefold(), self.default_by_units["us"])


def _question(key: str, text: str) -> Question:
    return Question(key, text, {"us": getattr(Answers(), key)})


INIT_QUESTIONS = (
    _question("farm_name", "Name of the farm"),
    _question("units", "Units to show (us or metric)"),
    _question("place", "Latitude, longitude, elevation"),
    _question("time_zone", "Time zone"),
    _question("soil", "Soil: a texture word, or a hand test such as: ribbon 1.5 in, smooth"),
    Question(
        "beds",
        "Beds: how many, and length x width",
        {"us": "20 beds, 50 ft x 30 in", "metric": "20 beds, 15 m x 75 cm"},
    ),
    _question("hours", "Hours for this work on a working day"),
    _question(
        "price",
        "A quarter of an hour with the machine must save how much hand weeding to be worth it",
    ),
)


def answer_fault(key: str, answer: str) -> str | None:
    """Return what is wrong with an answer, in one line, or None where it is fine.

    Parameters
    ----------
    key : str
        The key of the question.
    answer : str
        What the grower typed; empty means the default.

    Examples
    --------
    >>> answer_fault("units", "metric") is None
    True
    >>> answer_fault("units", "metrik")
    '"metrik" is not one of the words allowed here; allowed: metric, us; nearest: "metric"'
    """
    if not answer.strip():
        return None
    try:
        _READERS[key](answer)
    except QuantityError as error:
        return str(error)
    return None


def contact_fault(answer: str) -> str | None:
    """Return what is wrong with the address that weather services are told, None where it is fine.

    Examples
    --------
    >>> contact_fault("grower@example.org") is None
    True
    """
    try:
        read_contact(answer)
    except QuantityError as error:
        return str(error)
    return None


def require_free_folder(folder: Path) -> None:
    """Refuse a folder that a new farm cannot go into, before any question is asked.

    Raises
    ------
    FarmFileError
        If it is a file, or holds a farm already.
    """
    if folder.exists() and not folder.is_dir():
        raise FarmFileError((f"{folder}: is a file, not a folder; name another folder",))
    for name in (FILE_NAME, JOURNAL_NAME):
        if (folder / name).exists():
            told = f"{folder}: already holds {name}; name another folder, nothing was changed"
            raise FarmFileError((told,))


def write_new_farm(folder: Path, answers: Answers, contact: str | None = None) -> Path:
    """Write farm.toml into a folder and return its path; an existing farm is never touched.

    The folder is made where it is missing. The file appears whole or not at all. `contact` is as in
    `new_farm_text`.

    Raises
    ------
    FarmFileError
        If an answer is wrong, or the folder already holds a farm or cannot be written.
    """
    text = new_farm_text(answers, contact)
    path = folder / FILE_NAME
    require_free_folder(folder)
    try:
        made = _make_folders(folder)
        try:
            _write_whole(path, text)
        except OSError:
            for new in reversed(made):
                new.rmdir()
            raise
    except FileExistsError as error:
        told = f"{folder}: already holds {FILE_NAME}; name another folder, nothing was changed"
        raise FarmFileError((told,)) from error
    except OSError as error:
        told = f"{folder}: cannot be written ({error.strerror}); name a folder that is yours"
        raise FarmFileError((told,)) from error
    return path


def _make_folders(folder: Path) -> list[Path]:
    """Make a folder and those above it, and return the new ones, the outermost first."""
    missing = [part for part in (folder, *folder.parents) if not part.exists()][::-1]
    for part in missing:
        part.mkdir()
    return missing


def _write_whole(path: Path, text: str) -> None:
    """Write a new file in one step; raises FileExistsError rather than replace one."""
    descriptor, temporary = tempfile.mkstemp(dir=path.parent, prefix=".farm-", suffix=".new")
    try:
        with os.fdopen(descriptor, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        Path(temporary).chmod(0o644)
        try:
            os.link(temporary, path)
        except FileExistsError:
            raise
        except OSError:  # a stick without hard links
            with path.open("x", encoding="utf-8", newline="\n") as file:
                file.write(text)
    finally:
        with contextlib.suppress(FileNotFoundError):
            Path(temporary).unlink()


# ------------------------------------------------------------------ answers


def _read_units(answer: str) -> str:
    word = answer.strip().casefold()
    if word not in UNIT_SYSTEMS:
        raise QuantityError(
            f"{found_text(answer)} is not one of the words allowed here; "
            f"allowed: {', '.join(UNIT_SYSTEMS)}{hint(word, UNIT_SYSTEMS)}"
        )
    return word


def _read_place(answer: str) -> tuple[str, str, str]:
    """Return latitude, longitude and elevation as text; elevation is empty where not given."""
    parts = [part.strip() for part in answer.split(",")]
    if len(parts) not in (2, 3):
        raise QuantityError(
            f"{found_text(answer)} is not a place; write latitude, longitude and elevation "
            "such as 40.78 N, 73.97 W, 12 ft"
        )
    latitude_deg(parts[0])
    longitude_deg(parts[1])
    if len(parts) == 3:
        read_elevation_m(parts[2])
    return parts[0], parts[1], parts[2] if len(parts) == 3 else ""


def _read_soil(answer: str) -> tuple[str, str]:
    """Return the key, texture or hand_test, and its value."""
    word = " ".join(answer.casefold().split())
    if word in TEXTURES:
        return "texture", word
    if "ribbon" in word or "ball" in word:
        hand_test_texture(answer)
        return "hand_test", " ".join(answer.split())
    raise QuantityError(
        f"{found_text(answer)} is no texture; allowed: {', '.join(TEXTURES)}, "
        f"or a hand test{hint(word, TEXTURES)}"
    )


_BEDS_ANSWER = re.compile(
    r"\s*(?P<count>\d{1,6})\s*(?:beds?)?\s*[, ]\s*(?:of\s+)?"
    r"(?P<length>.+?)\s*(?:x|×|by)\s*(?P<width>.+)",
    re.IGNORECASE,
)


def _read_beds(answer: str) -> tuple[int, str, str]:
    """Return how many beds, and their length and width as text."""
    match = _BEDS_ANSWER.fullmatch(answer)
    if match is None:
        raise QuantityError(
            f"{found_text(answer)} does not tell the beds; write such as 20 beds, 50 ft x 30 in"
        )
    count = int(match["count"])
    if not 1 <= count <= _MOST_BEDS:
        raise QuantityError(f"{count} beds is out of range; allowed: 1 to {_MOST_BEDS} beds")
    length, width = match["length"].strip(), match["width"].strip()
    read_bed_length_m(length)
    read_bed_width_m(width)
    return count, length, width


def _read_hours(answer: str) -> str:
    read_working_hours(answer)
    return answer.strip()


def _read_price(answer: str) -> float:
    """Minutes by hand that a machine minute must save, from what a quarter of an hour must."""
    low, high = 0.15, 1500.0
    minutes = duration_min(answer)
    if not low <= minutes <= high:
        raise QuantityError(f"{found_text(answer)} is out of range; allowed: 9 s to 25 h")
    return minutes / _QUARTER_MIN


_READERS: Mapping[str, Callable[[str], object]] = {
    "farm_name": read_name,
    "units": _read_units,
    "place": _read_place,
    "time_zone": lambda answer: read_time_zone(answer.strip()),
    "soil": _read_soil,
    "beds": _read_beds,
    "hours": _read_hours,
    "price": _read_price,
}


# --------------------------------------------------------------------- text


def new_farm_text(answers: Answers, contact: str | None = None) -> str:
    """Return the commented farm.toml of a new farm.

    Parameters
    ----------
    answers : Answers
        What the grower said.
    contact : str or None
        The mail address that goes with the consent to ask for weather; None: no consent.

    Raises
    ------
    FarmFileError
        If answers are wrong; every wrong one is told.
    """
    faults = tuple(
        f"answer {question.key}: {fault}"
        for question in INIT_QUESTIONS
        if (fault := answer_fault(question.key, getattr(answers, question.key))) is not None
    )
    if faults:
        raise FarmFileError(faults)
    units = _read_units(answers.units.strip() or INIT_QUESTIONS[1].default())
    given = {
        question.key: getattr(answers, question.key).strip() or question.default(units)
        for question in INIT_QUESTIONS
    }
    latitude, longitude, elevation = _read_place(given["place"])
    soil_key, soil_value = _read_soil(given["soil"])
    n_beds, length, width = _read_beds(given["beds"])
    hours = _quoted(_read_hours(given["hours"]))
    sizes = _SIZES[units]
    text = _NEW_FARM.format(
        name=_quoted(read_name(given["farm_name"])),
        units=_quoted(units),
        latitude=_quoted(latitude),
        longitude=_quoted(longitude),
        elevation=_quoted(elevation or sizes["sea_level"]),
        elevation_note="" if elevation else "  # not given: read it off a map",
        time_zone=_quoted(given["time_zone"]),
        hours=", ".join(f"{day} = {hours}" for day in ("mon", "tue", "wed", "thu", "fri", "sat")),
        machine_price=f"{_read_price(given['price']):.3g}",
        soil=f"{soil_key} = {_quoted(soil_value)}",
        weather=_weather_text(contact),
        naming='name = "A1"' if n_beds == 1 else f'range = "A1-A{n_beds}"',
        length=_quoted(length),
        width=_quoted(width),
        **sizes,
    )
    check = check_text(text)
    if check.faults:
        raise FarmFileError(check.faults)
    return text


def _weather_text(contact: str | None) -> str:
    """Return consent and contact as lines of the table [weather]; examples where there is none."""
    sign = "#: " if contact is None else ""
    address = "grower@example.org" if contact is None else contact.strip()
    return (
        f"{sign}[weather]\n"
        f"{sign}consent = true\n"
        f"{sign}contact = {_quoted(address)}  # the services want to know whom to write to"
    )


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


_QUARTER_MIN = 15.0
_SIZES = {
    "us": {
        "sea_level": "0 ft",
        "headland": "6 ft",
        "hoe_depth": "0.8 in",
        "hoe_speed": "1.5 mph",
        "hoe_width": "7 in",
        "tine_depth": "0.6 in",
        "tine_speed": "2 mph",
        "tine_width": "30 in",
        "spacings": '"8 in", "10 in", "15 in"',
        "spacing": '"10 in"',
        "heat_bands": '"80 F", "90 F", "103 F", "125 F"',
        "sun_allowance": "7 F",
        "clearance": "12 in",
    },
    "metric": {
        "sea_level": "0 m",
        "headland": "2 m",
        "hoe_depth": "20 mm",
        "hoe_speed": "2.5 km/h",
        "hoe_width": "18 cm",
        "tine_depth": "15 mm",
        "tine_speed": "3 km/h",
        "tine_width": "75 cm",
        "spacings": '"20 cm", "25 cm", "38 cm"',
        "spacing": '"25 cm"',
        "heat_bands": '"27 C", "32 C", "39 C", "52 C"',
        "sun_allowance": "4 C",
        "clearance": "30 cm",
    },
}

_NEW_FARM = """\
# The farm, in your own words. Quantities carry their unit: "60 ft", "0.6 in", "12 mm", "3 km/h".
# `whitethread check` names every line it cannot read. Lines that begin with # are ignored;
# those that begin with #: are examples, take the two signs away to use them.

[farm]
name = {name}
units = {units}  # how quantities are shown: us or metric
#: flame_rules_read = true  # only after you read the fire rules of the place

[place]
latitude = {latitude}
longitude = {longitude}
elevation = {elevation}{elevation_note}
time_zone = {time_zone}

[work]
start = "06:00"  # earliest and latest hour of this work
end = "20:00"
hours = {{ {hours}, sun = "0 h" }}  # hours for this work on each day
#: blocked = [{{ day = "tue", from = "07:00", to = "12:00", why = "market harvest" }}]
#: hourly_value = 22.0  # what an hour of your work is worth
#: currency = "USD"
machine_price = {machine_price}  # minutes of hand weeding one machine minute must save

# A texture word, or a hand test: "no ball", "no ribbon", or how long a ribbon of moist soil gets
# and whether it feels gritty, smooth or neither. Fractions of a soil test are better still.
[soils.home]
{soil}
#: organic_matter = "3.5 %"
#: stones = "5 %"

# What all beds share; a bed group may say otherwise.
[defaults.bed]
length = {length}
width = {width}
soil = "home"
irrigation = "none"  # none, drip, sprinkler
headland = "{headland}"  # room to turn at the ends
ends = "open"  # open, one blocked, both blocked
was = "unknown"  # before this journal starts: unknown, clean, weedy, cover

# Bed groups: a range, a list of names, or one name.
[[beds]]
{naming}

#: [[beds]]
#: names = ["North", "Tunnel"]
#: irrigation = "drip"

# Tools as you own them. Kinds: tine weeder, spike harrow, rotary hoe, finger weeder, torsion
# weeder, brush weeder, sweeps, knives, hilling, wheel hoe, stirrup hoe, collinear hoe, flame, hand.
[tools.wheel-hoe]
kind = "wheel hoe"
depth = "{hoe_depth}"
speed = "{hoe_speed}"
width = "{hoe_width}"

#: [tools.tines]
#: kind = "tine weeder"
#: depth = "{tine_depth}"
#: speed = "{tine_speed}"
#: width = "{tine_width}"
#: rows = [1, 2, 3]
#: row_spacings = [{spacings}]
#: travel = "on the bed"  # over one row, on the bed, in the paths, by hand
#: track = "{tine_width}"
#: clearance = "{clearance}"
#: setup_time = "10 min"
#: setups = [{{ name = "gentle", note = "second hole", rows = 3, spacing = {spacing} }}]

# A toolbar carries further tools, worked in one pass: knives between the rows, fingers in them.
#: [tools.toolbar]
#: kind = "knives"
#: carries = ["finger weeder"]
#: depth = "{hoe_depth}"
#: speed = "{tine_speed}"
#: width = "{tine_width}"
#: rows = [2, 3]
#: row_spacings = [{spacings}]
#: setup_time = "15 min"

# What you mean to sow or set, so that the bed can be kept stale until then: bed, beds or range.
#: [[plans]]
#: bed = "A1"
#: crop = "carrot"
#: sow = 2026-05-20  # or set = 2026-05-20

# Where your own card of the heat index begins caution, extreme caution, danger, extreme danger,
# and what full sun adds; left out, the bands of the weather service.
#: [cautions]
#: heat_bands = [{heat_bands}]
#: sun_allowance = "{sun_allowance}"

# The morning mail. A password is never written here.
#: [mail]
#: to = "grower@example.org"
#: from = "farm@example.org"
#: host = "smtp.example.org"
#: port = 587
#: security = "starttls"  # starttls, tls, none
#: user = "farm@example.org"
#: password_file = "mail-password"  # beside this file, for nobody else to read
#: password_env = "WHITETHREAD_MAIL_PASSWORD"  # or a variable, a systemd credential, the keyring
#: send_at = "05:30"
#: cut_off = "11:00"  # later than this a list of the day is of no use
#: evening_note = true  # at 19:00, if a last good hour falls before noon tomorrow

# Weather from outside is asked for only with your consent; the place is sent, rounded.
{weather}
#: forecast = "metno"  # metno, nws, openmeteo, none; left out: what fits the place
#: station = "72503"  # where observations come from; left out: the nearest
#: past_years = 10  # how many of them may stand in beyond the forecast
#: gauge_read_at = "07:00"  # rain you log without a time counts for the day up to then
"""
