"""What an entry of the journal may hold, which entries stand, and how an entry gets its name."""

from __future__ import annotations

import hashlib
import json
import math
import unicodedata
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from scheduler.adapters.journal.moments import utc_moment, utc_text
from scheduler.adapters.nearest import nearest
from scheduler.adapters.render.phrases import bed_ranges
from scheduler.errors import JournalError
from scheduler.records import EVENT_KINDS, Event

STAGES = ("thread", "seed_leaf", "true_leaf", "young", "established")
COUNTS = tuple(f"n_{stage}" for stage in STAGES)
"""Sprouts as counted; the stages themselves are weeds per m2."""

FIRSTS = ("threads", "green")
"""What was seen in a bed for the first time since it was last worked."""

AMOUNTS = ("few", "some", "many")
HOWS = ("well", "fair", "poorly")
"""How a pass worked, where it did."""

FEELS = ("wet", "smears", "crumbles", "dry", "hard")
"""What a squeezed handful from working depth does; `crumbles` is fit, `dry` is powdery."""

FEEL_WORDS: Mapping[str, str] = {
    "too wet": "wet",
    "wet": "wet",
    "sticky": "smears",
    "smears": "smears",
    "crumbles": "crumbles",
    "fit": "crumbles",
    "powdery": "dry",
    "dry": "dry",
    "hard": "hard",
}
"""What a grower may say of it, and the word that is kept."""

FOUND = ("too wet", "too hard")
"""What was found where a pass was not made."""

LONGEST_SPAN = timedelta(days=31)
"""The longest time one rain, temperature or weather value may cover."""

MOST_WEEDS_M2 = 50_000
"""Five to the square centimetre: more is a wrong unit or area."""

MOST_SPROUTS = 500
"""More than anybody scratches up in a few spots."""

SURVIVORS_WITHIN = timedelta(days=21)
"""The longest time from a pass to a look at what outlived it."""


@dataclass(frozen=True)
class DataKey:
    """One key of `Event.data`: what it holds and, for numbers, from where to where."""

    name: str
    holds: str  # number, whole, text, moment, yes_no, or one of the words of `WORDS`
    low: float = -math.inf
    high: float = math.inf
    unit: str = ""


WORDS: Mapping[str, tuple[str, ...]] = {
    "how": HOWS,
    "found": FOUND,
    "feel": FEELS,
    "first": FIRSTS,
    "amount": AMOUNTS,
}
"""The words allowed for keys that hold one of a few."""

DATA_KEYS: Mapping[str, DataKey] = {
    key.name: key
    for key in (
        DataKey("rain_mm", "number", 0, 500, "mm"),
        DataKey("start_at", "moment"),
        DataKey("end_at", "moment"),
        DataKey("is_trace", "yes_no"),
        DataKey("air_temp_min_c", "number", -60, 60, "C"),
        DataKey("air_temp_max_c", "number", -60, 60, "C"),
        DataKey("water_mm", "number", 0, 300, "mm"),
        DataKey("crop", "text"),
        DataKey("n_rows", "whole", 1, 60),
        DataKey("row_spacing_mm", "number", 20, 3000, "mm"),
        DataKey("depth_mm", "number", 0, 600, "mm"),
        DataKey("from_m", "number", 0, 5000, "m"),
        DataKey("to_m", "number", 0, 5000, "m"),
        DataKey("tool", "text"),
        DataKey("work_min", "number", 0, 1440, "min"),
        DataKey("setup", "text"),
        DataKey("worked", "yes_no"),
        DataKey("how", "how"),
        DataKey("found", "found"),
        *(DataKey(stage, "number", 0, MOST_WEEDS_M2, "per m2") for stage in STAGES),
        DataKey("nothing", "yes_no"),
        DataKey("feel", "feel"),
        DataKey("setup_min", "number", 0, 480, "min"),
        *(DataKey(count, "whole", 0, 5000) for count in COUNTS),
        DataKey("area_m2", "number", 0.002, 5, "m2"),
        DataKey("quadrat", "text"),
        DataKey("first", "first"),
        DataKey("amount", "amount"),
        DataKey("left_n", "whole", 0, 500),
        DataKey("of_n", "whole", 1, 500),
    )
}


@dataclass(frozen=True)
class KindRule:
    """What an entry of one kind needs and may have."""

    has_bed: bool
    needs: tuple[str, ...] = ()
    may_have: tuple[str, ...] = ()
    needs_one_of: tuple[str, ...] = ()

    @property
    def keys(self) -> tuple[str, ...]:
        """Every key an entry of this kind may carry."""
        return (*self.needs, *self.needs_one_of, *self.may_have)


_PLANTED = KindRule(True, ("crop",), ("n_rows", "row_spacing_mm", "depth_mm", "from_m", "to_m"))
KIND_RULES: Mapping[str, KindRule] = {
    "rain": KindRule(False, ("rain_mm", "start_at", "end_at"), ("is_trace",)),
    "temp": KindRule(
        False, ("start_at", "end_at"), needs_one_of=("air_temp_min_c", "air_temp_max_c")
    ),
    "water": KindRule(True, ("water_mm",)),
    "sow": _PLANTED,
    "plant": _PLANTED,
    "prep": KindRule(True, (), ("depth_mm", "tool")),
    "pass": KindRule(
        True,
        ("tool",),
        ("depth_mm", "work_min", "setup", "setup_min", "worked", "how", "found"),
    ),
    "look": KindRule(
        True,
        (),
        ("area_m2", "quadrat", "of_n"),
        needs_one_of=(*STAGES, "nothing", *COUNTS, "first", "amount", "left_n"),
    ),
    "feel": KindRule(True, ("feel",)),
    "up": KindRule(True),
    "rooted": KindRule(True),
    "hand": KindRule(True, (), ("work_min",)),
    "clear": KindRule(True),
    "undo": KindRule(False),
}


def names_hint(name: str, allowed: Collection[str]) -> str:
    """The end of a message: the nearest allowed name, or those allowed.

    Examples
    --------
    >>> names_hint("pss", ["pass", "prep"]), names_hint("xyz", ["pass", "prep"])
    ("did you mean 'pass'?", 'allowed: pass, prep')
    """
    near = nearest(name, allowed)
    if near is not None:
        return f"did you mean {near!r}?"
    if not allowed:
        return "the farm names none"
    names = bed_ranges(allowed).split(", ")
    return "allowed: " + ", ".join(names[:14]) + (", ..." if len(names) > 14 else "")


def new_event_id(
    kind: str,
    happened_at: datetime,
    *,
    recorded_at: datetime | None = None,
    bed: str | None = None,
    part: str | None = None,
    data: Mapping[str, Any] | None = None,
    supersedes: str | None = None,
    note: str = "",
    nth: int = 0,
) -> str:
    """A name made from what the entry says; the same entry gets the same name.

    Parameters
    ----------
    recorded_at
        Given for entries typed by hand, so that logging twice gives two entries; left out for rows
        of a file, so that reading the file twice adds nothing.
    nth
        Counts equal rows of one file.

    Examples
    --------
    >>> from datetime import UTC
    >>> new_event_id("up", datetime(2013, 5, 8, 12, tzinfo=UTC), bed="B4")
    'up-8e62a5b97b'
    """
    said = [
        kind,
        utc_text(happened_at),
        None if recorded_at is None else utc_text(recorded_at),
        bed,
        part,
        data_text(data or {}),
        supersedes,
        note,
        nth,
    ]
    digest = hashlib.sha256(json.dumps(said).encode("utf-8", "surrogatepass")).hexdigest()
    return f"{kind}-{digest[:10]}"


def data_text(data: Mapping[str, Any]) -> str:
    """`Event.data` as JSON text with sorted keys."""
    return json.dumps(dict(data), sort_keys=True, allow_nan=False, ensure_ascii=False)


def is_said_by(entry: Event, other: Event) -> bool:
    """Whether two entries say the same, whenever each was recorded."""
    return replace(entry, recorded_at=other.recorded_at) == other


def checked_entry(event: Event) -> Event:
    """The entry with blanks trimmed and values in their own type; its id may still be blank.

    Raises
    ------
    JournalError
        One line: the entry, what was found, what is allowed.
    """
    what = f"entry {event.event_id}" if event.event_id else "an entry"
    if event.kind not in EVENT_KINDS:
        raise JournalError(
            f"{what}: there is no kind {event.kind!r}; {names_hint(event.kind, EVENT_KINDS)}"
        )
    what = f"{what} ({event.kind})" if event.event_id else f"entry of kind {event.kind}"
    rule = KIND_RULES[event.kind]
    happened_at = utc_moment(utc_text(event.happened_at))
    recorded_at = utc_moment(utc_text(event.recorded_at))
    if happened_at > recorded_at:
        raise JournalError(
            f"{what}: happened at {utc_text(happened_at)}, after it was recorded at "
            f"{utc_text(recorded_at)}; log it once it has happened"
        )
    bed = _text(event.bed, "bed", what) or None
    part = _text(event.part, "part", what) or None
    supersedes = _text(event.supersedes, "supersedes", what) or None
    event_id = _text(event.event_id, "id", what)
    if rule.has_bed and bed is None:
        raise JournalError(f"{what}: names no bed; say which bed")
    if not rule.has_bed and event.kind != "undo" and bed is not None:
        raise JournalError(
            f"{what}: names bed {bed!r}, but is of the whole farm; leave the bed away"
        )
    if part is not None and bed is None:
        raise JournalError(f"{what}: names part {part!r} without a bed; say which bed")
    if event.kind == "undo" and supersedes is None:
        raise JournalError(f"{what}: does not say which entry it undoes; fill supersedes")
    data = {key: _value(key, event.data[key], rule, what) for key in event.data}
    _check_together(event.kind, data, rule, happened_at, recorded_at, what)
    return Event(
        event_id=event_id,
        kind=event.kind,
        happened_at=happened_at,
        recorded_at=recorded_at,
        bed=bed,
        part=part,
        data=data,
        supersedes=supersedes,
        note=_text(event.note, "note", what),
    )


def is_one_line(text: str) -> bool:
    """Whether a text holds no line break, control sign or half a character."""
    return text.isprintable() or not any(
        unicodedata.category(sign) in ("Cc", "Cs", "Zl", "Zp") for sign in text
    )


def _text(value: object, name: str, what: str) -> str:
    """`value` as one trimmed line."""
    if value is None:
        return ""
    if not isinstance(value, str):
        raise JournalError(f"{what}: {name} is {value!r}; write it as text")
    trimmed = value.strip()
    if not is_one_line(trimmed):
        raise JournalError(
            f"{what}: {name} {trimmed[:30]!r} holds a line break or another unprintable sign; "
            "write it as one line"
        )
    return trimmed


def _value(key: str, value: object, rule: KindRule, what: str) -> object:
    """The checked value of one key."""
    if key not in rule.keys:
        hint = names_hint(key, rule.keys) if rule.keys else "this kind carries none"
        raise JournalError(f"{what}: has no place for {key!r}; {hint}")
    known = DATA_KEYS[key]
    if known.holds == "text":
        text = _text(value, key, what)
        if not text:
            raise JournalError(f"{what}: {key} is blank; fill it or leave it away")
        return text
    if known.holds in WORDS:
        words = WORDS[known.holds]
        if value not in words:
            raise JournalError(f"{what}: {key} is {value!r}; allowed: {', '.join(words)}")
        return value
    if known.holds == "yes_no":
        if not isinstance(value, bool):
            raise JournalError(f"{what}: {key} is {value!r}; allowed: true, false")
        return value
    if known.holds == "moment":
        return _moment(key, value, what)
    return _number(known, value, what)


def _moment(key: str, value: object, what: str) -> str:
    """A moment of `Event.data` as UTC text."""
    try:
        moment = datetime.fromisoformat(value) if isinstance(value, str) else None
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        raise JournalError(
            f"{what}: {key} is {value!r}; write a moment with offset, "
            "like 2013-05-08T07:00:00+00:00"
        )
    return utc_text(moment)


def _number(known: DataKey, value: object, what: str) -> float | int:
    """A number within its bounds."""
    unit = f" {known.unit}" if known.unit else ""
    allowed = f"allowed: {known.low:g} to {known.high:g}{unit}"
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if not is_number or not known.low <= float(value) <= known.high:  # type: ignore[arg-type]
        raise JournalError(f"{what}: {known.name} is {value!r}; {allowed}")
    number = float(value)  # type: ignore[arg-type]
    if known.holds == "number":
        return number + 0.0  # a negative zero becomes zero
    if not number.is_integer():
        raise JournalError(f"{what}: {known.name} is {value!r}; {allowed}, a whole number")
    return int(number)


def _check_together(
    kind: str,
    data: Mapping[str, Any],
    rule: KindRule,
    happened_at: datetime,
    recorded_at: datetime,
    what: str,
) -> None:
    """Refuse what each key alone cannot show."""
    for key in rule.needs:
        if key not in data:
            raise JournalError(f"{what}: lacks {key}; fill it")
    if rule.needs_one_of and not any(key in data for key in rule.needs_one_of):
        raise JournalError(f"{what}: says nothing; give one of {', '.join(rule.needs_one_of)}")
    if "start_at" in data:
        _check_span(data, happened_at, recorded_at, what)
    if data.get("is_trace") and data["rain_mm"] != 0:
        raise JournalError(f"{what}: is a trace and {data['rain_mm']:g} mm; a trace has rain_mm 0")
    if data.get("air_temp_min_c", -math.inf) > data.get("air_temp_max_c", math.inf):
        raise JournalError(
            f"{what}: air_temp_min_c {data['air_temp_min_c']:g} is above air_temp_max_c "
            f"{data['air_temp_max_c']:g}; check which is which"
        )
    if ("from_m" in data) != ("to_m" in data):
        raise JournalError(f"{what}: has one of from_m and to_m; give both or neither")
    if "from_m" in data and data["from_m"] >= data["to_m"]:
        raise JournalError(
            f"{what}: runs from {data['from_m']:g} m to {data['to_m']:g} m; "
            "to_m must be beyond from_m"
        )
    if data.get("work_min") == 0:
        raise JournalError(f"{what}: took 0 min; give the minutes or leave them away")
    if "how" in data and data.get("worked") is False:
        raise JournalError(f"{what}: says not worked and worked {data['how']}; give one of the two")
    if "found" in data and data.get("worked") is not False:
        raise JournalError(f"{what}: says found {data['found']}; that needs worked to be false")
    if kind == "look":
        _check_look(data, rule, what)


_LOOK_FORMS: Mapping[str, tuple[str, ...]] = {
    "weeds per m2": STAGES,
    "sprouts as counted": COUNTS,
    "a first sighting": ("first",),
    "an amount": ("amount",),
    "survivors": ("left_n", "of_n"),
}
"""What a look may say, beside nothing, and the keys that say it; one look says one of them."""


def _check_look(data: Mapping[str, Any], rule: KindRule, what: str) -> None:
    """Refuse a look that says nothing, two things at once, or what cannot be."""
    if data.get("nothing") is False and len(data) == 1:
        raise JournalError(f"{what}: says nothing; give one of {', '.join(rule.needs_one_of)}")
    weeds = [data[key] for key in (*STAGES, *COUNTS) if key in data]
    if data.get("nothing") and any(number > 0 for number in weeds):
        raise JournalError(f"{what}: says nothing was seen and counts weeds; give one of the two")
    said = [form for form, keys in _LOOK_FORMS.items() if any(key in data for key in keys)]
    if data.get("nothing") and not weeds:
        said.append("nothing")
    if len(said) > 1:
        raise JournalError(
            f"{what}: says {' and '.join(said[:2])}; one look says one of them, log the other by "
            "itself"
        )
    n_counted = sum(data.get(key, 0) for key in COUNTS)
    is_counted = any(key in data for key in COUNTS)
    if "area_m2" in data and not (is_counted or data.get("nothing")):
        raise JournalError(f"{what}: gives an area but no count in it; give the count")
    if "quadrat" in data and "area_m2" not in data:
        raise JournalError(f"{what}: names a quadrat but not its area; give area_m2")
    if is_counted and "area_m2" not in data:
        _check_sprouts(n_counted, bool(data.get("nothing")), what)
    if "area_m2" in data and n_counted > MOST_WEEDS_M2 * data["area_m2"]:
        raise JournalError(
            f"{what}: counts {n_counted} in {data['area_m2']:g} m2, "
            f"{n_counted / data['area_m2']:.0f} per m2; allowed: up to {MOST_WEEDS_M2} per m2; "
            "check count and area"
        )
    if ("left_n" in data) != ("of_n" in data):
        raise JournalError(f"{what}: has one of left_n and of_n; give both, as 4 of 20")
    if data.get("left_n", 0) > data.get("of_n", math.inf):
        raise JournalError(
            f"{what}: {data['left_n']} of {data['of_n']} were left; allowed: no more than were "
            "marked before the pass"
        )


def _check_sprouts(n_counted: int, is_nothing: bool, what: str) -> None:
    """Refuse sprouts scratched up in a few spots that are none, or too many for that."""
    if n_counted == 0 and not is_nothing:
        raise JournalError(f"{what}: counts no weed at all; say nothing instead, or of what area")
    if n_counted > MOST_SPROUTS:
        raise JournalError(
            f"{what}: counts {n_counted} sprouts without an area; allowed: up to {MOST_SPROUTS} of "
            "a few spots; say of what area, per m2 or in 0.25 m2"
        )


def quadrat_areas(events: Iterable[Event]) -> dict[tuple[str, str], tuple[str, float]]:
    """Name and area [m2] of each quadrat that stays in place, by bed and name in lower case."""
    return {
        (str(event.bed), str(event.data["quadrat"]).casefold()): (
            str(event.data["quadrat"]),
            float(event.data["area_m2"]),
        )
        for event in events
        if "quadrat" in event.data and "area_m2" in event.data
    }


def check_survivors(event: Event, known: Iterable[Event]) -> None:
    """Refuse a look at survivors in a bed that no pass of the weeks before is logged for.

    Raises
    ------
    JournalError
        One line: the bed, what was looked for, what to do.
    """
    if "left_n" not in event.data:
        return
    since = event.happened_at - SURVIVORS_WITHIN
    if not any(
        other.kind == "pass"
        and other.bed == event.bed
        and since <= other.happened_at <= event.happened_at
        and other.data.get("worked") is not False
        for other in known
    ):
        raise JournalError(
            f"{event.bed}: survivors of what? found no pass logged there in the "
            f"{SURVIVORS_WITHIN.days} days before; log the pass first"
        )


def _check_span(
    data: Mapping[str, Any], happened_at: datetime, recorded_at: datetime, what: str
) -> None:
    """Refuse a span that is empty, too long, or not over when the entry was recorded."""
    start_at, end_at = utc_moment(data["start_at"]), utc_moment(data["end_at"])
    if not timedelta(0) < end_at - start_at <= LONGEST_SPAN:
        raise JournalError(
            f"{what}: runs from {data['start_at']} to {data['end_at']}; the end must be after the "
            f"start and at most {LONGEST_SPAN.days} days later"
        )
    if end_at > recorded_at:
        raise JournalError(
            f"{what}: runs until {data['end_at']}, after it was recorded at "
            f"{utc_text(recorded_at)}; end it when it was read"
        )
    if happened_at < start_at:
        raise JournalError(
            f"{what}: happened at {utc_text(happened_at)}, before its start {data['start_at']}; "
            "check the moments"
        )


def standing_entries(recorded: Iterable[Event]) -> list[Event]:
    """The entries that stand, corrections applied; undo entries themselves drop out.

    A correction takes the place of the entry it supersedes. Undoing an entry takes it away; undoing
    a correction brings back what it had replaced. An undo is final: log the entry again instead.

    Parameters
    ----------
    recorded
        Entries in the order in which they were recorded.

    Raises
    ------
    JournalError
        If an entry supersedes one that is absent, recorded later, no longer standing, or an undo.
    """
    seen: dict[str, Event] = {}
    stands: dict[str, bool] = {}
    for event in recorded:
        seen[event.event_id] = event
        stands[event.event_id] = event.kind != "undo"
        if event.supersedes is None:
            continue
        what = f"entry {event.event_id} ({event.kind})"
        earlier = seen.get(event.supersedes)
        if earlier is None or earlier is event:
            raise JournalError(
                f"{what}: supersedes {event.supersedes!r}, which is not among the entries recorded "
                "before it; check the id"
            )
        if earlier.kind == "undo":
            raise JournalError(
                f"{what}: supersedes {event.supersedes!r}, which is an undo; log the entry again "
                "instead"
            )
        if not stands[earlier.event_id]:
            raise JournalError(
                f"{what}: supersedes {event.supersedes!r}, which no longer stands; supersede the "
                "entry that took its place"
            )
        stands[earlier.event_id] = False
        if event.kind == "undo" and earlier.supersedes is not None:
            stands[earlier.supersedes] = True
    return [event for name, event in seen.items() if stands[name]]


def check_names(
    event: Event,
    *,
    beds: Collection[str] | None = None,
    tools: Collection[str] | None = None,
    crops: Collection[str] | None = None,
) -> None:
    """Refuse a bed, tool or crop that the farm does not have; None leaves that list unchecked."""
    said = (
        ("bed", event.bed, beds),
        ("tool", event.data.get("tool"), tools),
        ("crop", event.data.get("crop"), crops),
    )
    for what, name, allowed in said:
        if name is not None and allowed is not None and name not in allowed:
            raise JournalError(f"there is no {what} {name!r}; {names_hint(name, allowed)}")
