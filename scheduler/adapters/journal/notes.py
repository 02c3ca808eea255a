"""One-line notes, as typed after `log` or dropped as text.

The grammar, words in any case, `[...]` may be left out, clauses and the moment in any order::

    rain QTY | rain trace | rain none     [WHEN]
    temp [min QTY] [max QTY]              [WHEN]      at least one of the two
    water BED QTY                         [WHEN]      depth of water
    water BED TIME at QTY/h               [WHEN]      as 90 min at 8 mm/h, by drip or sprinkler
    sow BED CROP [N rows] [QTY apart] [QTY deep] [from QTY to QTY]   [WHEN]
    plant BED CROP ...                                like sow
    prep BED [TOOL] [QTY deep]            [WHEN]
    pass BED TOOL [QTY deep] [TIME] [setup NAME] [setup-time TIME]
         [worked [HOW] | not worked [FOUND]]              [WHEN]
    look BED N STAGE ...                  [WHEN]      sprouts scratched up in a few spots
    look BED N STAGE ... in AREA [quadrat NAME]   [WHEN]    or nothing in AREA; a named quadrat
                                                      stays in place and its area is known then
    look BED N STAGE ... per m2 | per ft2 [WHEN]      what stands in the whole bed
    look BEDS nothing [yet]               [WHEN]
    look BEDS first threads | first green | few | some | many     [WHEN]
    look BED survivors N of N             [WHEN]      of weeds marked before the last pass
    feel BEDS FEEL                        [WHEN]
    hand BED [TIME] | hand BEDS           [WHEN]
    up BEDS | rooted BEDS | clear BEDS    [WHEN]

    BED    a bed of the farm, or BED/PART; a part can also be written as `part NAME`
    BEDS   one or more: B4 B5/a, or B4, B5 and B7, or B1-B4; one entry a bed
    AREA   0.25 m2, 2 ft2, 50 x 50 cm
    QTY    a number and a unit: 18 mm, 0.7 in, 12 C, 54 F, 30 ft; a decimal comma is understood
    TIME   6 min, 1.5 h, 1 h 20 min
    STAGE  thread, seed leaf, true leaf, young, established, also in the plural
    HOW    well, fair, poorly
    FOUND  too wet, too hard
    FEEL   wet (too wet), sticky (smears), crumbles (fit), dry (powdery), hard
    # ...  after a # that stands alone, the rest of the line is kept as a remark

When it was (the farm's wall time; what runs past `now` is cut at `now`)::

    WHEN                        moment          span of rain and temp
    (nothing)                   now             24 h up to the 07:00 reading of today
    14:00, today 14:00          that time       24 h up to that time
    today                       now             today from 00:00
    this morning                09:00           05:00 to 12:00
    this afternoon              15:00           12:00 to 18:00
    last night                  20:00 before    yesterday 18:00 to today 07:00
    yesterday, 2013-05-08       noon            that day, 00:00 to 24:00
    8 May                       noon            the last 8 May, 00:00 to 24:00
    yesterday 14:00,
    2013-05-08 07:00            that time       24 h up to that time
    from MOMENT to MOMENT                       as said; rain and temp only
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from scheduler.adapters import quantities
from scheduler.adapters.journal.entries import (
    AMOUNTS,
    FEEL_WORDS,
    FOUND,
    HOWS,
    KIND_RULES,
    checked_entry,
    names_hint,
    new_event_id,
)
from scheduler.adapters.journal.moments import (
    hours,
    local_moment,
    noon_or_now,
    parse_clock,
    parse_day,
    start_of_day,
    utc_moment,
    utc_text,
    zone_of,
)
from scheduler.adapters.journal.note_beds import Place, taken_beds, taken_name
from scheduler.errors import JournalError
from scheduler.records import EVENT_KINDS, Event

NOTE_KINDS = tuple(kind for kind in EVENT_KINDS if kind != "undo")
GAUGE_READ_AT = time(7)
EVENING_AT = time(18)

MANY_BED_KINDS = ("look", "feel", "up", "rooted", "hand", "clear")
"""Kinds of which one line may name several beds."""

_SPAN_WORDS = {
    "this morning": (time(9), time(5), time(12)),
    "this afternoon": (time(15), time(12), time(18)),
}
_EXAMPLES = {
    "rain": "rain 18 mm last night",
    "water": "water B4 12 mm",
    "sow": "sow B4 carrot 3 rows",
    "plant": "plant B4 lettuce 3 rows",
    "pass": "pass B4 tine 15 mm deep",
    "feel": "feel B4 crumbles",
    "look": "look B4 6 threads 11 seed leaves 3 true leaves",
    "temp": "temp min 4 C max 21 C",
}
_M2_PER_FT2 = quantities.M_PER_FT**2

_SAME_AREA = 0.02  # share by which two sayings of one area may differ

Quadrats = Mapping[tuple[str, str], tuple[str, float]]
"""Name and area [m2] of the quadrats of a farm, as `entries.quadrat_areas` gives them."""


@dataclass(frozen=True)
class _When:
    """A moment, the span that rain or temperature would have, and whether a date was written."""

    happened_at: datetime
    start_at: datetime
    end_at: datetime
    has_date: bool = False
    is_span: bool = False


def gauge_reading_time(weather: Mapping[str, Any]) -> time:
    """When a farm's gauge is usually read, as its [weather] says.

    Examples
    --------
    >>> gauge_reading_time({"gauge_read_at": "09:30"}), gauge_reading_time({})
    (datetime.time(9, 30), datetime.time(7, 0))
    """
    told = weather.get("gauge_read_at")
    return GAUGE_READ_AT if told is None else time.fromisoformat(str(told))


def parse_note(
    text: str,
    now: datetime,
    time_zone: str,
    beds: Collection[str],
    tools: Collection[str],
    crops: Collection[str],
    **rest: Any,
) -> Event:
    """The one entry that a one-line note says; arguments and errors as of `parse_notes`.

    Raises
    ------
    WhitethreadError
        Also if the note names several beds.

    Examples
    --------
    >>> from datetime import UTC
    >>> now = datetime(2013, 5, 8, 12, 30, tzinfo=UTC)
    >>> rain = parse_note("rain 18 mm last night", now, "America/New_York", (), (), ())
    >>> rain.data["rain_mm"], rain.data["start_at"], rain.data["end_at"]
    (18.0, '2013-05-07T22:00:00+00:00', '2013-05-08T11:00:00+00:00')
    >>> tined = parse_note("pass B4 tine 15 mm deep", now, "America/New_York", ["B4"], ["tine"], ())
    >>> tined.bed, dict(tined.data)
    ('B4', {'tool': 'tine', 'depth_mm': 15.0})
    """
    events = parse_notes(text, now, time_zone, beds, tools, crops, **rest)
    if len(events) > 1:
        named = ", ".join(str(event.bed) for event in events)
        raise JournalError(f"names {len(events)} beds, {named}; allowed: one")
    return events[0]


def parse_notes(
    text: str,
    now: datetime,
    time_zone: str,
    beds: Collection[str],
    tools: Collection[str],
    crops: Collection[str],
    *,
    recorded_at: datetime | None = None,
    needs_date: bool = False,
    setups: Mapping[str, Collection[str]] | None = None,
    more: Mapping[str, Any] | None = None,
    remark: str = "",
    gauge_read_at: time = GAUGE_READ_AT,
    quadrats: Quadrats | None = None,
) -> tuple[Event, ...]:
    """The entries that a one-line note says, one for each bed that it names.

    Parameters
    ----------
    text
        The note; the module describes its grammar.
    now
        What "today", "last night" and a missing moment are reckoned from.
    time_zone
        The farm's time zone, such as `America/New_York`.
    beds, tools, crops
        The names the farm has.
    recorded_at
        When the note became known, if not `now`.
    needs_date
        Refuse a note whose day is not written out.
    setups
        The named set-ups of each tool that has any; a tool that is not in it takes any name.
    more
        Values of `Event.data` said beside the words, such as a set-up; said in both is a fault.
    remark
        A remark kept with the entry; a second one in the words is a fault.
    gauge_read_at
        When the gauge is usually read: rain without a moment is of the day up to then.
    quadrats
        Quadrats logged before, whose area need not be said again.

    Raises
    ------
    WhitethreadError
        One line: what was found, what is allowed. It does not say in which file.

    Examples
    --------
    >>> from datetime import UTC
    >>> now = datetime(2013, 5, 8, 12, 30, tzinfo=UTC)
    >>> beds = ["B1", "B2", "B3"]
    >>> clean = parse_notes("look B1-B3 nothing", now, "America/New_York", beds, (), ())
    >>> [(event.bed, dict(event.data)) for event in clean][-1]
    ('B3', {'nothing': True})
    """
    zone = zone_of(time_zone)
    now = utc_moment(utc_text(now))
    sign = re.search(r"(?:^|\s)#(?:\s|$)", text)
    said, note = (text, remark) if sign is None else (text[: sign.start()], text[sign.end() :])
    if sign is not None and remark.strip():
        raise JournalError("says a remark twice; say it once")
    said = " ".join(said.split())
    kind, _, rest = said.partition(" ")
    kind = kind.lower()
    if kind not in NOTE_KINDS:
        found = f"{kind!r} is not how a note begins" if kind else "the note is blank"
        raise JournalError(f"{found}; {names_hint(kind, NOTE_KINDS)}")
    when, rest = _when(rest, kind, zone, now, gauge_read_at)
    if needs_date and not when.has_date:
        raise JournalError(
            "says no date and was written days ago; write the day into the note, like 2013-05-08"
        )
    sentence = _Sentence(kind, rest.strip(), tools, crops)
    if KIND_RULES[kind].has_bed:
        sentence.take_beds(beds)
    sentence.take_clauses()
    for key, value in (more or {}).items():
        sentence.put(key, value)
    data = _with_known_setup(sentence.data, setups or {})
    if kind == "look":
        data |= sentence.look_counts()
        if not data:
            raise JournalError(
                f"a note of look says not what was seen; write it like {_EXAMPLES['look']!r} or "
                "'look B4 nothing'"
            )
    lacking = [key for key in KIND_RULES[kind].needs if key not in (*data, "start_at", "end_at")]
    if lacking:
        raise JournalError(
            f"a note of {kind} lacks {lacking[0]}; write it like {_EXAMPLES[kind]!r}"
        )
    sentence.refuse_shared(data)
    low_c, high_c = data.get("air_temp_min_c"), data.get("air_temp_max_c")
    if low_c is not None and high_c is not None and low_c > high_c:
        raise JournalError(
            f"a note of temp has its min above its max: found {rest.strip()!r}; "
            "allowed: the lower one as min; check which is which"
        )
    happened_at = when.happened_at
    if kind in ("rain", "temp"):
        data |= {"start_at": utc_text(when.start_at), "end_at": utc_text(when.end_at)}
        happened_at = when.end_at
    recorded_at = now if recorded_at is None else recorded_at
    whole: list[Place | tuple[None, None]] = [*sentence.places] or [(None, None)]
    return tuple(
        _named(
            checked_entry(
                Event(
                    "",
                    kind,
                    happened_at,
                    recorded_at,
                    bed,
                    part,
                    _with_known_area(data, bed, quadrats or {}),
                    None,
                    note,
                )
            )
        )
        for bed, part in whole
    )


def _named(event: Event) -> Event:
    """The entry with a name of its own."""
    event_id = new_event_id(
        event.kind,
        event.happened_at,
        recorded_at=event.recorded_at,
        bed=event.bed,
        part=event.part,
        data=event.data,
        note=event.note,
    )
    return replace(event, event_id=event_id)


def _with_known_area(
    data: Mapping[str, Any], bed: str | None, quadrats: Quadrats
) -> dict[str, Any]:
    """The data with the area of a quadrat that was logged before, and its name as then."""
    if "quadrat" not in data or bed is None:
        return dict(data)
    name, area_m2 = quadrats.get((bed, str(data["quadrat"]).casefold()), ("", None))
    said_m2 = data.get("area_m2", area_m2)
    if said_m2 is None:
        raise JournalError(
            f"quadrat {data['quadrat']!r} of {bed} has no area yet; say it once, like in 0.25 m2 "
            f"quadrat {data['quadrat']}"
        )
    if area_m2 is None:
        return dict(data)
    if abs(said_m2 / area_m2 - 1.0) > _SAME_AREA:
        raise JournalError(
            f"quadrat {name!r} of {bed} was {area_m2:g} m2 and is {said_m2:g} m2 now; leave the "
            "area away, or give a new place a name of its own"
        )
    return {**data, "quadrat": name, "area_m2": area_m2}


def _with_known_setup(
    data: Mapping[str, Any], setups: Mapping[str, Collection[str]]
) -> dict[str, Any]:
    """The data with the set-up as the farm spells it; refused where the tool has no such one."""
    tool, setup = data.get("tool"), data.get("setup")
    if not isinstance(tool, str) or tool not in setups or not isinstance(setup, str):
        return dict(data)
    spelled = {name.casefold(): name for name in setups[tool]}
    plain = " ".join(setup.casefold().split())
    if plain not in spelled:
        raise JournalError(
            f"{tool} has no set-up {setup!r}; {names_hint(setup, setups[tool])}; "
            "a new one goes into farm.toml first"
        )
    return {**data, "setup": spelled[plain]}


# ------------------------------------------------------------------ clauses

_N = r"\d+(?:[.,]\d+)?"
_QTY = rf"([-+−]?{_N} ?[^\s\d,]+)"
_HOUR = r"(?:h|hrs?|hours?)"
_TIME = rf"((?:{_N} ?{_HOUR} )?{_N} ?(?:min|mins|minutes?|{_HOUR}))(?![^\s])"
_SETUP_TIME = r"set-?up[ -](?:time|took)"
_STAGE_WORDS = {
    "threads?": "thread",
    "seed[ _-]?lea(?:f|ves)": "seed_leaf",
    "true[ _-]?lea(?:f|ves)": "true_leaf",
    "young": "young",
    "established": "established",
}


class _Sentence:
    """What is left to read of a note, and what was read of it."""

    def __init__(
        self, kind: str, rest: str, tools: Collection[str], crops: Collection[str]
    ) -> None:
        self.kind = kind
        self.rest = rest
        self.tools = tools
        self.crops = crops
        self.beds: Collection[str] = ()
        self.places: list[Place] = []
        self.has_part_clause = False
        self.data: dict[str, Any] = {}
        self.counts: dict[str, float] = {}
        self.per_m2: float | None = None  # the area that counts are said of, where they are said so

    def take_beds(self, beds: Collection[str]) -> None:
        """Read the bed or beds, each with the part that may follow after a slash."""
        self.beds = beds
        self.places, self.rest = taken_beds(self.rest, beds, is_many=self.kind in MANY_BED_KINDS)

    def look_counts(self) -> dict[str, Any]:
        """Weeds per m2, or sprouts as counted."""
        if self.per_m2 is None:
            whole = {stage: int(n) if n.is_integer() else n for stage, n in self.counts.items()}
            return {f"n_{stage}": n for stage, n in whole.items()}
        if "area_m2" in self.data or "quadrat" in self.data:
            raise JournalError("says per m2 or ft2, and in what area; say one of the two")
        if not self.counts:
            raise JournalError(f"counts nothing per m2; write it like {_EXAMPLES['look']!r}")
        return {stage: n / self.per_m2 for stage, n in self.counts.items()}

    def refuse_shared(self, data: Mapping[str, Any]) -> None:
        """Refuse of several beds what is of one."""
        if len(self.places) < 2:
            return
        if self.has_part_clause:
            raise JournalError(
                "says part of several beds; write each part with its bed, like B4/a B5/b"
            )
        n_beds = f"{len(self.places)} beds"
        if "work_min" in data:
            raise JournalError(
                f"says {data['work_min']:g} min of {n_beds}; give each bed its own minutes, or "
                "leave them away"
            )
        if "left_n" in data or any(key.startswith("n_") for key in data) or "area_m2" in data:
            raise JournalError(
                f"counts in {n_beds} at once; log each with its own count, or all with nothing, "
                "few, some or many"
            )

    def take_clauses(self) -> None:
        """Read clause after clause until nothing is left."""
        clauses = _CLAUSES[self.kind]
        while self.rest:
            for _, take in clauses:
                before = len(self.rest)
                take(self)
                if len(self.rest) < before:
                    break
            else:
                self._refuse(clauses)

    def _refuse(self, clauses: tuple[_Clause, ...]) -> None:
        """Say which words could not be read, and what would be."""
        found = self.rest if len(self.rest) <= 30 else self.rest[:27] + "..."
        second, _ = taken_name(self.rest, self.beds)
        if second and self.kind not in MANY_BED_KINDS:
            raise JournalError(
                f"names a second bed, {second!r}; a note of {self.kind} is of one bed, write one "
                "for each"
            )
        names = {"TOOL": self.tools, "CROP": self.crops}
        for form, _ in clauses:
            key = form.lower()
            word = self.rest.split(" ")[0]
            if form in names and key not in self.data and not word[0].isdigit():
                hint = names_hint(word, names[form])
                raise JournalError(f"there is no {key} {word!r}; {hint}")
        allowed = ", ".join(form for form, _ in clauses)
        raise JournalError(
            f"cannot read {found!r} in a note of {self.kind}; allowed here: {allowed}, "
            "a moment such as last night, 10:30, 8 May or 2013-05-08 10:30, # and a remark"
        )

    def match(self, pattern: str) -> re.Match[str] | None:
        """Read `pattern` at the head, if it stands there as whole words."""
        found = re.match(rf"{pattern}(?: |$)", self.rest, re.IGNORECASE)
        if found:
            self.rest = self.rest[found.end() :].lstrip()
        return found

    def put(self, key: str, value: object) -> None:
        """Keep one value; refuse a second one."""
        if key in self.data:
            raise JournalError(f"says {key} twice; say it once")
        self.data[key] = value

    def take_name(self, key: str, names: Collection[str]) -> None:
        """Read a name of `names` at the head."""
        if key not in self.data:
            name, self.rest = taken_name(self.rest, names)
            if name:
                self.data[key] = name


_Clause = tuple[str, Callable[[_Sentence], None]]
"""How a clause is written, and what reads it."""


def _quantity(form: str, pattern: str, key: str, read: Callable[[object], float]) -> _Clause:
    """A clause of one quantity."""

    def take(sentence: _Sentence) -> None:
        found = sentence.match(pattern)
        if found:
            sentence.put(key, read(_decimal_point(found[1])))

    return form, take


def _decimal_point(text: str) -> str:
    return re.sub(r"(?<=\d),(?=\d)", ".", text)


def _flag(form: str, pattern: str, values: Mapping[str, object]) -> _Clause:
    """A clause of fixed words."""

    def take(sentence: _Sentence) -> None:
        if sentence.match(pattern):
            for key, value in values.items():
                sentence.put(key, value)

    return form, take


def _take_rows(sentence: _Sentence) -> None:
    found = sentence.match(r"(\d+) ?rows?")
    if found:
        sentence.put("n_rows", int(found[1]))


def _take_stretch(sentence: _Sentence) -> None:
    found = sentence.match(rf"from {_QTY} to {_QTY}")
    if found:
        sentence.put("from_m", quantities.length_m(_decimal_point(found[1])))
        sentence.put("to_m", quantities.length_m(_decimal_point(found[2])))


def _take_part(sentence: _Sentence) -> None:
    found = sentence.match(r"part (\S+)")
    if found:
        bed, part = sentence.places[0]
        if part is not None:
            raise JournalError("says part twice; say it once")
        sentence.places[0] = (bed, found[1])
        sentence.has_part_clause = True


def _take_setup_time(sentence: _Sentence) -> None:
    found = sentence.match(rf"{_SETUP_TIME} {_TIME}")
    if found:
        sentence.put("setup_min", quantities.duration_min(_decimal_point(found[1])))


def _take_setup(sentence: _Sentence) -> None:
    ends = rf"(?= worked| not worked| part | {_SETUP_TIME} | {_QTY} deep| {_TIME}|$)"
    found = sentence.match(rf'setup (?:"([^"]+)"|(.+?){ends})')
    if found:
        sentence.put("setup", found[1] or found[2])


def _take_worked(sentence: _Sentence) -> None:
    how, why = ("|".join(words) for words in (HOWS, FOUND))
    found = sentence.match(rf"(?:not worked(?: ({why}))?|worked(?: ({how}))?)")
    if found:
        sentence.put("worked", not found[0].lower().startswith("not"))
        for key, word in (("found", found[1]), ("how", found[2])):
            if word:
                sentence.put(key, word.lower())


def _take_count(sentence: _Sentence) -> None:
    for pattern, stage in _STAGE_WORDS.items():
        found = sentence.match(rf"({_N}) ?{pattern},?")
        if found:
            if stage in sentence.counts:
                raise JournalError(f"says {stage} twice; say it once")
            sentence.counts[stage] = float(_decimal_point(found[1]))
            return


def _take_share(sentence: _Sentence) -> None:
    """The square metre or foot that the counts are of."""
    found = sentence.match(
        r"(?:per |/ ?)(m2|ft2|sq ?ft|sq ?m|square foot|square metre|square meter)"
    )
    if found:
        if sentence.per_m2 is not None:
            raise JournalError("says per what area twice; say it once")
        sentence.per_m2 = _M2_PER_FT2 if "f" in found[1].lower() else 1.0


def _take_area(sentence: _Sentence) -> None:
    """The area in which the weeds were counted."""
    sides = rf"{_N} ?(?:mm|cm|m|in|ft)? ?x ?{_N} ?(?:mm|cm|m|in|ft)"
    found = sentence.match(rf"in ({sides}|{_N} ?(?:square \w+|sq\.? ?\w+|[^\s\d,]+[2²]?))")
    if found:
        sentence.put("area_m2", quantities.area_m2(_decimal_point(found[1])))


def _take_quadrat(sentence: _Sentence) -> None:
    found = sentence.match(r'(?:in )?quadrat (?:"([^"]+)"|(\S+))')
    if found:
        sentence.put("quadrat", found[1] or found[2])


def _take_first(sentence: _Sentence) -> None:
    found = sentence.match(r"first (threads?|green)")
    if found:
        sentence.put("first", "green" if found[1].lower() == "green" else "threads")


def _take_amount(sentence: _Sentence) -> None:
    found = sentence.match(rf"({'|'.join(AMOUNTS)})(?: weeds)?")
    if found:
        sentence.put("amount", found[1].lower())


def _take_survivors(sentence: _Sentence) -> None:
    found = sentence.match(r"(?:survivors?|survived) (\d{1,6}) of (\d{1,6})")
    if found:
        sentence.put("left_n", int(found[1]))
        sentence.put("of_n", int(found[2]))


def _take_running(sentence: _Sentence) -> None:
    """Time that drip or sprinkler ran, with the depth it gives an hour."""
    found = sentence.match(rf"{_TIME} at ({_N} ?(?:mm|in))(?:/ ?h(?:our)?| per hour| an hour)")
    if found:
        depth_mm = quantities.rain_mm(_decimal_point(found[2]))
        sentence.put("water_mm", depth_mm * quantities.duration_h(_decimal_point(found[1])))
        return
    found = sentence.match(_TIME)
    if found:
        raise JournalError(
            f"says how long but not how much an hour: found {found[1]!r}; write it like "
            "'water B4 90 min at 8 mm/h' (stand a straight tin under the sprinkler for an hour)"
        )


def _take_feel(sentence: _Sentence) -> None:
    for words, feel in FEEL_WORDS.items():
        if sentence.match(words):
            sentence.put("feel", feel)
            return


_PART: _Clause = ("part NAME", _take_part)
_DEEP = _quantity("15 mm deep", rf"{_QTY} deep", "depth_mm", quantities.depth_mm)
_WORK = _quantity("6 min", _TIME, "work_min", quantities.duration_min)
_TOOL: _Clause = ("TOOL", lambda sentence: sentence.take_name("tool", sentence.tools))
_PLANTED: tuple[_Clause, ...] = (
    ("CROP", lambda sentence: sentence.take_name("crop", sentence.crops)),
    ("3 rows", _take_rows),
    _quantity("30 cm apart", rf"{_QTY} apart", "row_spacing_mm", quantities.depth_mm),
    _DEEP,
    ("from 0 m to 10 m", _take_stretch),
    _PART,
)
_CLAUSES: Mapping[str, tuple[_Clause, ...]] = {
    "rain": (
        _flag("trace", "trace", {"rain_mm": 0.0, "is_trace": True}),
        _flag("none", "none", {"rain_mm": 0.0}),
        _quantity("18 mm", _QTY, "rain_mm", quantities.rain_mm),
    ),
    "temp": (
        _quantity("min 4 C", rf"min {_QTY}", "air_temp_min_c", quantities.temperature_c),
        _quantity("max 21 C", rf"max {_QTY}", "air_temp_max_c", quantities.temperature_c),
    ),
    "water": (
        ("90 min at 8 mm/h", _take_running),
        _quantity("12 mm", _QTY, "water_mm", quantities.rain_mm),
        _PART,
    ),
    "sow": _PLANTED,
    "plant": _PLANTED,
    "prep": (_TOOL, _DEEP, _PART),
    "pass": (
        _TOOL,
        _DEEP,
        _WORK,
        ("setup-time 8 min", _take_setup_time),
        ("setup NAME", _take_setup),
        (
            f"worked, worked {'/'.join(HOWS)}, not worked, not worked {'/'.join(FOUND)}",
            _take_worked,
        ),
        _PART,
    ),
    "look": (
        ("12 threads (or seed leaves, true leaves, young, established)", _take_count),
        _flag("nothing", "nothing(?: yet| seen)?", {"nothing": True}),
        ("first threads, first green", _take_first),
        ("/".join(AMOUNTS), _take_amount),
        ("survivors 4 of 20", _take_survivors),
        ("in 0.25 m2", _take_area),
        ("quadrat NAME", _take_quadrat),
        ("per m2", _take_share),
        _PART,
    ),
    "feel": (("one of " + "/".join(FEEL_WORDS), _take_feel), _PART),
    "up": (_PART,),
    "rooted": (_PART,),
    "hand": (_WORK, _PART),
    "clear": (_PART,),
}

# ------------------------------------------------------------------ moments

_MONTHS = [
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
]
_MONTH = "|".join(f"{name[:3]}(?:{name[3:]})?" for name in _MONTHS) + "|sept"
_DAY = rf"\d{{4}}-\d{{2}}-\d{{2}}|\d{{1,2}} (?:{_MONTH})|today|yesterday"
_CLOCK = r"\d{1,2}:\d{2}"
_POINT = rf"(?:(?:(?:on )?(?:{_DAY})(?:[T ](?:at )?{_CLOCK})?)|(?:at )?{_CLOCK})"
_FROM_TO = re.compile(rf"(?<!\S)from ({_POINT}) to ({_POINT})(?!\S)", re.IGNORECASE)
_WORDS = re.compile(
    rf"(?<!\S)(last night|this morning|this afternoon|{_POINT})(?!\S)", re.IGNORECASE
)


def _when(
    rest: str, kind: str, zone: ZoneInfo, now: datetime, gauge_read_at: time
) -> tuple[_When, str]:
    """Take the moment out of a note; what is left is its clauses."""
    span = _FROM_TO.search(rest)
    if span and kind not in ("rain", "temp"):
        raise JournalError(f"a note of {kind} has one moment, not {span[0]!r}; write when it was")
    pattern = _FROM_TO if span else _WORDS
    found = pattern.search(rest)
    if found is None:
        return _reading(gauge_read_at, zone, now), rest
    left = f"{rest[: found.start()]} {rest[found.end() :]}"
    left = " ".join(left.split())
    second = _WORDS.search(left)
    if second:
        raise JournalError(f"says when twice, {found[0]!r} and {second[0]!r}; say it once")
    when = _stretch(found[1], found[2], zone, now) if span else _moment(found[1], zone, now)
    if when.start_at >= now or when.happened_at > now:
        raise JournalError(
            f"{found[0]!r} lies ahead of now ({now.astimezone(zone):%Y-%m-%d %H:%M}); "
            "log it once it has happened"
        )
    return replace(when, end_at=min(when.end_at, now)), left


def _reading(at: time, zone: ZoneInfo, now: datetime) -> _When:
    """Nothing said: now; of rain, the day up to this morning's reading."""
    today = now.astimezone(zone).date()
    end_at = local_moment(today, at, zone)
    return _When(now, local_moment(today - timedelta(days=1), at, zone), min(end_at, now))


def _moment(words: str, zone: ZoneInfo, now: datetime) -> _When:
    """What one phrase means."""
    today = now.astimezone(zone).date()
    words = words.lower()
    if words == "last night":
        before = today - timedelta(days=1)
        return _When(
            local_moment(before, time(20), zone),
            local_moment(before, EVENING_AT, zone),
            local_moment(today, GAUGE_READ_AT, zone),
        )
    if words in _SPAN_WORDS:
        at, start, end = (local_moment(today, clock, zone) for clock in _SPAN_WORDS[words])
        return _When(min(at, now), start, end)
    day, clock, has_date = _day_and_clock(words, today)
    if clock is not None:
        at = local_moment(day, clock, zone)
        return _When(at, at - hours(24), at, has_date)
    end_at = start_of_day(day + timedelta(days=1), zone)
    happened_at = now if words == "today" else noon_or_now(day, zone, now)
    return _When(happened_at, start_of_day(day, zone), end_at, has_date)


def _stretch(first: str, second: str, zone: ZoneInfo, now: datetime) -> _When:
    """`from MOMENT to MOMENT`; a bare time at the end is of the day of the start."""
    today = now.astimezone(zone).date()
    day, clock, has_date = _day_and_clock(first.lower(), today)
    is_bare = re.fullmatch(rf"(?:at )?{_CLOCK}", second, re.IGNORECASE) is not None
    last_day, last_clock, _ = _day_and_clock(second.lower(), day if is_bare else today)
    start_at = start_of_day(day, zone) if clock is None else local_moment(day, clock, zone)
    end_at = (
        start_of_day(last_day + timedelta(days=1), zone)
        if last_clock is None
        else local_moment(last_day, last_clock, zone)
    )
    if end_at > now and last_clock is not None:
        raise JournalError(
            f"{second!r} lies ahead of now ({now.astimezone(zone):%Y-%m-%d %H:%M}); "
            "log it once it has happened"
        )
    return _When(min(end_at, now), start_at, end_at, has_date)


def _day_and_clock(words: str, today: date) -> tuple[date, time | None, bool]:
    """The day and the time of a phrase, and whether the day is written out."""
    day, has_date = today, False
    clock: time | None = None
    words = re.sub(
        rf"(\d{{1,2}}) ({_MONTH})(?![a-z])", lambda found: _last_such_day(found, today), words
    )
    for word in words.replace("t", " t ").split() if _is_joined(words) else words.split():
        if re.fullmatch(r"\d{4}-\d{2}-\d{2}", word):
            day, has_date = parse_day(word), True
        elif word == "yesterday":
            day = today - timedelta(days=1)
        elif re.fullmatch(_CLOCK, word):
            clock = parse_clock(word)
    return day, clock, has_date


def _last_such_day(found: re.Match[str], today: date) -> str:
    """The ISO day meant by `8 may`: this year's, or last year's while it lies ahead."""
    number = int(found[1])
    month = 1 + next(n for n, name in enumerate(_MONTHS) if name.startswith(found[2][:3]))
    year = today.year if (month, number) <= (today.month, today.day) else today.year - 1
    return f"{year}-{month:02d}-{number:02d}"


def _is_joined(words: str) -> bool:
    """Whether day and time are written as one word, `2013-05-08T07:00`."""
    return re.fullmatch(rf"\d{{4}}-\d{{2}}-\d{{2}}t{_CLOCK}", words) is not None
