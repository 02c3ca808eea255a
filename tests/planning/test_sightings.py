"""Each kind of look moves the particles the right way, and its opposite the other way."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.models.looks import FALSE_FRAC, SEEN_FRAC
from scheduler.planning.sightings import (
    FORGOTTEN_HALF_D,
    GREEN_TIMES,
    Foretold,
    Sighting,
    groups_of,
    hours_asked,
    log_evidence_of_anything,
    log_likelihood,
    sightings_of,
)
from scheduler.records import FloatArray
from tests.planning.made import NOW_HOUR, entry, planting, sky

NOW = float(NOW_HOUR)
EARLY, LATE, BARE = range(3)  # particles: mostly up, mostly threads, nothing yet
UNIT = np.array([
    [0.10, 0.45, 0.35, 0.05, 0.05],
    [0.80, 0.15, 0.05, 0.00, 0.00],
    [0.00, 0.00, 0.00, 0.00, 0.00],
])  # fmt: skip
SIZES = np.broadcast_to(np.array([3.0, 30.0, 300.0]), (3, 3))


def seen(hour: float = NOW, **data: Any) -> Sighting:
    return Sighting(entry("look", hour, **data), hour, 1.0)


def foretold(*hours: float, old_m2: float = 0.0, unit: FloatArray = UNIT) -> Foretold:
    """The same weeds at every hour."""
    shape = (3, len(hours))
    by_hour = np.broadcast_to(unit[:, None, :], (*shape, 5)).copy()
    return Foretold(np.array(hours), by_hour, np.full(shape, old_m2))


def logs(*looks: Sighting, old_m2: float = 0.0) -> FloatArray:
    """By particle and size, (3, 3)."""
    found = log_likelihood(looks, foretold(*hours_asked(looks), old_m2=old_m2), SIZES)
    return np.broadcast_to(found, SIZES.shape)


# ------------------------------------------------------------ which and when


def test_looks_of_the_planting_since_the_weeds_are_followed_are_taken_in_order() -> None:
    events = [
        entry("look", NOW - 3.0, nothing=True),
        entry("look", NOW - 100.0, nothing=True),
        entry("look", NOW - 200.0, nothing=True),
        entry("look", NOW - 3.0, bed="A2", nothing=True),
        entry("pass", NOW - 4.0, tool="hoe"),
        entry("look", NOW - 2.0, left_n=4, of_n=20),  # tells of the tool
    ]
    found = sightings_of(planting(), events, sky(), NOW - 150.0)
    assert [s.hour for s in found] == [NOW - 100.0, NOW - 3.0]


def test_a_look_loses_half_its_word_in_thirty_days() -> None:
    at = NOW - 24.0 * FORGOTTEN_HALF_D
    clock = sky(now_hour=NOW_HOUR + 24 * 30, n_hours=60 * 24)
    young, old = sightings_of(
        planting(), [entry("look", NOW + 720.0), entry("look", NOW)], clock, at
    )[::-1]
    assert (young.keeps_frac, old.keeps_frac) == pytest.approx((1.0, 0.5))
    whole = log_likelihood((seen(n_thread=20),), foretold(NOW), SIZES)
    half = log_likelihood((Sighting(seen(n_thread=20).event, NOW, 0.5),), foretold(NOW), SIZES)
    assert_allclose(half, 0.5 * whole, rtol=1e-12, atol=0.0)


def test_counts_of_one_quadrat_go_together_and_all_else_apart() -> None:
    looks = [
        seen(1.0, n_thread=3, area_m2=0.25, quadrat="nail"),
        seen(2.0, n_thread=9, area_m2=0.25),
        seen(3.0, n_thread=5, area_m2=0.25, quadrat="nail"),
        seen(4.0, n_thread=5, area_m2=0.25, quadrat="post"),
    ]
    assert [[s.hour for s in group] for group in groups_of(looks)] == [[1.0, 3.0], [2.0], [4.0]]


def test_a_first_sighting_asks_for_the_day_before_too() -> None:
    assert hours_asked([seen(100.0, first="threads"), seen(100.0)]).tolist() == [76.0, 100.0]


# ----------------------------------------------------------------- the kinds


@pytest.mark.parametrize(
    ("data", "likelier", "than"),
    [
        ({"n_thread": 17.0, "n_seed_leaf": 3.0}, LATE, EARLY),
        ({"n_thread": 2.0, "n_seed_leaf": 10.0, "n_true_leaf": 8.0}, EARLY, LATE),
        ({"thread": 240.0, "seed_leaf": 45.0, "true_leaf": 15.0}, LATE, EARLY),
        ({"thread": 30.0, "seed_leaf": 135.0, "true_leaf": 105.0}, EARLY, LATE),
        ({"seed_leaf": 140.0, "true_leaf": 130.0}, EARLY, LATE),  # threads not looked for
        ({"n_seed_leaf": 34.0, "n_true_leaf": 26.0, "area_m2": 0.25}, EARLY, LATE),
        ({"nothing": True}, BARE, LATE),
        ({"amount": "few"}, BARE, EARLY),
        ({"amount": "many"}, EARLY, BARE),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, dict) else str(value),
)
def test_a_look_favours_the_particles_that_say_what_was_seen(
    data: dict[str, Any], likelier: int, than: int
) -> None:
    found = logs(seen(**data))[:, 2]  # many weeds
    assert found[likelier] > found[than]


@pytest.mark.parametrize(
    ("data", "size"),
    [
        ({"thread": 3.0, "seed_leaf": 0.0}, 0),
        ({"thread": 24.0, "seed_leaf": 5.0}, 1),
        ({"thread": 240.0, "seed_leaf": 45.0}, 2),
        ({"n_thread": 60.0, "n_seed_leaf": 12.0, "area_m2": 0.25}, 2),
        ({"n_thread": 1.0, "area_m2": 0.25}, 0),
        ({"nothing": True}, 0),
        ({"amount": "few"}, 0),
        ({"amount": "some"}, 1),  # 6 green of 30
        ({"amount": "many"}, 2),
    ],
    ids=str,
)
def test_a_number_favours_the_size_that_gives_it(data: dict[str, Any], size: int) -> None:
    assert int(np.argmax(logs(seen(**data))[LATE])) == size


def test_sprouts_without_an_area_say_only_that_so_many_turned_up() -> None:
    """By hand: three square metres at most for 17 sprouts, whatever their stages."""
    found = log_likelihood((seen(n_thread=6, n_seed_leaf=11),), foretold(NOW), SIZES)
    sizes = SIZES[EARLY]
    apart = np.log(1.0 - np.exp(-3.0 * sizes / 17.0))
    assert_allclose(found[EARLY] - found[EARLY, -1], apart - apart[-1], rtol=1e-9, atol=1e-12)
    counted = logs(seen(n_thread=6.0, n_seed_leaf=11.0, area_m2=0.25))
    assert counted[EARLY].std() > 10.0 * found[EARLY, sizes > 17.0].std()


def test_none_scratched_up_is_nothing_seen() -> None:
    assert_allclose(logs(seen(n_thread=0)), logs(seen(nothing=True)), rtol=1e-12, atol=0.0)
    small = logs(seen(n_thread=0, area_m2=0.1))
    assert np.all(small[LATE] > logs(seen(n_thread=0))[LATE])  # a smaller area says less


def test_nothing_on_a_small_area_says_less() -> None:
    """By hand: a tenth of the area, a tenth of the weight beside what is seen by mistake."""
    whole, small = (logs(seen(nothing=True, **more)) for more in ({}, {"area_m2": 0.1}))
    blank = np.log(1.0 - FALSE_FRAC)
    assert_allclose(small[LATE, :2] - blank, 0.1 * (whole[LATE, :2] - blank), rtol=1e-9, atol=0.0)


def test_nothing_weighs_what_is_up_as_four_threads() -> None:
    """By hand: 1 - the chance that a look at 1 m2 sees any, for 30 weeds of the late particle."""
    found = 30.0 * (0.8 + GREEN_TIMES * 0.2)
    expected = np.log((1.0 - FALSE_FRAC) * np.exp(-SEEN_FRAC * found))
    assert logs(seen(nothing=True))[LATE, 1] == pytest.approx(expected, rel=1e-9)


def test_a_first_sighting_favours_what_came_within_the_day() -> None:
    """Particle 0 has threads on both days, 1 on the second alone, 2 on neither."""
    unit = np.zeros((3, 2, 5))
    unit[0, :, 0] = 1.0
    unit[1, 1, 0] = 1.0
    at = Foretold(np.array([NOW - 24.0, NOW]), unit, np.zeros((3, 2)))
    found = log_likelihood((seen(first="threads"),), at, SIZES)[:, 1]
    assert int(np.argmax(found)) == 1
    green = log_likelihood((seen(first="green"),), at, SIZES)[:, 1]
    assert_allclose(green, green[0], rtol=1e-12, atol=0.0)  # no particle has any up


def test_a_fixed_quadrat_tells_of_growth_however_rich_the_spot_is() -> None:
    """Doubled in a day: the particle that doubles, whatever the level; not the one that stays."""
    unit = np.zeros((3, 2, 5))
    unit[0, :, 1] = [0.4, 0.8]
    unit[1, :, 1] = [0.6, 0.6]
    unit[2, :, 1] = [0.8, 0.4]
    at = Foretold(np.array([NOW - 24.0, NOW]), unit, np.zeros((3, 2)))
    for counts in ((5.0, 10.0), (50.0, 100.0)):
        looks = tuple(
            seen(hour, n_seed_leaf=n, area_m2=0.25, quadrat="nail")
            for hour, n in zip((NOW - 24.0, NOW), counts, strict=True)
        )
        assert np.argsort(log_likelihood(looks, at, SIZES)[:, 1]).tolist() == [2, 1, 0]


# ------------------------------------------------------------------ old weeds


def test_old_weeds_are_no_sign_of_an_early_flush() -> None:
    """Threads, and a mat from winter told as established: the late particle, where old ones stand.

    Without them the same look would be the early one's.
    """
    look = seen(thread=20.0, seed_leaf=4.0, established=40.0)
    with_old = logs(look, old_m2=40.0)[:, 1]
    without = logs(look)[:, 1]
    assert with_old[LATE] - with_old[EARLY] > without[LATE] - without[EARLY] + 2.0
    assert with_old[LATE] > with_old[EARLY]
    sprouts = seen(n_thread=7.0, n_seed_leaf=1.0, n_established=12.0)
    assert logs(sprouts, old_m2=40.0)[LATE, 1] > logs(sprouts, old_m2=40.0)[EARLY, 1]
    assert logs(sprouts)[LATE, 1] < logs(sprouts)[EARLY, 1]


def test_old_weeds_count_as_up() -> None:
    few, many = logs(seen(nothing=True)), logs(seen(nothing=True), old_m2=20.0)
    assert np.all(many[:, 0] < few[:, 0])
    assert logs(seen(amount="some"), old_m2=20.0)[BARE, 0] > logs(seen(amount="some"))[BARE, 0]


# -------------------------------------------------------------- no knowledge


@pytest.mark.parametrize(
    "data",
    [
        {"n_thread": 12.0, "n_seed_leaf": 6.0},
        {"thread": 200.0, "seed_leaf": 60.0},
        {"n_thread": 30.0, "area_m2": 0.25},
        {"nothing": True},
        {"amount": "some"},
        {"first": "threads"},
    ],
    ids=str,
)
def test_who_knows_it_foretells_it_better_than_who_knows_nothing(data: dict[str, Any]) -> None:
    """The best particle and size beat no knowledge, the worst are beaten by it."""
    at = hours_asked([seen(**data)])
    unit = np.zeros((3, at.size, 5))
    unit[LATE] = UNIT[LATE]
    unit[EARLY, -1] = UNIT[LATE] if "first" in data else UNIT[EARLY]
    told = log_likelihood((seen(**data),), Foretold(at, unit, np.zeros((3, at.size))), SIZES)
    anything = log_evidence_of_anything((seen(**data),))
    assert told.max() > anything
    assert told.min() < anything


def test_any_unit_may_have_been_meant_where_nothing_is_known() -> None:
    """A count a hundred times too large is far likelier of anything than of 300 weeds."""
    slip = seen(thread=24000.0, seed_leaf=4500.0)
    assert log_evidence_of_anything((slip,)) > logs(slip)[LATE, 2] + 10.0
