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
                cost = self.minutes(
                    (self.left_alone[:, d] * self.survive(f.kill_frac[d])[..., None]).sum(axis=2),
                    self.opens(f, future.rested_d + d),
                )
                self.left[:, d] = self.better(self.left[:, d], cost, self.none, f, d)
        self.left_day = self.best_day(self.left)

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
        lost = pull / (pull + s.half_m2) * s.loss_frac_d * p.in_window_d * s.stand_min_m2 * area
        return (per_m2[:, :, 0] + more_s) @ (p.area_m2 / 60.0) + lost

    def opens(self, follower: Any, rested_d: np.ndarray) -> np.ndarray:
        rested = 1.0 - np.exp(-rested_d / self.settings.recovery_d)
        net = self.settings.flush_weight - self.price.relief_frac
        opened = self.future.ready_m2 * rested * follower.stirs_frac
        return net * opened * self.price.weed_s[:, 0]

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
        relief = relief * self.price.weed_s[:, 0]
        state = passed + new
        only = self.minutes(state[:, 0].sum(axis=2), -relief)
        costs = np.tile(only[:, None], (1, _DAYS))
        for f in self.followers:
            for d in range(4, _DAYS):
                since = np.where(stirs > 0.0, float(d), self.future.rested_d + d)
                cost = self.minutes(
                    (state[:, d] * self.survive(f.kill_frac[d])[..., None]).sum(axis=2),
                    self.opens(f, since) - relief,
                )
                costs[:, d] = self.better(costs[:, d], cost, only, f, d)
        is_fit = offer.is_fit[:, 0]
        left = self.left[:, self.left_day]
        with_pass = np.where(is_fit, costs[:, self.best_day(costs)], left)
        return left - with_pass, np.where(is_fit, self.none - only, 0.0)


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

    def offer(name: str, stirs: tuple[float, float]) -> Any:
        return SimpleNamespace(
            tool=SimpleNamespace(name=name),
            kill_frac=rng.random((_DAYS, _N, 2, 5)) * 0.8,
            stirs_frac=np.array(stirs),
            is_fit=rng.random((_N, _DAYS)) < 0.7,
            weights=weights,
            gate=SimpleNamespace(loss_frac=0.01),
            minutes=6.0,
        )

    choice = SimpleNamespace(
        offers=(offer("tines", (1.0, 1.0)), offer("sweeps", (0.0, 1.0))),
        later=(offer("fingers", (0.7, 1.0)),),
    )
    site = SimpleNamespace(
        weeds=SimpleNamespace(
            future=future, hours=np.arange(1 + _DAYS) * 24.0, member=np.arange(_N) % 4
        ),
        weather=SimpleNamespace(first_hour=0, wetness_m3m3=rng.normal(0.0, 0.03, (4, 240))),
        planting=SimpleNamespace(crop="beet"),
    )
    weed_s = np.array([[1.0, 1.2, 1.4, 2.0, 2.7, 4.0], [0.3, 0.4, 0.4, 0.5, 0.6, 1.0]])
    price = Price(weed_s, 0.35, 8.0, np.array([6.0, 9.0]))
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
        later = offer.weights @ (plain.none - plain.left[:, plain.left_day])
        assert_allclose(terms.later_min, later, rtol=1e-9, atol=1e-9)
        parts = terms.hand_min - terms.flush_min + terms.relief_min + terms.yield_min
        assert_allclose(parts, terms.worth_min, rtol=1e-9, atol=1e-9)
