"""The value of a pass against the same costs written plainly in numpy, pass by pass."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.planning.value import Price, Terms, ValueSettings, values_today
from scheduler.planning.weeds import WeedFuture
from scheduler.service.settings import value_settings

_N, _DAYS = 24, 9


class _PlainPlan:
    """Costs of one planting, step by step with whole arrays."""

    def __init__(
        self, future: Any, price: Price, settings: ValueSettings, followers: list[Any]
    ) -> None:
        self.future, self.price, self.settings = future, price, settings
        self.followers = followers
        pull = np.tile(settings.weight_of_stage, (2, 1))
        per_state = np.stack([price.weed_s, pull], axis=2)
        self.standing = self.priced(future.standing_m2, per_state)
        self.opened = self.priced(future.opened_m2, per_state).sum(axis=3)
        self.left_alone = self.standing.sum(axis=3)
        self.none = self.minutes(self.left_alone[:, 0].sum(axis=2))
        self.left = np.tile(self.none[:, None], (1, _DAYS))
        for f in followers:
            for d in range(1, _DAYS):
                s = self.treated(f)
                cost = s * self.later(f, d) + (1.0 - s) * self.none
                self.left[:, d] = self.better(self.left[:, d], cost, self.none, f, d)
        self.left_day = self.best_day(self.left)
        self.told = self.discounted(self.left, self.left_day)

    def later(self, follower: Any, d: int) -> np.ndarray:
        """Minutes if it goes on a later day alone and treats all."""
        left = self.left_alone[:, d] * self.survive(follower.kill_frac[d])[..., None]
        return self.minutes(left.sum(axis=2), self.opens(follower, self.future.rested_d + d, d))

    @staticmethod
    def treated(follower: Any) -> float:
        return float(follower.fit.treated_m) / 20.0

    def discounted(self, costs: np.ndarray, day: int) -> np.ndarray:
        first = costs[:, 0]
        return first - (first - costs[:, day]) * (1.0 - self.settings.discount_d) ** day

    @staticmethod
    def priced(ways: np.ndarray, per_state: np.ndarray) -> np.ndarray:
        whole = ways.astype(float).reshape(_N, _DAYS, 2, 6, 6, 6)
        return np.einsum("pdzabc,zcv->pdzabv", whole, per_state)

    @staticmethod
    def survive(kill: np.ndarray) -> np.ndarray:
        return 1.0 - np.concatenate((np.zeros((*kill.shape[:-1], 1)), kill), axis=-1)

    def minutes(self, per_m2: np.ndarray, more_s: np.ndarray | float = 0.0) -> np.ndarray:
        p, s = self.price, self.settings
        area = p.area_m2.sum()
        pull = per_m2[:, :, 1] @ (p.area_m2 / area)
        lost = pull / (pull + s.half_m2) * s.loss_frac_d * p.in_window_d * s.crop_min_m2 * area
        return (per_m2[:, :, 0] + more_s) @ (p.area_m2 / 60.0) + lost

    def opens(self, follower: Any, rested_d: np.ndarray, d: int) -> np.ndarray:
        s, counted = self.settings, 1.0
        rested = 1.0 - np.exp(-rested_d / s.recovery_d)
        if self.price.sown_in_d is not None:
            time_left = min(max((self.price.sown_in_d - d) / s.up_d, 0.0), 1.0)
            counted = 1.0 - s.germinated_taken_frac * time_left
        opened = self.future.ready_m2 * rested * follower.stirs_frac
        return (
            s.flush_weight * (counted - self.price.relief_frac) * opened * self.price.weed_s[:, 0]
        )

    @staticmethod
    def better(
        best: np.ndarray, cost: np.ndarray, without: np.ndarray, follower: Any, d: int
    ) -> np.ndarray:
        made = np.where(follower.is_fit[:, d], cost, without)
        return made if follower.weights @ made < follower.weights @ best else best

    def best_day(self, costs: np.ndarray) -> int:
        mean = self.followers[0].weights @ costs
        gain = (mean[0] - mean) * (1.0 - self.settings.discount_d) ** np.arange(_DAYS)
        return int(np.argmax(gain))

    def waiting_and_gain(self, offer: Any) -> tuple[np.ndarray, np.ndarray]:
        s = self.settings
        today = self.survive(offer.kill_frac[0])
        passed = np.einsum("pza,pdzabv->pdzbv", today, self.standing)
        stirs = offer.stirs_frac
        new = s.flush_weight * self.opened * stirs[None, None, :, None, None]
        rested = 1.0 - np.exp(-self.future.rested_d / s.recovery_d)
        relief = self.price.relief_frac * self.future.ready_m2 * rested * stirs
        relief = s.flush_weight * relief * self.price.weed_s[:, 0]
        state = passed + new
        all_of_it = self.minutes(state[:, 0].sum(axis=2), -relief)
        now = self.treated(offer)
        only = now * all_of_it + (1.0 - now) * self.none
        costs = np.tile(only[:, None], (1, _DAYS))
        emptied = s.pass_share * self.price.season_frac * stirs * rested
        for f in self.followers:
            then = self.treated(f)
            for d in range(4, _DAYS):
                since = np.where(stirs > 0.0, float(d), self.future.rested_d + d)
                both = self.minutes(
                    (state[:, d] * self.survive(f.kill_frac[d])[..., None]).sum(axis=2),
                    self.opens(f, since, d) * (1.0 - emptied) - relief,
                )
                # the ends left by one lie within those left by the other
                ends = all_of_it if now > then else self.later(f, d)
                cost = min(now, then) * both + abs(now - then) * ends
                cost = cost + (1.0 - max(now, then)) * self.none
                costs[:, d] = self.better(costs[:, d], cost, only, f, d)
        is_fit = offer.is_fit[:, 0]
        with_pass = np.where(is_fit, self.discounted(costs, self.best_day(costs)), self.told)
        return self.told - with_pass, np.where(is_fit, self.none - only, 0.0)

    def seed_min(self, offer: Any) -> float:
        """Future weeding of the seed of what a pass takes that would be established at the end."""
        whole = self.future.standing_m2[:, 0].astype(float).reshape(_N, 2, 6, 6, 6)[..., 5]
        taken = (whole.sum(axis=3) * (1.0 - self.survive(offer.kill_frac[0]))).sum(axis=2)
        minutes = taken @ (self.price.area_m2 / 60.0) * self.price.seed_s
        return float(offer.weights @ (offer.is_fit[:, 0] * minutes)) * self.treated(offer)


def _made(seed: int) -> tuple[Any, Any, Price, ValueSettings]:
    rng = np.random.default_rng(seed)
    a, b, c = np.meshgrid(*(np.arange(6),) * 3, indexing="ij")

    def ways(scale: float) -> np.ndarray:
        whole = rng.gamma(0.3, scale, (_N, _DAYS, 2, 6, 6, 6)) * ((a <= b) & (b <= c))
        return whole.reshape(_N, _DAYS, 2, 216).astype(np.float32)

    future = WeedFuture(
        240.0, ways(6.0), ways(2.0), rng.gamma(2.0, 30.0, (_N, 2)), np.array([3.0, 40.0])
    )
    weights = rng.random(_N)
    weights /= weights.sum()

    def offer(name: str, stirs: tuple[float, float], treated_m: float) -> Any:
        return SimpleNamespace(
            tool=SimpleNamespace(name=name),
            kill_frac=rng.random((_DAYS, _N, 2, 5)) * 0.8,
            stirs_frac=np.array(stirs),
            is_fit=rng.random((_N, _DAYS)) < 0.7,
            weights=weights,
            gate=SimpleNamespace(loss_frac=0.01),
            fit=SimpleNamespace(treated_m=treated_m),
            minutes=6.0,
        )

    choice = SimpleNamespace(
        offers=(offer("tines", (1.0, 1.0), 19.0), offer("sweeps", (0.0, 1.0), 20.0)),
        later=(offer("fingers", (0.7, 1.0), 18.0),),
    )
    site = SimpleNamespace(
        weeds=SimpleNamespace(
            future=future, hours=np.arange(1 + _DAYS) * 24.0, member=np.arange(_N) % 4
        ),
        weather=SimpleNamespace(first_hour=0, wetness_m3m3=rng.normal(0.0, 0.03, (4, 240))),
        planting=SimpleNamespace(crop="beet", from_m=10.0, to_m=30.0),
    )
    weed_s = np.array([[1.0, 1.2, 1.4, 2.0, 2.7, 4.0], [0.3, 0.4, 0.4, 0.5, 0.6, 1.0]])
    price = Price(
        weed_s, 0.35, 8.0, np.array([6.0, 9.0]), 1.5, 12.0 if seed % 2 else None, 0.8
    )  # every other on an empty bed to be sown
    settings = replace(
        value_settings(),
        recovery_d=5.0,
        flush_weight=0.6,
        half_m2=80.0,
        loss_frac_d=0.01,
        weight_of_stage=np.array([0.0, 0.05, 0.2, 0.5, 1.0, 2.0]),
        discount_d=0.03,
    )
    return site, choice, price, settings


@pytest.mark.parametrize("seed", range(6))
def test_waiting_and_worth_equal_the_plain_costs(seed: int) -> None:
    site, choice, price, settings = _made(seed)
    got: dict[str, Terms] = values_today(site, choice, price, settings, 0.5)
    plain = _PlainPlan(site.weeds.future, price, settings, [*choice.offers, *choice.later])
    assert set(got) == {"tines", "sweeps"}
    for offer in choice.offers:
        terms = got[offer.tool.name]
        waiting, gain = plain.waiting_and_gain(offer)
        assert_allclose(terms.waiting_min, waiting, rtol=1e-9, atol=1e-9)
        assert_allclose(terms.worth_min, offer.weights @ gain, rtol=1e-9, atol=1e-9)
        assert terms.best_day == plain.left_day
        later = offer.weights @ (plain.none - plain.told)
        assert_allclose(terms.later_min, later, rtol=1e-9, atol=1e-9)
        assert_allclose(terms.seed_min, plain.seed_min(offer), rtol=1e-6, atol=1e-9)
        parts = terms.hand_min + terms.seed_min + terms.yield_min
        parts += terms.relief_min - terms.flush_min
        assert_allclose(parts, terms.worth_min, rtol=1e-9, atol=1e-9)
