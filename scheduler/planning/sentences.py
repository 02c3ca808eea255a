"""The words of a verdict, in SI: the pages turn them into the grower's units."""

from __future__ import annotations

import numpy as np

from scheduler.planning.day import Day, date_words, local_moment, tenths
from scheduler.planning.draws import weighted_quantiles
from scheduler.planning.offers import Offer
from scheduler.planning.outlook import Outlook
from scheduler.planning.value import Terms
from scheduler.planning.weeds import IN_ROW, WeedOutlook
from scheduler.records import Range


def go_words(
    offer: Offer, terms: Terms, outlook: Outlook, weeds: WeedOutlook, day: Day
) -> tuple[str, ...]:
    """Why a pass today: what stands, what it takes and saves, what waiting does.

    Parameters
    ----------
    offer : Offer
        The tool.
    terms : Terms
        Its value.
    outlook : Outlook
        The planting.
    weeds : WeedOutlook
        Its weeds.
    day : Day
        The clock.

    Returns
    -------
    tuple of str
        Clauses, the most telling first.

    Notes
    -----
    Definition of this project. No range stated. Whole mornings: tests/golden.
    """
    w = offer.weights
    standing = weeds.density_m2(1)
    thread = float(weighted_quantiles(standing[:, 0], w)[1])
    up = float(weighted_quantiles(standing[:, 1:].sum(axis=1), w)[1])
    threads = {"0": "no threads", "1": "1 thread"}.get(
        density_words(thread), f"{density_words(thread)} threads"
    )
    takes = tenths(float(w @ offer.killable[:, 0]))
    words = []
    if offer.purpose == "blind" and offer.until_hour is not None:
        words.append(f"last blind hour {hour_words(day, offer.until_hour)}")
    words.append(f"{threads}, {density_words(up)} up per m2")
    words.append(saved_words(terms.saved))
    words.append(waiting_words(terms))
    words.append(f"takes {takes}")
    words.append(clock_words(outlook, day))
    come = float(weighted_quantiles(weeds.to_come_m2(1), w)[1])
    words.append(f"{density_words(come)} per m2 still to come")
    words.append(share_words(offer))
    return tuple(words)


def saved_words(saved: Range) -> str:
    """Minutes by hand that a pass saves.

    Parameters
    ----------
    saved : Range
        Minutes [min].

    Returns
    -------
    str
        As "saves 20-90 min by hand".

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> saved_words(Range(21.4, 40.0, 88.0)), saved_words(Range(-2.0, 3.0, 9.6))
    ('saves 21-88 min by hand', 'saves up to 10 min by hand')
    """
    if round(saved.high) < 1:
        return "saves next to nothing by hand"
    if round(saved.low) < 1:
        return f"saves up to {saved.high:.0f} min by hand"
    return f"saves {saved.low:.0f}-{saved.high:.0f} min by hand"


def waiting_words(terms: Terms) -> str:
    """What leaving it today costs, follow-ups allowed on both sides.

    Parameters
    ----------
    terms : Terms
        Value of the pass.

    Returns
    -------
    str
        As "waiting costs 3-9 min".

    Notes
    -----
    Definition of this project. No range stated. Whole mornings: tests/golden.
    """
    cost = terms.cost_of_waiting
    if round(cost.high) < 1:
        return "waiting costs next to nothing"
    if round(cost.low) < 1:
        return f"waiting costs up to {cost.high:.0f} min"
    return f"waiting costs {cost.low:.0f}-{cost.high:.0f} min"


def terms_words(offer: Offer, terms: Terms) -> tuple[str, ...]:
    """Every term of a pass today, for the bed's page.

    Parameters
    ----------
    offer : Offer
        The tool.
    terms : Terms
        Its value.

    Returns
    -------
    tuple of str
        Two sentences: what it gives and takes, and what is left.

    Notes
    -----
    Definition of this project. No range stated. Whole mornings: tests/golden.
    """
    gives = [
        (terms.hand_min, "weeds taken"),
        (terms.yield_min, "yield kept"),
        (terms.relief_min, "later flushes smaller"),
        (-terms.flush_min, "the flush it opens"),
        (terms.seed_min, "seed not shed"),
    ]
    chance = "" if terms.fit_share > 0.95 else f", {tenths(terms.fit_share)} that it can be done"
    takes = [
        (terms.stand_min, "crop plants lost"),
        (terms.soil_min, "soil only just dry enough"),
        (terms.vain_min, "a visit in vain"),
        (terms.price_min, f"{offer.minutes:.0f} min of work at your price{chance}"),
    ]
    given = ", ".join(f"{words} {minutes:+.1f}" for minutes, words in gives)
    taken = ", ".join(f"{words} {minutes:.1f}" for minutes, words in takes if minutes >= 0.05)
    return (
        f"{offer.tool.name} today, minutes by hand in the mean: {given}; together "
        f"{terms.worth_min:.1f}",
        f"against it: {taken or 'nothing'}; left {terms.net_min:.1f}",
    )


def share_words(offer: Offer) -> str:
    """What a pass takes today and in one to five days, rain and all.

    Parameters
    ----------
    offer : Offer
        The tool.

    Returns
    -------
    str
        Of 100 weeds that stand or are to come.

    Notes
    -----
    Definition of this project. No range stated. Whole mornings: tests/golden.
    """
    shares = [round(100 * float(share)) for share in offer.gain[1:6]]
    today = round(100 * float(offer.weights @ offer.killable[:, 0]))
    return (
        f"of 100 weeds a pass takes {today} today, {', '.join(map(str, shares))} on the days after"
    )


def clock_words(outlook: Outlook, day: Day) -> str:
    """Degree-days since the flush in force was opened.

    Parameters
    ----------
    outlook : Outlook
        The planting.
    day : Day
        The clock.

    Returns
    -------
    str
        As "174 degree-days since 30 Apr".

    Notes
    -----
    Definition of this project. No range stated. Whole mornings: tests/golden.
    """
    flush = outlook.flush
    if flush.opened_hour is None:
        return "no opening on record"
    opened = date_words(day.sky.at(flush.opened_hour), day)
    return f"{flush.shares['heat'].mid:.0f} degree-days since {opened}"


def grown_words(weeds: WeedOutlook) -> str:
    """How many grown weeds stand in the row.

    Parameters
    ----------
    weeds : WeedOutlook
        Weeds of the planting; the first hour is now.

    Returns
    -------
    str
        As "12-80 grown weeds per m2".

    Notes
    -----
    Grown: three leaves or more. Definition of this project. No range stated.
    """
    row = weeds.density_m2(0, IN_ROW)
    low, _, high = weighted_quantiles(row[:, 3:].sum(axis=1), weeds.weights)
    return f"{low:.0f}-{high:.0f} grown weeds per m2"


def density_words(density_m2: float) -> str:
    """A density as a grower would say it: no false digits.

    Parameters
    ----------
    density_m2 : float
        Weeds per square metre.

    Returns
    -------
    str
        The figure alone.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> density_words(3.4), density_words(43.0), density_words(173.0)
    ('3', '45', '170')
    """
    if density_m2 < 10.0:
        return f"{density_m2:.0f}"
    step = 5 if density_m2 < 100.0 else 10
    return f"{step * round(density_m2 / step):d}"


def hour_words(day: Day, hour: float) -> str:
    """A moment as "Wed 13:36".

    Parameters
    ----------
    day : Day
        The clock.
    hour : float
        Hour of the sky's clock.

    Returns
    -------
    str
        Weekday and time at the farm.

    Notes
    -----
    Definition of this project. No range stated. Whole mornings: tests/golden.
    """
    local = local_moment(day.sky.at(float(np.floor(hour))), day)
    return f"{local:%a %H:%M}"
