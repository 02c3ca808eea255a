"""Which look would help most: what it may show, what would be done then, and what that is worth.

A question has a few answers: three spots scratched may show mostly white threads or mostly green,
or fewer weeds than so many to the square metre, or more. Under each answer the weights of the
particles are others, and with them the decision of the list: go today, wait until a day, leave it.
A look is worth what the decisions under its answers leave on average, less what the decision
without it leaves, less the minutes of looking. Where no answer changes what is done it is worth
nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import comb

import numpy as np

from scheduler.models.looks import CLUMPING, MIX_FLOOR_FRAC, MIX_TEMPER, seen_frac
from scheduler.planning.day import Day, date_words, local_moment
from scheduler.planning.offers import day_hours
from scheduler.planning.plantings import touches, was_done
from scheduler.planning.value import Terms
from scheduler.planning.weeds import WeedOutlook
from scheduler.records import BoolArray, Event, FloatArray, Planting

MOST_LOOKS = 2  # asked a morning
LOOK_MIN = 2.0  # minutes that a look takes
_RESTS = timedelta(days=2)  # after a look, or until a pass
_SOON_D = 2  # a bed that can be worked within so many days is looked at
_SPOTS = 3  # scratched in one look
_SPROUTS = 20  # that they show where there are enough
_SPOT_M2 = 1.0  # searched in all
_LIMITS_M2 = (5.0, 10.0, 20.0, 40.0, 80.0, 160.0)  # "more than so many": tried in turn
_LEAST_CHANCE = 0.05  # of an answer that is worth naming
_WEEK_D = 7
_LOGIT = 1.702  # slope of the logistic curve that comes nearest to the normal one


@dataclass(frozen=True)
class Bet:
    """A tool that may go, as a look would see its terms."""

    tool: str
    terms: Terms
    work_min: float
    can_go: bool  # a span of today is fit and long enough
    counts: BoolArray  # (n_particles,) fit in that span, and going beats leaving it: `sure`
    fit_day: int | None  # first day of the sight with a fit span, 0 today

    @property
    def cost_min(self) -> float:
        """What its pass costs where it is made, but for the soil."""
        return self.terms.stand_if_fit_min + self.terms.price_if_fit_min


@dataclass(frozen=True)
class Rule:
    """From when a list says go, as the verdict has it; a look must gain `least_net_min` too."""

    least_net_min: float
    least_sure: float


@dataclass(frozen=True)
class Decision:
    """What the list would say: go, wait for a day of the sight or until it is fit, leave it."""

    what: str  # go, wait, fit, leave
    tool: str
    day: int = 0  # of the sight; of `fit` -1 where no day in sight is


@dataclass(frozen=True)
class AskedLook:
    """A look that would help, in words, and the verdict that its words were made for."""

    ask: str
    where: str
    gain_min: float
    verdict: str
    because: tuple[str, ...]


@dataclass(frozen=True)
class Question:
    """What a look may show: words of each answer and their chances by particle."""

    do: str  # what to do for it
    answers: tuple[str, ...]
    chance_frac: FloatArray  # (n_answers, n_particles), columns sum to 1


@dataclass(frozen=True)
class Look:
    """The look at one planting that helps most."""

    question: Question
    chance_frac: FloatArray  # (n_answers,) of each answer
    decisions: tuple[Decision, ...]  # under each answer
    without: Decision
    gain_min: float  # less the minutes of looking


def mix_questions(weeds: WeedOutlook) -> tuple[Question, ...]:
    """What the stages of some sprouts may show, scratched up in a few spots.

    Parameters
    ----------
    weeds : WeedOutlook
        Weeds of a planting; the first hour is now.

    Returns
    -------
    tuple of Question
        Whether most are white threads; and whether most have true leaves.

    Notes
    -----
    Twenty sprouts told with the tempering of `stage_mix_log_likelihood`, so as ten independent
    ones; a tie counts half to each side. Where there are next to no weeds none are found, as
    `seen_frac`. Assumptions of this project (E). No range stated.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> now = np.array([[30.0, 0, 0, 0, 0], [2.0, 28, 0, 0, 0], [0, 0, 0, 0, 0]])
    >>> weeds = SimpleNamespace(density_m2=lambda time: now)
    >>> mix_questions(weeds)[0].chance_frac.round(2).tolist()
    [[0.99, 0.0, 0.02], [0.0, 0.99, 0.0], [0.01, 0.01, 0.98]]
    """
    density = weeds.density_m2(0)
    whole = density.sum(axis=1)
    found = seen_frac(whole, _SPOT_M2)
    found = np.where(whole > 0.0, found, seen_frac(0.0, _SPOT_M2))

    def asked(first_older: int, younger: str, older: str) -> Question:
        share = np.where(
            whole > 0.0, density[:, first_older:].sum(axis=1) / np.maximum(whole, 1e-12), 0.0
        )
        most = _most_frac(np.clip(share, MIX_FLOOR_FRAC, 1.0 - MIX_FLOOR_FRAC))
        chances = np.stack((found * (1.0 - most), found * most, 1.0 - found))
        return Question("scratch three spots", (younger, older, "nothing"), chances)

    return (
        asked(1, "mostly white", "mostly green"),
        asked(2, "mostly threads and seed leaves", "mostly with true leaves"),
    )


def amount_questions(weeds: WeedOutlook) -> tuple[Question, ...]:
    """Whether more weeds than so many would be counted in a few spots, threads too.

    Parameters
    ----------
    weeds : WeedOutlook
        Weeds of a planting; the first hour is now.

    Returns
    -------
    tuple of Question
        One for each limit.

    Notes
    -----
    Places of a bed differ by a gamma as in `loose_counts_log_likelihood`; the mean of three is read
    here by a log-logistic curve of the same spread. Assumptions of this project (E). No range
    stated.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> now = np.array([[30.0, 10.0, 0, 0, 0], [3.0, 1.0, 0, 0, 0]])
    >>> weeds = SimpleNamespace(density_m2=lambda time: now)
    >>> asked = amount_questions(weeds)[2]
    >>> asked.answers
    ('fewer than 20 per m2', 'more')
    >>> asked.chance_frac.round(2).tolist()
    [[0.07, 1.0], [0.93, 0.0]]
    """
    whole = np.maximum(weeds.density_m2(0).sum(axis=1), 1e-9)
    slope = _LOGIT / np.sqrt(np.log1p(1.0 / (_SPOTS * CLUMPING)))
    asked = []
    for limit in _LIMITS_M2:
        more = 1.0 / (1.0 + (limit / whole) ** slope)
        words = (f"fewer than {limit:.0f} per m2", "more")
        asked.append(Question("scratch three spots and count", words, np.stack((1.0 - more, more))))
    return tuple(asked)


def _most_frac(share: FloatArray) -> FloatArray:
    """Chance that most of some sprouts are of a kind with this share."""
    n = round(MIX_TEMPER * _SPROUTS)
    above = [
        comb(n, k) * share**k * (1.0 - share) ** (n - k) * (0.5 if 2 * k == n else 1.0)
        for k in range((n + 1) // 2, n + 1)
    ]
    return np.asarray(np.sum(above, axis=0))


def decision_under(weights: FloatArray, bets: Sequence[Bet], rule: Rule) -> Decision:
    """What the list would say if the particles had these weights.

    Parameters
    ----------
    weights : array
        Of the particles, their sum 1 [-].
    bets : sequence of Bet
        Tools that may go, at least one.
    rule : Rule
        From when it says go.

    Returns
    -------
    Decision
        As the verdict decides with the same weights, hand rounds and mats apart.

    Notes
    -----
    The follow-up best in the mean of the unlearned particles is kept. No range stated. Worked:
    tests/planning/test_look_choice.py.
    """
    return _decisions(weights[None], bets, rule)[0]


def _decisions(weights: FloatArray, bets: Sequence[Bet], rule: Rule) -> list[Decision]:
    """Row by row of some weights, (n_rows, n_particles)."""
    can = [b for b in bets if b.can_go] or list(bets)
    net = np.stack([weights @ b.terms.each_net_min for b in can])
    later = weights @ bets[0].terms.each_later_min
    best_day = later.argmax(axis=1)
    found = []
    for row in range(weights.shape[0]):
        k = max(range(len(can)), key=lambda i: (net[i, row], -can[i].work_min, can[i].tool))
        bet = can[k]
        if not bet.can_go and float(weights[row] @ bet.terms.each_if_fit_min) > bet.cost_min:
            found.append(Decision("fit", bet.tool, -1 if bet.fit_day is None else bet.fit_day))
            continue
        d = int(best_day[row])
        sure = float(weights[row] @ bet.counts)
        is_off = net[k, row] < rule.least_net_min or (sure < rule.least_sure and d > 0)
        if bet.can_go and not is_off:
            found.append(Decision("go", bet.tool))
        elif d > 0 and later[row, d] - bet.cost_min > 0.0:
            found.append(Decision("wait", bet.tool, d))
        else:
            found.append(Decision("leave", bet.tool))
    return found


def look_at(weeds: WeedOutlook, bets: Sequence[Bet], rule: Rule) -> Look | None:
    """The look at one planting that helps most today.

    Parameters
    ----------
    weeds : WeedOutlook
        Its weeds; the first hour is now.
    bets : sequence of Bet
        Tools that may go; where none can within two days no look is asked.
    rule : Rule
        From when the list says go.

    Returns
    -------
    Look or None
        None where no look is worth its minutes.

    Notes
    -----
    Expected value of sample information, minutes of hand weeding: what the decision under each
    answer leaves in the mean of the particles as they are weighed then, less what the decision
    without a look leaves there, by the chance of the answer. Going leaves what the pass leaves and
    the best that may follow it; not going leaves the best later pass, if any is worth it: later
    passes can be decided by a later look on both sides. An answer decides between today and another
    day or never; where the soil lets nothing go today, between a pass once it does, within two
    days, and none. Where the list goes by the value of today though waiting would be better in
    the mean, a look can be worth less than nothing: then none is asked. Assumptions of this
    project (E). No range stated. Worked: tests/planning/test_look_choice.py.
    """
    tried = [look for look in _weighed(weeds, bets, rule) if _is_telling(look)]
    best = max(tried, key=lambda look: look.gain_min, default=None)
    return best if best is not None and best.gain_min >= rule.least_net_min else None


def look_gain_min(weeds: WeedOutlook, bets: Sequence[Bet], rule: Rule) -> float:
    """What the best look at one planting would be worth, the minutes of looking not taken off.

    Parameters
    ----------
    weeds, bets, rule
        As `look_at`.

    Returns
    -------
    float
        Minutes of hand weeding, not below 0; tools that an answer would change count too.

    Notes
    -----
    As `look_at`; to rank plantings by.
    """
    looks = _weighed(weeds, bets, rule)
    return max(0.0, max((look.gain_min + LOOK_MIN for look in looks), default=0.0))


def _weighed(weeds: WeedOutlook, bets: Sequence[Bet], rule: Rule) -> list[Look]:
    """What each question leads to and is worth."""
    if not bets or not _is_soon(bets):
        return []
    w = weeds.weights / weeds.weights.sum()
    without = _decisions(w[None], bets, rule)[0]
    looks = []
    for question in (*mix_questions(weeds), *amount_questions(weeds)):
        joint = question.chance_frac * w
        chance = joint.sum(axis=1)
        given = joint / np.maximum(chance, 1e-12)[:, None]
        decisions = tuple(_decisions(given, bets, rule))
        more = [
            _left_min(now, bets, told) - _left_min(now, bets, without)
            for now, told in zip(given, decisions, strict=True)
        ]
        gain = float(chance @ np.array(more)) - LOOK_MIN
        looks.append(Look(question, chance, decisions, without, gain))
    return looks


def _is_soon(bets: Sequence[Bet]) -> bool:
    return any(b.fit_day is not None and b.fit_day <= _SOON_D for b in bets)


def _is_telling(look: Look) -> bool:
    """Whether likely answers part between a pass at the first chance and none then."""
    each = zip(look.decisions, look.chance_frac, strict=True)
    firsts = [d.what in ("go", "fit") for d, chance in each if chance >= _LEAST_CHANCE]
    return any(firsts) and not all(firsts)


def _left_min(weights: FloatArray, bets: Sequence[Bet], decision: Decision) -> float:
    """What a decision leaves under some weights, with the best that may follow, minutes by hand."""
    bet = next(b for b in bets if b.tool == decision.tool)
    later = weights @ bet.terms.each_later_min - bet.cost_min
    if decision.what == "go":
        follows = weights @ bet.terms.each_again_min - bet.cost_min
        return float(weights @ bet.terms.each_net_min) + max(0.0, float(follows.max()))
    if decision.what == "fit" and decision.day >= 0:
        return float(later[decision.day])
    return max(0.0, float(later.max()))


def asked_look(look: Look, planting: Planting, day: Day) -> AskedLook:
    """A look in words.

    Parameters
    ----------
    look : Look
        As `look_at` returns it.
    planting : Planting
        Where.
    day : Day
        The clock.

    Returns
    -------
    AskedLook
        As "scratch three spots; mostly white, tomorrow is better; mostly green, go today". Answers
        side by side that lead to the same are named together; rare ones are not named.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_look_choice.py.
    """
    named: list[tuple[list[str], str]] = []
    for answer, decision, chance in zip(
        look.question.answers, look.decisions, look.chance_frac, strict=True
    ):
        words = _decision_words(decision, look, day)
        if chance < _LEAST_CHANCE:
            continue
        same = next((answers for answers, said in named if said == words), None)
        if same is not None:
            same.append(answer)
        else:
            named.append(([answer], words))
    parts = [f"{' or '.join(answers)}, {words}" for answers, words in named]
    verdict, because = _VERDICTS[look.without.what]
    return AskedLook(
        "; ".join((look.question.do, *parts)),
        "across the bed" if planting.crop is None else "in and between the rows",
        look.gain_min,
        verdict,
        because,
    )


_VERDICTS = {
    "go": ("go", ()),
    "wait": ("wait", ("weeds_small", "rain_after")),
    "fit": ("wait", ("wet", "hard", "no_hours")),
    "leave": ("nothing", ("clean", "no_fit")),
}


def _decision_words(decision: Decision, look: Look, day: Day) -> str:
    """What to do under an answer; a tool is named where the list of today does not name it."""
    is_new = look.without.what != "go" or look.without.tool != decision.tool
    if decision.what == "go":
        return f"go today with {decision.tool}" if is_new else "go today"
    if decision.what == "fit":
        return f"go with {decision.tool} once the soil is fit"
    if decision.what == "wait":
        return f"{_day_words(decision.day, day)} is better"
    return "leave it"


def _day_words(d: int, day: Day) -> str:
    """A day of the sight: tomorrow, a weekday, from a week on with its date."""
    if d == 1:
        return "tomorrow"
    at = day.sky.at(day_hours(day)[d][0])
    weekday = f"{local_moment(at, day):%a}"
    return weekday if d < _WEEK_D else f"{weekday} {date_words(at, day)}"


def chosen_looks(
    asked: Sequence[tuple[Planting, AskedLook | None]], events: Sequence[Event], now: datetime
) -> dict[str, AskedLook]:
    """The looks asked this morning: those that help most, where none was logged of late.

    Parameters
    ----------
    asked : sequence of (Planting, AskedLook or None)
        Each planting with its look, if any helps.
    events : sequence of Event
        Entries that stand.
    now : datetime
        The moment of the answer.

    Returns
    -------
    dict
        By the planting's name, at most `MOST_LOOKS`, best first.

    Notes
    -----
    A planting looked at within two days is left alone, unless a pass came after. Definition of this
    project. No range stated.

    Examples
    --------
    >>> from datetime import UTC
    >>> from scheduler.records import Bed
    >>> beds = [Bed(name, 18.0, 0.8, "loam") for name in ("A1", "A2", "A3", "A4")]
    >>> empty = (None, 0.0, 18.0, None, False, None, None, None, None)
    >>> beds = [Planting(bed, *empty) for bed in beds]
    >>> looks = [AskedLook("scratch", "across the bed", gain, "go", ()) for gain in (3, 9, 5, 4)]
    >>> now = datetime(2013, 5, 8, 6, tzinfo=UTC)
    >>> seen = Event("e", "look", now - timedelta(days=1), now, "A2", None, {"nothing": True})
    >>> list(chosen_looks(list(zip(beds, looks)), [seen], now))
    ['A3', 'A4']
    """
    helps = [(p, look) for p, look in asked if look is not None and not is_seen(p, events, now)]
    helps.sort(key=lambda item: (-item[1].gain_min, item[0].key))
    return {p.key: look for p, look in helps[:MOST_LOOKS]}


def is_meant_for(look: AskedLook, verdict: str, because: str) -> bool:
    """Whether the words of a look go with a verdict.

    Parameters
    ----------
    look : AskedLook
        The look.
    verdict, because : str
        Verdict of the planting and its reason, with all that is due.

    Returns
    -------
    bool
        False where the list says something else than the weeds alone would.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> look = AskedLook("scratch", "across the bed", 3.0, "wait", ("weeds_small",))
    >>> is_meant_for(look, "wait", "weeds_small"), is_meant_for(look, "wait", "planned")
    (True, False)
    """
    return verdict == look.verdict and (not look.because or because in look.because)


def is_seen(planting: Planting, events: Sequence[Event], now: datetime) -> bool:
    """Whether a planting was looked at of late and not passed since.

    Parameters
    ----------
    planting : Planting
        The planting.
    events : sequence of Event
        Entries that stand.
    now : datetime
        The moment of the answer.

    Returns
    -------
    bool
        A look of two days ago is of late; a visit in vain is no pass.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_look_choice.py.
    """
    own = [e for e in events if e.kind in ("look", "pass") and touches(e, planting)]
    looks = [e.happened_at for e in own if e.kind == "look" and now - e.happened_at <= _RESTS]
    passes = [e.happened_at for e in own if e.kind == "pass" and was_done(e)]
    return bool(looks) and not any(at > max(looks) for at in passes)
