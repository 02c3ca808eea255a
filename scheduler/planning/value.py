"""What a pass today is worth: minutes by hand that it saves, and what it costs, by particle.

For each particle the cost of leaving a planting today is set against that of passing now, each with
what may still follow, both at one common end time. A cost is the hand weeding still to come of what
is alive at the end, by zone and stage and by the passes still possible there; the yield that grown
weeds take; and the flush that each pass opens, net of what it takes from the pool.

`A(h)`: the only pass is at h; `A(0)`: none. `B(h)`: passed now and again at h; `B(0)`: only now.
The value of today is E[A(0)] - E[B(0)]; the cost of waiting is min_h E[A(h)] - min_h E[B(h)], the
minimum of the mean. Never does it wait for the best single pass: an early one excludes no later.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from scheduler.models.weeds.cohorts import N_STATES
from scheduler.models.weeds.ways import alive_at_end, minutes_after
from scheduler.planning.day import Day
from scheduler.planning.draws import weighted_quantiles
from scheduler.planning.offers import Choice, Kit, Offer, Site
from scheduler.planning.weeds import BETWEEN, IN_ROW, WeedFuture
from scheduler.records import FloatArray, Range

_ZONES = (IN_ROW, BETWEEN)
_AGAIN_AFTER_D = 4  # a second pass is thought of from this day on
_NEARLY = 0.9  # of the best day: still good
_SECONDS = 60.0  # a minute


@dataclass(frozen=True)
class ValueSettings:
    """What the tables say of the price of weeds; seconds by hand unless the name says otherwise."""

    ground_s: FloatArray  # (2,) a seed in the ground, by zone, if no pass were to come
    ground_takes_frac: FloatArray  # (2,) of it that each pass still possible takes
    stage_s: FloatArray  # (2, 5) a weed alive at the end
    stage_relief_frac: FloatArray  # (2, 5) of it that one more fitting pass saves
    sowing_leaves_frac: FloatArray  # (6,) of what stands on an empty bed when it is sown
    unprepared_frac: float  # of the price on a bed that is still to be prepared
    again_chance: float  # of one more fitting pass within a week or so
    pass_chance: float  # of a pass in each week to come
    most_passes: float
    up_d: float  # days a seed in the ground takes to come up
    late_frac: float  # of the price of weeds once the weed-free window is over
    row_share: float  # of a bed that will be in the rows of its crop
    empty_d: float  # days until an empty bed without a plan is sown
    flush_weight: float  # of the flush that a pass opens
    relief_crop_frac: float  # of the seeds it opens that would have been opened later anyway
    relief_empty_frac: float
    recovery_d: float
    stand_min_m2: float  # minutes a square metre of crop is worth
    harm_frac: float  # of the worth of a square metre that a pass on soil just wet enough costs
    near_wet_m3m3: float  # below the threshold by less than this is only just dry enough
    vain_min: float  # a visit that finds the soil unfit
    loss_frac_d: float  # of the yield, a day under heavy pressure within the window
    half_m2: float  # grown weeds that make half of it
    weight_of_stage: FloatArray  # (6,) pull of a weed on the crop
    discount_d: float  # a day


@dataclass(frozen=True)
class Price:
    """Price of the weeds of one planting at the end, seconds by zone and state (2, 6)."""

    weed_s: FloatArray
    relief_frac: float
    in_window_d: float  # days of the horizon within the weed-free window
    area_m2: FloatArray  # (2,)


@dataclass(frozen=True)
class Terms:
    """The value of one pass today, minutes; means but for the ranges."""

    worth_min: float  # of the pass, before its price
    saved: Range  # against never acting until the end
    cost_of_waiting: Range
    hand_min: float  # weeds taken that would have been weeded by hand
    flush_min: float  # hand weeding of the flush it opens
    relief_min: float  # of later flushes that it empties of seeds
    yield_min: float
    stand_min: float
    soil_min: float
    vain_min: float
    price_min: float  # of the machine minutes
    last_good_day: int | None  # last day worth nearly the best, None beyond sight
    best_day: int  # of a single pass from tomorrow on, 0 if none is worth it
    later_min: float  # what that pass is worth
    if_fit_min: float  # worth of the pass today, were the soil fit
    waiting_min: FloatArray  # (n_particles,) cost of leaving it, follow-ups on both sides

    @property
    def net_min(self) -> float:
        """What is left of the worth when stand, soil, vain visits and machine are paid."""
        return self.worth_min - self.stand_min - self.soil_min - self.vain_min - self.price_min


def price_of_weeds(
    site: Site, choice: Choice, kit: Kit, day: Day, settings: ValueSettings, end_hour: float
) -> Price:
    """What a weed alive at the end will cost, by zone and state.

    Parameters
    ----------
    site : Site
        The planting.
    choice : Choice
        Gates of the tools that fit.
    kit : Kit
        Traits and kill.
    day : Day
        The clock; its plans for an empty bed.
    settings : ValueSettings
        The tables.
    end_hour : float
        The common end.

    Returns
    -------
    Price
        Seconds by hand.

    Notes
    -----
    A zone that no tool will reach has no passes to come, so its seeds and threads cost most: this
    is what makes the last blind pass over a sown crop valuable. A bed that is still to be prepared
    loses most of its weeds then. Structure and figures out of a
    simulation study, grade E. No range stated. Worked: tests/planning/test_value.py.
    """
    planting = site.planting
    ends_h = _window_end_h(site, kit, day, settings)
    left_d = (ends_h - end_hour) / 24.0
    reached = np.array([_is_reached(z, choice, kit, end_hour) for z in _ZONES])
    again = settings.again_chance * reached
    n_passes = reached * np.clip(left_d / 7.0 * settings.pass_chance, 0.0, settings.most_passes)
    price = np.zeros((2, N_STATES))
    price[:, 0] = settings.ground_s * (1.0 - settings.ground_takes_frac) ** n_passes
    price[:, 1:] = settings.stage_s * (1.0 - settings.stage_relief_frac * again[:, None])
    relief = settings.relief_crop_frac
    if planting.crop is None:
        row = settings.row_share
        mixed = row * price[IN_ROW] + (1.0 - row) * price[BETWEEN]
        price = np.tile(mixed * settings.sowing_leaves_frac, (2, 1))
        if not site.is_prepared:
            price *= settings.unprepared_frac
        relief = settings.relief_empty_frac
    up = float(np.clip(left_d / settings.up_d, 0.0, 1.0))
    late = settings.late_frac if planting.crop is not None else 1.0
    early = np.full(N_STATES, 1.0 if left_d > 0.0 else 0.0)
    early[0] = up
    price = price * (late + (1.0 - late) * early)[None, :]
    share = np.array([site.weeds.row_share, 1.0 - site.weeds.row_share])
    in_window = float(
        np.clip((ends_h - day.sky.now_hour) / 24.0, 0.0, (end_hour - day.sky.now_hour) / 24.0)
    )
    return Price(
        price,
        relief,
        in_window if planting.crop is not None else 0.0,
        site.area_m2 * share,
    )


def _window_end_h(site: Site, kit: Kit, day: Day, settings: ValueSettings) -> float:
    """Hour at which weeds stop to matter for this crop, or an empty bed is sown."""
    planting, sky = site.planting, day.sky
    if planting.crop is None:
        ahead = [p.on for p in day.farm.plans if p.bed == planting.bed.name]
        today = day.now.astimezone(day.zone).date()
        days = min(((on - today).days for on in ahead if on > today), default=settings.empty_d)
        return sky.now_hour + 24.0 * max(float(days), settings.empty_d)
    crop = kit.crops.get(planting.crop)
    if crop is None or crop.weed_free_to_d is None or planting.established_at is None:
        return sky.now_hour + 24.0 * settings.empty_d
    begin = (planting.established_at - sky.start_at) / timedelta(hours=1)
    if planting.up_at is not None:
        begin = (planting.up_at - sky.start_at) / timedelta(hours=1)
    elif planting.is_sown and site.outlook.emergence_hours is not None:
        hours = np.nan_to_num(site.outlook.emergence_hours, nan=float(sky.n_hours))
        begin = float(weighted_quantiles(hours, site.outlook.weights)[1])
    return begin + 24.0 * crop.weed_free_to_d


def _is_reached(zone: int, choice: Choice, kit: Kit, end_hour: float) -> bool:
    """Whether a tool that fits will reach a zone after the end."""
    for name, found in choice.gates.items():
        tool = kit.rules.tools[name]
        if float(kit.kills.kill_frac[tool.key][zone, 1]) <= 0.0:
            continue
        if found.is_open and (found.closes_hour is None or found.closes_hour > end_hour):
            return True
        if not found.is_open and found.opens_hour is not None:
            return True
    return False


def values_today(
    site: Site,
    choice: Choice,
    price: Price,
    settings: ValueSettings,
    machine_price: float,
) -> dict[str, Terms]:
    """The value of a pass today with each tool that can go, and what it costs.

    Parameters
    ----------
    site : Site
        The planting, with the future of its weeds.
    choice : Choice
        Tools that can go, and those that may follow.
    price : Price
        Of weeds at the end.
    settings : ValueSettings
        The tables.
    machine_price : float
        Hand minutes that a machine minute must save [min/min].

    Returns
    -------
    dict
        Every term by name of the tool.

    Raises
    ------
    ValueError
        If the weeds have no future computed.

    Notes
    -----
    On a day whose soil is not fit for a particle the pass is not made. The follow-up is the one
    best in the mean, the same for all particles. Design of this project after a simulation study
    (its planner lost by waiting for the best single pass); figures grade E. No range stated.
    Worked: tests/planning/test_value.py.
    """
    if not choice.offers:
        return {}
    future = site.weeds.future
    if future is None:
        msg = "value: the weeds have no future; compute them with has_future"
        raise ValueError(msg)
    plan = _Plan(future, price, settings, choice.offers, choice.later)
    return {
        offer.tool.name: plan.terms(k, site, machine_price) for k, offer in enumerate(choice.offers)
    }


class _Plan:
    """Costs of one planting by what is done today and what follows.

    Minutes by particle and day of a follow-up; seconds by hand a square metre of what a pass today
    takes, opens and saves of later flushes.
    """

    def __init__(
        self,
        future: WeedFuture,
        price: Price,
        settings: ValueSettings,
        offers: Sequence[Offer],
        later: Sequence[Offer],
    ) -> None:
        self.future, self.price, self.settings = future, price, settings
        self.followers = (*offers, *later)
        n, n_days = future.standing_m2.shape[:2]
        pull = np.tile(settings.weight_of_stage, (2, 1))
        per_state = np.stack([price.weed_s, pull], axis=2)
        today = np.ones((1 + len(offers), n, 2, N_STATES))  # nothing, and a pass with each
        for k, offer in enumerate(offers):
            today[1 + k] = _survive(offer.kill_frac[0])
        self.standing = alive_at_end(future.standing_m2, per_state, today)
        self.opened = alive_at_end(future.opened_m2, per_state, np.ones((1, n, 2, N_STATES)))[0]
        self.survive = np.stack([_survive(f.kill_frac) for f in self.followers])
        self.is_fit = np.stack([f.is_fit for f in self.followers])
        self.stirs = np.stack([f.stirs_frac for f in self.followers])
        net = settings.flush_weight - price.relief_frac
        self.ready_s = future.ready_m2 * price.weed_s[:, 0]
        self.follower_s = net * self.ready_s[:, :, None] * self.stirs.T[None]
        self.rested_d = future.rested_d + np.arange(n_days)[:, None]
        self.none = self._alone(self.standing[0], np.zeros((n, 2)))
        self.left = self._costs(self.standing[0], np.zeros((n, 2)), self.rested_d, self.none, 1)
        self.left_day = self._best_day(self.left)

    def _minutes(
        self,
        alive: FloatArray,
        survive: FloatArray,
        more_s: FloatArray,
        follower_s: FloatArray,
        rested_frac: FloatArray,
        from_day: int,
    ) -> FloatArray:
        """Minutes of the planting by follower, particle and day."""
        p, s = self.price, self.settings
        lost = s.loss_frac_d * p.in_window_d * s.stand_min_m2 * float(p.area_m2.sum())
        return minutes_after(
            alive, survive, more_s, follower_s, rested_frac, p.area_m2, s.half_m2, lost, from_day
        )

    def _alone(self, alive: FloatArray, more_s: FloatArray) -> FloatArray:
        """Minutes if nothing follows, (n_particles,)."""
        n = alive.shape[0]
        return self._minutes(
            alive[:, :1], np.ones((1, 1, n, 2, N_STATES)), more_s, np.zeros((n, 2, 1)),
            np.zeros((1, 2)), 0,
        )[0, :, 0]  # fmt: skip

    def _costs(
        self,
        alive: FloatArray,
        more_s: FloatArray,
        rested_d: FloatArray,
        without: FloatArray,
        from_day: int,
    ) -> FloatArray:
        """Costs by day of the one follow-up best in the mean; where soil is not fit none is."""
        costs = np.repeat(without[:, None], alive.shape[1], axis=1)
        if from_day >= alive.shape[1]:
            return costs
        rested = self._rested(rested_d)
        made = self._minutes(alive, self.survive, more_s, self.follower_s, rested, from_day)
        made = np.where(self.is_fit, made, without[None, :, None])[:, :, from_day:]
        w = self.followers[0].weights
        mean = w @ made  # (n_followers, days)
        best = mean.argmin(axis=0)
        is_better = mean.min(axis=0) < float(w @ without)
        chosen = np.take_along_axis(made, best[None, None, :], axis=0)[0]
        costs[:, from_day:] = np.where(is_better, chosen, without[:, None])
        return costs

    def _best_day(self, costs: FloatArray) -> int:
        """Day of the least mean cost, later days discounted against day 0."""
        w = self.followers[0].weights
        mean = w @ costs
        gain = (mean[0] - mean) * (1.0 - self.settings.discount_d) ** np.arange(mean.size)
        return int(np.argmax(gain))

    def _rested(self, rested_d: FloatArray) -> FloatArray:
        ready: FloatArray = 1.0 - np.exp(-np.asarray(rested_d) / self.settings.recovery_d)
        return ready

    def terms(self, k: int, site: Site, machine_price: float) -> Terms:
        offer, s = self.followers[k], self.settings
        w, stirs = offer.weights, offer.stirs_frac
        passed = self.standing[1 + k]
        new = s.flush_weight * self.opened * stirs[None, None, :, None, None]
        relief = self.price.relief_frac * self.ready_s * self._rested(self.rested_d[0]) * stirs
        state = passed + new
        only = self._alone(state, -relief)
        days = np.arange(state.shape[1], dtype=np.float64)[:, None]
        since = np.where(stirs > 0.0, days, self.rested_d)
        costs = self._costs(state, -relief, since, only, _AGAIN_AFTER_D)
        again = self._best_day(costs)
        is_fit = offer.is_fit[:, 0]
        with_pass = np.where(is_fit, costs[:, again], self.left[:, self.left_day])
        gain = np.where(is_fit, self.none - only, 0.0)
        waiting = self.left[:, self.left_day] - with_pass
        seconds = self.price.area_m2 / _SECONDS
        hand = (self.standing[0, :, 0, :, :, 0] - passed[:, 0, :, :, 0]).sum(axis=2) @ seconds
        flush = new[:, 0, :, :, 0].sum(axis=2) @ seconds
        relieved = relief @ seconds
        fit_share = float(w @ is_fit)
        area = float(self.price.area_m2.sum())
        stand_worth = s.stand_min_m2 * area if site.planting.crop is not None else 0.0
        worth_of_day = float(w @ self.none) - np.append(
            float(w @ np.where(is_fit, only, self.none)), (w @ self.left)[1:]
        )
        good = np.flatnonzero(worth_of_day >= _NEARLY * worth_of_day.max())
        last_good = int(good[-1]) if worth_of_day.max() > 0.0 else 0
        return Terms(
            worth_min=float(w @ gain),
            saved=_range(gain, w),
            cost_of_waiting=_range(waiting, w),
            hand_min=float(w @ (is_fit * hand)),
            flush_min=float(w @ (is_fit * flush)),
            relief_min=float(w @ (is_fit * relieved)),
            yield_min=float(w @ (gain - is_fit * (hand - flush + relieved))),
            stand_min=fit_share * offer.gate.loss_frac * stand_worth,
            soil_min=fit_share
            * s.harm_frac
            * s.stand_min_m2
            * area
            * _wet_share(offer, site, s.near_wet_m3m3),
            vain_min=(1.0 - fit_share) * s.vain_min,
            price_min=machine_price * fit_share * offer.minutes,
            last_good_day=None if last_good == worth_of_day.size - 1 else last_good,
            best_day=self.left_day,
            later_min=float(w @ (self.none - self.left[:, self.left_day])),
            if_fit_min=float(w @ (self.none - only)),
            waiting_min=waiting,
        )


def _wet_share(offer: Offer, site: Site, near_m3m3: float) -> float:
    """Weight of fit particles whose soil is only just dry enough."""
    weather = site.weather
    at = int(site.weeds.hours[1]) - weather.first_hour
    near = weather.wetness_m3m3[:, min(max(at, 0), weather.wetness_m3m3.shape[1] - 1)]
    fit = offer.is_fit[:, 0]
    whole = float(offer.weights @ fit)
    close = float(offer.weights @ (fit & (near[site.weeds.member] > -near_m3m3)))
    return close / whole if whole > 0.0 else 0.0


def _survive(kill_frac: FloatArray) -> FloatArray:
    """Share left by state: all of what is in the ground, then by stage."""
    left = np.ones((*kill_frac.shape[:-1], N_STATES))
    left[..., 1:] -= kill_frac
    return left


def _range(values: FloatArray, weights: FloatArray) -> Range:
    return Range(*(float(q) for q in weighted_quantiles(values, weights)))
