"""Why a window passed unused: written rules over what each tool could have done on each day.

The rules, in this order; the first that holds is the reason.

0. `unknown`: the rain of most of the window's hours was not read by anybody.
1. `never_fit`: on no day was the soil fit for long enough between the first and the last hour of a
   working day, whatever the weekday; `wet` or `hard`, whichever kept it out for more hours. A visit
   that found the soil unfit outranks the columns for its half-day.
2. `crop`: the soil was, but on no such day did a tool both fit the rows and find the crop ready:
   `crop_tender`, `crop_up` or `no_fit`, as the gate of the likeliest tool says.
3. `no_hours`: soil and crop would have stood it, but only outside the grower's hours (a day without
   hours, blocked times), or on days whose hours were used up: those of the plan, less what was
   logged of passes with their set-ups and of hand work.
4. `not_done`: on a day that was free a list had named the planting, and no pass was made.
5. `no_hours`: every list of a free day had the pass as worth it, but beyond the hours.
6. `not_listed`: lists were made on free days, and none named it. Its own miss is `forecast` where
   the morning, computed anew with the weather that came in place of the forecast, names it, else
   `model`.
7. `no_list`: no list was made on any day that was free.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from scheduler.errors import RangeError

NEVER_FIT, SOIL_ALONE, NOT_OPEN, NO_ROOM, FREE = range(5)


@dataclass(frozen=True)
class Chance:
    """One tool on one day of a window, and how far it got."""

    day: int
    tool: str
    hour: float  # at which it would best have gone
    is_fit: bool  # the soil, for as long as the pass takes, within a working day's span
    unfit: str  # wet or hard, where it was not
    is_let_in: bool  # the crop stands it, and the tool fits the rows
    closed: str  # crop_tender, crop_up or no_fit, where not
    is_open: bool  # the soil is fit for long enough in the grower's hours
    taken_by: str  # what took them, where not
    has_room: bool  # the hours of the day were not used up
    used_by: str  # by what, where they were
    work_min: float
    setup_min: float
    depth_mm: float
    worth_min: float  # about what it would have taken of the flush, to choose among chances
    closed_why: str = ""  # in words, where it was not let in
    fits_rows: bool = True

    @property
    def level(self) -> int:
        """How far it got: NEVER_FIT, SOIL_ALONE, NOT_OPEN, NO_ROOM or FREE."""
        if not self.is_fit:
            return NEVER_FIT
        if not self.is_let_in:
            return SOIL_ALONE
        if not self.is_open:
            return NOT_OPEN
        return FREE if self.has_room else NO_ROOM


@dataclass(frozen=True)
class Told:
    """What the list of one day said of a planting."""

    verdict: str  # go, wait, hand, nothing
    because: str


@dataclass(frozen=True)
class Reason:
    """Why a window passed unused. `days` are those that decided, as in the chances."""

    reason: str
    because: str
    days: tuple[int, ...]
    what: str = ""  # what took the hours, or what the list said


def best_chance(chances: Sequence[Chance]) -> Chance | None:
    """The pass that would have been: of the chances that got furthest, the one worth most.

    Parameters
    ----------
    chances : sequence of Chance
        Every tool on every day of the window.

    Returns
    -------
    Chance or None
        None without a tool. A tool that the crop would have let in comes first where no day was
        fit; where the crop was in the way, one that it kept out for a time before one that never
        goes there, as `reason_of` has it, and one that fits the rows before one that does not.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/review/test_reasons.py.
    """
    if not chances:
        return None
    furthest = max(chance.level for chance in chances)
    among = [chance for chance in chances if chance.level == furthest]
    if furthest == NEVER_FIT:
        among = [chance for chance in among if chance.is_let_in] or among
    if furthest == SOIL_ALONE:
        among = [chance for chance in among if chance.closed != "no_fit"] or among
        among = [chance for chance in among if chance.fits_rows] or among
    return max(among, key=lambda c: (c.worth_min, -c.work_min, -c.hour, c.tool))


def reason_of(
    chances: Sequence[Chance], told: Mapping[int, Told], *, is_weather_known: bool = True
) -> Reason:
    """Why a window passed unused.

    Parameters
    ----------
    chances : sequence of Chance
        Every tool of the farm on every day of the window; none: no tool, or no day, at all.
    told : mapping
        What the list of a day said of the planting, by day; no entry where none was made.
    is_weather_known : bool
        Whether the rain of the window was read.

    Returns
    -------
    Reason
        One of the reasons of the module's rules; `own_miss` is told later.

    Notes
    -----
    Rules: those of the module. Definition of this project. No range stated. Each rule with its
    opposite: tests/planning/review/test_reasons.py.
    """
    if not is_weather_known:
        return Reason("unknown", "unknown", ())
    if not chances:
        return Reason("crop", "no_fit", ())
    furthest = max(chance.level for chance in chances)
    there = [chance for chance in chances if chance.level == furthest]
    days = tuple(sorted({chance.day for chance in there}))
    if furthest == NEVER_FIT:
        return Reason("never_fit", _most([c.unfit for c in there]), days)
    if furthest == SOIL_ALONE:
        closed = {c.closed for c in there}
        if closed != {"no_fit"}:
            there = [c for c in there if c.closed != "no_fit"]
        return Reason("crop", _most([c.closed for c in there]), days)
    if furthest == NOT_OPEN:
        return Reason("no_hours", "no_hours", days, _listed([c.taken_by for c in there]))
    if furthest == NO_ROOM:
        return Reason("no_hours", "no_hours", days, _listed([c.used_by for c in there]))
    heard = {day: told[day] for day in days if day in told}
    if not heard:
        return Reason("no_list", "", days)
    named = tuple(day for day, said in heard.items() if said.verdict == "go")
    if named:
        return Reason("not_done", "", named)
    if all(said.because == "no_hours" for said in heard.values()):
        return Reason("no_hours", "no_hours", tuple(heard), "other beds of the list")
    said = Counter((s.verdict, s.because) for s in heard.values() if s.because != "no_hours")
    (verdict, because), _ = said.most_common(1)[0]
    return Reason("not_listed", because or verdict, tuple(heard), f"{verdict} {because}".strip())


def own_miss(verdict_anew: str) -> str:
    """Whose miss it was that a list did not name a planting.

    Parameters
    ----------
    verdict_anew : str
        What that morning says with the weather that came in place of the forecast.

    Returns
    -------
    str
        `forecast` if it names the planting then, else `model`.

    Raises
    ------
    RangeError
        If it is no verdict.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> own_miss("go"), own_miss("wait")
    ('forecast', 'model')
    """
    if verdict_anew not in ("go", "wait", "hand", "nothing"):
        raise RangeError(
            f"own miss: found verdict {verdict_anew!r}; it is go, wait, hand or nothing"
        )
    return "forecast" if verdict_anew == "go" else "model"


def _most(words: Sequence[str]) -> str:
    """The most frequent word, of equals the first in the alphabet."""
    counts = Counter(words)
    return min(counts, key=lambda word: (-counts[word], word))


def _listed(words: Sequence[str]) -> str:
    """Different words in their order, at most three."""
    return "; ".join(list(dict.fromkeys(word for word in words if word))[:3])
