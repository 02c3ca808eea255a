"""The section of the guide on looks, on made rows."""

from __future__ import annotations

from tests.season import figures
from tests.season.look_page import LookPage
from tests.season.played import Played
from tests.season.test_figures import row

LOOKING, BLIND = "ours, price 1, a look a week", "ours, price 1"
CHOSEN, BY_LOT = "chosen", "by lot"


def made_rows(hand: float) -> list[Played]:
    """One weather, two truths inside and one outside."""
    rows = []
    for truth, kind, factor in (("a", "", 1.0), ("b", "", 1.2), ("c", "clock fast", 1.5)):
        more = {"weather": "Newark 2013", "truth": truth, "kind": kind}
        said = {"stated": (0.75, 0.85, 0.97), "came_true": (True, False, True)}
        rows += [
            row("never", figures.NEVER, 1000.0 * factor, 0.0, **more),
            row("every 8 days", figures.CALENDAR, 800.0 * factor, 200.0, **more),
            row("daily", figures.ATTENTIVE, 600.0 * factor, 200.0, **more),
            row("weekly", figures.WEEKLY, 700.0 * factor, 200.0, **more),
            row(BLIND, figures.OURS, 700.0 * factor, 200.0, **said, **more),
            row(LOOKING, figures.LOOKING, hand * factor, 100.0, **said, **more),
            row(CHOSEN, figures.LOOKING, 500.0 * factor, 100.0, **more),
            row(BY_LOT, figures.LOOKING, 550.0 * factor, 100.0, **more),
        ]
    return rows


def section(hand: float) -> str:
    return LookPage(figures.frame(made_rows(hand)), LOOKING, BLIND, CHOSEN, BY_LOT).text()


def line(text: str, start: str) -> str:
    return next(one for one in text.splitlines() if one.startswith(start))


def test_aims_are_read_at_equal_machine_minutes() -> None:
    """Half way from never (1000) to weekly eyes (700 at 200 min) the frontier stands at 850."""
    won = section(680.0)
    assert "| 20 (at least 12: met) |" in line(won, "| by hand below the frontier of one look")
    assert "| 15 (at least 4: met) |" in line(won, "| ... of perfect daily eyes")
    lost = section(840.0)
    assert "| 1 (at least 12: **missed**) |" in line(lost, "| by hand below the frontier of one")
    # total of both truths: 1.1 x 840 + 50 = 974 against 1.1 x 700 + 100 = 870
    assert "| -12 (at least 6: **missed**) |" in line(lost, "| total below the program without")


def test_chosen_and_lot_are_paired() -> None:
    assert "| total | 600 | 655 | -8.4" in line(section(680.0), "| total |")


def test_truths_outside_and_bins_are_told() -> None:
    text = section(680.0)
    # outside: 680 x 1.5 at 100 min; never (1500) and every 8 days (1200 at 200 min) mix to 1350
    assert "| clock fast | - | 24 (1) | - |" in text
    assert "| a look a week, inside | computed | 0.7-0.9 pooled | 4 | 0.80 | 0.50 " in text
    assert "2 truths inside the prior and 1 outside" in text
