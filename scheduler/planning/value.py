"""What a pass today is worth: minutes by hand that it saves, and what it costs, by particle.

For each particle the cost of leaving a planting today is set against that of passing now, each with
what may still follow, both at one common end time. A cost is the hand weeding still to come of what
is alive at the end, by zone and stage and by the passes still possible there; the yield that grown
weeds take in the weeks that the crop is to be clean, and the seed they shed after them; and the
flush that each pass opens, net of what it takes from the pool.

`A(h)`: the only pass is at h; `A(0)`: none. `B(h)`: passed now and again at h; `B(0)`: only now.
The value of today is E[A(0)] - E[B(0)]; the cost of waiting is min_h E[A(h)] - min_h E[B(h)], the
minimum of the mean, with what follows discounted by the day. Never does it wait for the best single
pass: an early one excludes no later.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from scheduler.models.weeds.cohorts import N_STATES
from scheduler.models.weeds.ways import alive_at_end, minutes_after
from scheduler.planning.day import Day
from scheduler.planning.draws import weighted_quantiles
from scheduler.planning.offers import Choice, Kit, Offer, Site
from scheduler.planning.weeds import BETWEEN, IN_ROW, WeedFuture, WeedSettings
from scheduler.planning.window import weed_free_window_h
from scheduler.records import BoolArray, FloatArray, IntArray, Planting, Range

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
    germinated_taken_frac: float  # of those germinated before an empty bed is sown, taken by then
    pass_share: float  # of the ready pool that one disturbance opens
    recovery_d: float
    crop_min_m2: float  # minutes a square metre of crop is worth
    made_good_frac: float  # of a loss of stand, by the neighbours
    sown_loss_factor: float  # on the loss of a tool in the row, where the crop was sown there
    harm_frac: float  # of the worth of a square metre that a pass on soil just wet enough costs
    near_wet_m3m3: float  # below the threshold by less than this is only just dry enough
    vain_min: float  # a visit that finds the soil unfit
    loss_frac_d: float  # of the yield, a day under heavy pressure within the window
    half_m2: float  # grown weeds that make half of it
    weight_of_stage: FloatArray  # (6,) pull of a weed on the crop
    seed_s: float  # future weeding of the seed that an established weed sheds
    discount_d: float  # a day

    @property
    def stand_min_m2(self) -> float:
        """Minutes that a square metre of lost stand costs, what its neighbours make good apart."""
        return self.crop_min_m2 * (1.0 - self.made_good_frac)


@dataclass(frozen=True)
class Price:
    """Price of the weeds of one planting at the end, seconds by zone and state (2, 6)."""

    weed_s: FloatArray
    relief_frac: float
    in_window_d: float  # days of the horizon within the weed-free window
    area_m2: FloatArray  # (2,)
    seed_s: float = 0.0  # of the price of an established weed: its seed
    sown_in_d: float | None = None  # days until an empty bed is sown; None: a crop stands
    season_frac: float = 1.0  # readiness of the pool's seeds at this season
    loss_frac: Mapping[str, float] = field(default_factory=dict)  # of the stand, by tool; else gate


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
    fit_share: float  # weight of particles whose soil is fit today
    stand_if_fit_min: float  # what a pass costs where it is made, as the three terms above
    soil_if_fit_min: float
    price_if_fit_min: float
    waiting_min: FloatArray  # (n_particles,) cost of leaving it, follow-ups on both sides
    each_net_min: FloatArray  # (n_particles,) their mean is `net_min`
    each_if_fit_min: FloatArray  # likewise of `if_fit_min`
    each_later_min: FloatArray  # (n_particles, n_days) a pass on a later day alone, discounted
    each_again_min: FloatArray  # likewise of the one that follows today's
    seed_min: float = 0.0  # future weeding of the seed that weeds taken would have shed
    hand_if_fit_min: float = 0.0  # as `hand_min`, were the soil fit

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
    loses most of its weeds then. What is established at the end sheds seed where the weed-free
    weeks of a crop are over by then, and on a bed still to be prepared. Of the seeds that a pass
    opens the share that would have come later anyway falls with the season, as the pool itself
    does. In a sown crop a tool in the row costs `sown_loss_factor` times its tabled loss, or what
    its gate says so near to the stage, whichever is more. Structure and figures out of a simulation
    study, grade E. No range stated. Worked: tests/planning/test_value.py.
    """
    planting, now_h = site.planting, float(day.sky.now_hour)
    window = _window_h(site, kit, day, settings)
    left_d = (window[1] - end_hour) / 24.0
    reached = np.array([_is_reached(z, choice, kit, end_hour) for z in _ZONES])
    again = settings.again_chance * reached
    n_passes = reached * np.clip(left_d / 7.0 * settings.pass_chance, 0.0, settings.most_passes)
    price = np.zeros((2, N_STATES))
    price[:, 0] = settings.ground_s * (1.0 - settings.ground_takes_frac) ** n_passes
    price[:, 1:] = settings.stage_s * (1.0 - settings.stage_relief_frac * again[:, None])
    season = _season_frac(kit.weeds, day)
    relief = settings.relief_crop_frac * season
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
    sheds = not site.is_prepared if planting.crop is None else left_d <= 0.0
    seed_s = settings.seed_s if sheds else 0.0
    price[:, -1] += seed_s
    share = np.array([site.weeds.row_share, 1.0 - site.weeds.row_share])
    in_window = max(min(window[1], end_hour) - max(window[0], now_h), 0.0) / 24.0
    return Price(
        price,
        relief,
        in_window if planting.crop is not None else 0.0,
        site.area_m2 * share,
        seed_s,
        (window[1] - now_h) / 24.0 if planting.crop is None else None,
        season,
        {o.tool.name: _loss_frac(o, site, kit, settings) for o in choice.offers},
    )


def _window_h(site: Site, kit: Kit, day: Day, settings: ValueSettings) -> tuple[float, float]:
    """Hours between which weeds cost this crop its yield, or until an empty bed is sown."""
    planting, now_h = site.planting, float(day.sky.now_hour)
    days = settings.empty_d
    if planting.crop is None:
        ahead = [p.on for p in day.farm.plans if p.bed == planting.bed.name]
        today = day.now.astimezone(day.zone).date()
        days = min((float((on - today).days) for on in ahead if on > today), default=days)
    window = weed_free_window_h(planting, kit.crops.get(planting.crop or ""), site.outlook, day)
    return (now_h, now_h + 24.0 * days) if window is None else window


def _season_frac(weeds: WeedSettings, day: Day) -> float:
    """Readiness of the seeds that are ready in this month, by their own shares of the pool."""
    month = day.now.astimezone(day.zone).month
    if day.farm.place.latitude_deg < 0.0:
        month = (month + 5) % 12 + 1
    ready = weeds.season[:, month - 1]
    return float(weeds.mix @ ready**2) / max(float(weeds.mix @ ready), 1e-9)


def _loss_frac(offer: Offer, site: Site, kit: Kit, settings: ValueSettings) -> float:
    """Share of the stand that a pass costs: more in a sown row than between plants set out."""
    traits = kit.rules.traits[offer.tool.key]
    if not (site.planting.is_sown and traits.needs_rows and offer.purpose == "standing"):
        return offer.gate.loss_frac
    return max(offer.gate.loss_frac, settings.sown_loss_factor * traits.standing_loss_frac)


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
    best in the mean, the same for all particles; what it saves counts less by the day, today alone
    counts whole. What a pass opens counts by `flush_weight`, less what would have come later
    anyway; the pool it empties already carries the season. On a bed to be sown a later flush counts
    less what germinates in time and is taken before. Where the ends of a planting are left
    untreated they cost what they cost without the pass. Design of this project after a simulation
    study (its planner lost by waiting for the best single pass); figures grade E. No range stated.
    Worked: tests/planning/test_value.py.
    """
    if not choice.offers:
        return {}
    future = site.weeds.future
    if future is None:
        msg = "value: the weeds have no future; compute them with has_future"
        raise ValueError(msg)
    plan = _Plan(future, price, settings, site.planting, choice.offers, choice.later)
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
        planting: Planting,
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
        ways = future.standing_m2[:, 0].reshape(n, 2, N_STATES, N_STATES, N_STATES)
        self.seed_s = price.seed_s * ways[..., -1].sum(axis=3)  # by the state of today
        self.survive = np.stack([_survive(f.kill_frac) for f in self.followers])
        self.treated = np.array([_treated_frac(f, planting) for f in self.followers])
        self.is_fit = np.stack([f.is_fit for f in self.followers])
        self.stirs = np.stack([f.stirs_frac for f in self.followers])
        self.ready_s = future.ready_m2 * price.weed_s[:, 0]
        self.follower_s = self.ready_s[:, :, None] * self.stirs.T[None]
        self.net = settings.flush_weight * (self._counts(n_days) - price.relief_frac)
        self.rested_d = future.rested_d + np.arange(n_days)[:, None]
        none_s = np.zeros((n, 2))
        self.none = self._alone(self.standing[0], none_s)
        self.whole = self._made(self.standing[0], none_s, self.follower_s, self.rested_d, 1)
        share = self.treated[:, None, None]
        made = share * self.whole + (1.0 - share) * self.none[:, None]
        self.left = self._costs(made, self.none, 1)
        self.left_day = self._best_day(self.left, self.none)
        self.left_told = self._told(self.left, self.none, self.left_day)
        self.left_gain = self._gains(self.left, self.none)

    def _counts(self, n_days: int) -> FloatArray:
        """Share of what a follow-up opens that is left to weed, by its day."""
        if self.price.sown_in_d is None:
            return np.ones(n_days)
        days = self.price.sown_in_d - np.arange(n_days)
        germinated = np.clip(days / self.settings.up_d, 0.0, 1.0)
        return np.asarray(1.0 - self.settings.germinated_taken_frac * germinated)

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
        lost = s.loss_frac_d * p.in_window_d * s.crop_min_m2 * float(p.area_m2.sum())
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

    def _made(
        self,
        alive: FloatArray,
        more_s: FloatArray,
        follower_s: FloatArray,
        rested_d: FloatArray,
        from_day: int,
    ) -> FloatArray:
        """Minutes if each follower goes on each day and treats all, as `_minutes`."""
        counts = self._rested(rested_d) * self.net[:, None]
        return self._minutes(alive, self.survive, more_s, follower_s, counts, from_day)

    def _costs(self, made: FloatArray, without: FloatArray, from_day: int) -> FloatArray:
        """Costs by day of the one follow-up best in the mean; where soil is not fit none is."""
        costs = np.repeat(without[:, None], made.shape[2], axis=1)
        if from_day >= made.shape[2]:
            return costs
        made = np.where(self.is_fit, made, without[None, :, None])[:, :, from_day:]
        w = self.followers[0].weights
        mean = w @ made  # (n_followers, days)
        best = mean.argmin(axis=0)
        is_better = mean.min(axis=0) < float(w @ without)
        chosen = np.take_along_axis(made, best[None, None, :], axis=0)[0]
        costs[:, from_day:] = np.where(is_better, chosen, without[:, None])
        return costs

    def _best_day(self, costs: FloatArray, without: FloatArray) -> int:
        """Day of the follow-up that saves most, 0 for none."""
        w = self.followers[0].weights
        gain = (float(w @ without) - w @ costs) * self._discount(np.arange(costs.shape[1]))
        return int(np.argmax(gain))

    def _told(self, costs: FloatArray, without: FloatArray, day: int) -> FloatArray:
        """Costs with the follow-up of a day, what it saves discounted."""
        told: FloatArray = without - (without - costs[:, day]) * self._discount(np.array(day))
        return told

    def _gains(self, costs: FloatArray, without: FloatArray) -> FloatArray:
        """What the follow-up of each day saves, discounted, (n_particles, n_days)."""
        return np.asarray((without[:, None] - costs) * self._discount(np.arange(costs.shape[1])))

    def _discount(self, days: FloatArray | IntArray) -> FloatArray:
        return np.asarray((1.0 - self.settings.discount_d) ** days)

    def _rested(self, rested_d: FloatArray) -> FloatArray:
        ready: FloatArray = 1.0 - np.exp(-np.asarray(rested_d) / self.settings.recovery_d)
        return ready

    def _again(
        self, k: int, state: FloatArray, relief_s: FloatArray, only: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Costs with what follows a pass with tool `k`, and what each day of it saves.

        At untreated ends costs are as if the pass stood off. The ends that one tool leaves lie
        within those that another leaves.
        """
        stirs, n_days = self.followers[k].stirs_frac, state.shape[1]
        days = np.arange(n_days, dtype=np.float64)[:, None]
        since = np.where(stirs > 0.0, days, self.rested_d)
        taken = self.settings.pass_share * self.price.season_frac
        left = 1.0 - taken * stirs * self._rested(self.rested_d[0])
        made = self._made(
            state, -relief_s, self.follower_s * left[None, :, None], since, _AGAIN_AFTER_D
        )
        first, then = self.treated[k], self.treated[:, None, None]
        mixed = (
            np.minimum(first, then) * made
            + np.maximum(first - then, 0.0) * only[:, None]
            + np.maximum(then - first, 0.0) * self.whole
            + (1.0 - np.maximum(first, then)) * self.none[:, None]
        )
        without = first * only + (1.0 - first) * self.none
        costs = self._costs(mixed, without, _AGAIN_AFTER_D)
        told = self._told(costs, without, self._best_day(costs, without))
        return told, self._gains(costs, without)

    def terms(self, k: int, site: Site, machine_price: float) -> Terms:
        offer, s, p = self.followers[k], self.settings, self.price
        w, stirs, treated = offer.weights, offer.stirs_frac, float(self.treated[k])
        passed = self.standing[1 + k]
        new = s.flush_weight * self.opened * stirs[None, None, :, None, None]
        relief_s = p.relief_frac * self.ready_s * self._rested(self.rested_d[0]) * stirs
        relief_s *= s.flush_weight
        state = passed + new
        only = self._alone(state, -relief_s)
        again, again_gain = self._again(k, state, relief_s, only)
        only = treated * only + (1.0 - treated) * self.none
        is_fit = offer.is_fit[:, 0]
        gain = np.where(is_fit, self.none - only, 0.0)
        waiting = np.where(is_fit, self.left_told - again, 0.0)
        seconds = treated * p.area_m2 / _SECONDS
        taken = (self.standing[0, :, 0, :, :, 0] - passed[:, 0, :, :, 0]).sum(axis=2) @ seconds
        seed = (self.seed_s * (1.0 - _survive(offer.kill_frac[0]))).sum(axis=2) @ seconds
        flush = new[:, 0, :, :, 0].sum(axis=2) @ seconds
        relieved = relief_s @ seconds
        fit_share = float(w @ is_fit)
        area = float(p.area_m2.sum())
        harm = s.harm_frac * s.crop_min_m2 * area
        is_near = _is_near_wet(offer, site, s.near_wet_m3m3)
        soil = harm * _wet_share(offer, is_near)
        stand = 0.0
        if site.planting.crop is not None:
            loss = p.loss_frac.get(offer.tool.name, offer.gate.loss_frac)
            stand = loss * s.stand_min_m2 * area * treated
        price = machine_price * offer.minutes
        worth_of_day = float(w @ self.none) - np.append(
            float(w @ np.where(is_fit, only, self.none)), (w @ self.left)[1:]
        )
        good = np.flatnonzero(worth_of_day >= _NEARLY * worth_of_day.max())
        last_good = int(good[-1]) if worth_of_day.max() > 0.0 else 0
        return Terms(
            worth_min=float(w @ gain),
            saved=_range(gain, w),
            cost_of_waiting=_range(waiting, w),
            hand_min=float(w @ (is_fit * (taken - seed))),
            flush_min=float(w @ (is_fit * flush)),
            relief_min=float(w @ (is_fit * relieved)),
            yield_min=float(w @ (gain - is_fit * (taken - flush + relieved))),
            stand_min=fit_share * stand,
            soil_min=fit_share * soil,
            vain_min=(1.0 - fit_share) * s.vain_min,
            price_min=fit_share * price,
            last_good_day=None if last_good == worth_of_day.size - 1 else last_good,
            best_day=self.left_day,
            later_min=float(w @ (self.none - self.left_told)),
            if_fit_min=float(w @ (self.none - only)),
            fit_share=fit_share,
            stand_if_fit_min=stand,
            soil_if_fit_min=soil,
            price_if_fit_min=price,
            waiting_min=waiting,
            seed_min=float(w @ (is_fit * seed)),
            hand_if_fit_min=float(w @ (taken - seed)),
            each_net_min=np.where(is_fit, gain - stand - price, -s.vain_min) - harm * is_near,
            each_if_fit_min=self.none - only,
            each_later_min=self.left_gain,
            each_again_min=np.where(is_fit[:, None], again_gain, self.left_gain),
        )


def _treated_frac(offer: Offer, planting: Planting) -> float:
    """Share of the length of a planting that a pass treats; all where the fit tells no length."""
    length_m = planting.to_m - planting.from_m
    if offer.fit.treated_m <= 0.0 or length_m <= 0.0:
        return 1.0
    return min(offer.fit.treated_m / length_m, 1.0)


def _is_near_wet(offer: Offer, site: Site, near_m3m3: float) -> BoolArray:
    """Particles whose soil is fit, but only just dry enough."""
    weather = site.weather
    at = int(site.weeds.hours[1]) - weather.first_hour
    near = weather.wetness_m3m3[:, min(max(at, 0), weather.wetness_m3m3.shape[1] - 1)]
    return np.asarray(offer.is_fit[:, 0] & (near[site.weeds.member] > -near_m3m3))


def _wet_share(offer: Offer, is_near: BoolArray) -> float:
    """Weight of fit particles whose soil is only just dry enough."""
    whole = float(offer.weights @ offer.is_fit[:, 0])
    close = float(offer.weights @ is_near)
    return close / whole if whole > 0.0 else 0.0


def _survive(kill_frac: FloatArray) -> FloatArray:
    """Share left by state: all of what is in the ground, then by stage."""
    left = np.ones((*kill_frac.shape[:-1], N_STATES))
    left[..., 1:] -= kill_frac
    return left


def _range(values: FloatArray, weights: FloatArray) -> Range:
    return Range(*(float(q) for q in weighted_quantiles(values, weights)))
