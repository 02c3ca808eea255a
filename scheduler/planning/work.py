"""How long a pass takes, the set-up it needs, and how it went the last time."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from types import MappingProxyType

from scheduler.errors import RangeError
from scheduler.planning.geometry import Fit, is_same_spacing
from scheduler.planning.plantings import touches
from scheduler.records import Event, Planting, Setup, Tool

_ACCESS_MIN = 1.0
_LIFT_S = 20.0  # each part lifted over, each run
_OTHER_SETTING_FRAC = 0.5  # of the set-up minutes, for another setting of the same tool
_OTHER_SETTING_MIN = 5.0  # at most

_NUMBER_WORDS = ("one", "two", "three", "four", "five", "six")
_PASS_WORDS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {"blind": ("blind",), "stale": ("stale", "blind"), "standing": ("standing",)}
)


def work_minutes(tool: Tool, planting: Planting, fit: Fit) -> float:
    """Minutes for one pass over a planting: access, driving, turns, backing, lifting.

    Parameters
    ----------
    tool : Tool
        The tool.
    planting : Planting
        The planting.
    fit : Fit
        How the tool goes over it.

    Returns
    -------
    float
        Minutes [min], without the set-up that goes before; with the change of setting that a
        second setting within the pass needs.

    Raises
    ------
    RangeError
        If the tool does not fit the planting.

    Notes
    -----
    `t = access + n_runs (run / speed + turn + backing + 20 s a part lifted over) + (n_settings - 1)
    other setting`, times the factor that the grower's own stopwatch gave the tool, 1 until then.
    Turns, access and lifting are assumptions of this project (rules.csv, subject work). No range
    stated.

    Examples
    --------
    >>> from scheduler.records import Bed
    >>> p = Planting(Bed("A1", 18.0, 0.75, "loam"), None, 0.0, 18.0, *[None] * 6)
    >>> tool = Tool("tines", "tine weeder", 15.0, 0.9, width_m=0.8)
    >>> way = Fit(True, "over the empty bed", n_runs=1, turn_s=25.0, run_m=18.0)
    >>> work_minutes(tool, p, way)
    1.75
    """
    if not fit.is_fit:
        raise RangeError(
            f"work of '{tool.name}' on {planting.key}: it does not fit ({fit.why}); minutes are "
            "told for a tool that fits only, choose another tool"
        )
    run_s = fit.run_m / tool.speed_m_s + fit.turn_s + fit.back_s + _LIFT_S * len(fit.lift_over)
    settings_min = (fit.n_settings - 1) * _other_setting_min(tool)
    return tool.work_factor * (_ACCESS_MIN + fit.n_runs * run_s / 60.0 + settings_min)


def setup_of(tool: Tool, planting: Planting, purpose: str) -> Setup | None:
    """The named set-up of a tool that speaks of a pass.

    Parameters
    ----------
    tool : Tool
        The tool.
    planting : Planting
        The planting.
    purpose : str
        `blind` over a sown row before the crop is up, `stale` over a bed before sowing, `standing`
        along a crop that is up.

    Returns
    -------
    Setup or None
        None where no set-up speaks of it.

    Raises
    ------
    RangeError
        If the purpose is none of the three.

    Notes
    -----
    A blind or stale pass takes the set-up that says so; a stale pass also takes a blind one. A
    standing crop takes the set-up made for its rows and (within 15 %) their spacing, then one whose
    name has the number, as a word or a figure, then one named for a standing crop. Definition of
    this project. Range: number words to six.

    Examples
    --------
    >>> from scheduler.records import Bed
    >>> bed = Bed("A1", 18.0, 0.75, "loam")
    >>> p = Planting(bed, None, 0.0, 18.0, "carrot", True, None, 3, 250.0, 12.0)
    >>> hoe = Tool("hoe", "sweeps", 20.0, 0.7, setups=(Setup("blind"), Setup("three rows")))
    >>> setup_of(hoe, p, "standing").name, setup_of(hoe, p, "stale").name
    ('three rows', 'blind')
    """
    if purpose not in _PASS_WORDS:
        raise RangeError(
            f"set-up of '{tool.name}' on {planting.key}: no purpose '{purpose}', only "
            f"{', '.join(_PASS_WORDS)}; name one of them"
        )
    by_word = (_named(tool.setups, word) for word in _PASS_WORDS[purpose])
    if purpose != "standing":
        return next((s for s in by_word if s is not None), None)
    of_pass = {word for p in ("blind", "stale") for word in _PASS_WORDS[p]}
    others = tuple(s for s in tool.setups if not of_pass & _words(s.name))
    made_for = [s for s in others if s.n_rows is not None or s.row_spacing_mm is not None]
    for setup in made_for:
        if _speaks_of(setup, planting):
            return setup
    unnumbered = tuple(s for s in others if s not in made_for)
    for word in _number_words(planting.n_rows):
        if (named := _named(unnumbered, word)) is not None:
            return named
    return _named(unnumbered, "standing")


def _words(name: str) -> set[str]:
    return set(re.split(r"[^a-z0-9]+", name.lower()))


def _named(setups: Sequence[Setup], word: str) -> Setup | None:
    return next((s for s in setups if word in _words(s.name)), None)


def _number_words(n_rows: int | None) -> tuple[str, ...]:
    if n_rows is None or not 1 <= n_rows <= len(_NUMBER_WORDS):
        return ()
    return _NUMBER_WORDS[n_rows - 1], str(n_rows)


def _speaks_of(setup: Setup, planting: Planting) -> bool:
    """Whether what a set-up is made for is known of the planting, and is the same."""
    if setup.n_rows is not None and setup.n_rows != planting.n_rows:
        return False
    own, spacing = setup.row_spacing_mm, planting.row_spacing_mm
    if own is None or planting.n_rows == 1:
        return setup.n_rows is not None
    return spacing is not None and is_same_spacing(own, spacing)


def setup_minutes(
    before: tuple[str, str | None] | None, after: tuple[str, str | None], tool: Tool
) -> float:
    """Minutes to get a tool ready, from what was ready before.

    Parameters
    ----------
    before : tuple or None
        Name of the tool in use and of its set-up; None where nothing is mounted.
    after : tuple
        Name of the next tool and of its set-up.
    tool : Tool
        The next tool.

    Returns
    -------
    float
        Minutes [min]: none for the same tool and set-up, half of the tool's own but at most 5 min
        for another set-up of the same tool, the tool's own for another tool.

    Notes
    -----
    The half and the 5 min are assumptions of this project (rules.csv, subject work). No range
    stated.

    Examples
    --------
    >>> sweeps = Tool("sweeps", "sweeps", 25.0, 0.9, setup_min=12.0)
    >>> now = ("sweeps", "two rows")
    >>> [setup_minutes(b, now, sweeps) for b in (now, ("sweeps", "three rows"), None)]
    [0.0, 5.0, 12.0]
    """
    if before == after:
        return 0.0
    if before is not None and before[0] == after[0]:
        return _other_setting_min(tool)
    return tool.setup_min


def _other_setting_min(tool: Tool) -> float:
    return min(_OTHER_SETTING_FRAC * tool.setup_min, _OTHER_SETTING_MIN)


def last_time(
    events: Sequence[Event],
    planting: Planting,
    tool_name: str,
    setup_name: str | None,
    crop: str | None,
) -> str:
    """How the tool did the last time it went over a like planting, in the grower's own words.

    Parameters
    ----------
    events : sequence of Event
        Entries known and happened so far, corrections applied, in order.
    planting : Planting
        The planting to be passed.
    tool_name : str
        Name of the tool.
    setup_name : str or None
        Name of the set-up to be used; a pass logged with another one says nothing.
    crop : str or None
        The crop of the planting; None for an empty bed.

    Returns
    -------
    str
        From the newest pass here over the same crop, else over the same crop anywhere, else with
        the same set-up; empty where none of them says how it went.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> from scheduler.records import Bed
    >>> at = datetime(2013, 5, 8, tzinfo=UTC)
    >>> p = Planting(Bed("A1", 18.0, 0.75, "loam"), None, 0.0, 18.0, "kale", *[None] * 5)
    >>> sown = Event("1", "sow", at, at, "A1", None, {"crop": "kale"})
    >>> data = {"tool": "tines", "how": "fair"}
    >>> done = Event("2", "pass", at, at, "A1", None, data, note="one notch closer")
    >>> last_time([sown, done], p, "tines", None, "kale")
    'last time here: fair, one notch closer'
    """
    over = "over an empty bed" if crop is None else f"in {crop}"
    found: dict[int, str] = {}
    for i in reversed(range(len(events))):
        event = events[i]
        if not _is_of(event, tool_name, setup_name) or not (how := _how(event)):
            continue
        under = _crops_under(event, events[:i])
        same_crop = not under if crop is None else crop.casefold() in under
        if same_crop and touches(event, planting):
            return f"last time here: {how}"
        if same_crop:
            found.setdefault(1, f"last time {over}, {_place(event)}: {how}")
        elif setup_name is not None and event.data.get("setup") == setup_name:
            found.setdefault(2, f"last time with {setup_name}, {_place(event)}: {how}")
    return found[min(found)] if found else ""


def _is_of(event: Event, tool_name: str, setup_name: str | None) -> bool:
    if event.kind != "pass" or event.data.get("tool") != tool_name:
        return False
    return setup_name is None or event.data.get("setup", setup_name) == setup_name


def _how(event: Event) -> str:
    word = event.data.get("how") or ("not worked" if event.data.get("worked") is False else "")
    return ", ".join(piece for piece in (str(word), event.note.strip()) if piece)


def _place(event: Event) -> str:
    return f"{event.bed}" if event.part is None else f"{event.bed}/{event.part}"


def _crops_under(event: Event, before: Sequence[Event]) -> set[str]:
    """Crops that stood where a pass went, from the entries before it."""
    standing: dict[str | None, str] = {}
    for earlier in before:
        if earlier.bed != event.bed or earlier.kind not in ("sow", "plant", "clear"):
            continue
        if earlier.part is None:
            standing.clear()
        if earlier.kind == "clear":
            standing.pop(earlier.part, None)
            continue
        standing.pop(None, None)
        standing[earlier.part] = str(earlier.data.get("crop", "")).casefold()
    return {
        crop for part, crop in standing.items() if None in (part, event.part) or part == event.part
    }
