"""The section of the guide, on made rows."""

from __future__ import annotations

import pytest

from tests.season import figures, page
from tests.season.played import Played
from tests.season.test_figures import row

MAIN, ORACLE = "ours, price 1", "oracle, price 1"


def made_rows() -> list[Played]:
    """Two truths in two weathers; ours wins against the calendar in one weather only."""
    rows = []
    for weather, hand in (("Newark 2013", 480.0), ("Seattle 2015", 900.0)):
        for truth, kind, factor in (("a", "", 1.0), ("b", "", 1.1), ("c", "clock 1.4", 1.3)):
            more = {"weather": weather, "truth": truth, "kind": kind}
            rows += [
                row("never", figures.NEVER, 1000.0 * factor, 0.0, **more),
                row("every 8 days", figures.CALENDAR, 800.0 * factor, 200.0, **more),
                row("sees > 10, gap 3 d", figures.ATTENTIVE, 600.0 * factor, 200.0, **more),
                row("weekly look > 10", figures.WEEKLY, 700.0 * factor, 200.0, **more),
                row("whenever workable", figures.WORKABLE, 750.0 * factor, 300.0, **more),
                row(
                    MAIN,
                    figures.OURS,
                    hand * factor,
                    150.0,
                    stated=(0.75, 0.85, 0.97),
                    came_true=(True, False, True),
                    **more,
                ),
                row(ORACLE, figures.ORACLE, 400.0 * factor, 150.0, **more),
                row("no clock", figures.ABLATION, (hand + 50.0) * factor, 150.0, **more),
            ]
    return rows


@pytest.fixture(scope="module")
def section() -> str:
    return page.Page(figures.frame(made_rows()), MAIN, ORACLE).text()


def test_the_warning_comes_first(section: str) -> None:
    assert section.startswith(page.FIRST_SENTENCE)


def test_losing_cells_are_told(section: str) -> None:
    lost = section.split("**Where it loses**")[1].split("**Hours")[0]
    assert "Seattle 2015 | every 8 days (calendar)" in lost
    assert "Newark 2013 | every 8 days" not in lost


def test_the_worst_weather_is_marked(section: str) -> None:
    assert "Seattle 2015 (worst)" in section


def test_a_missed_aim_is_said(section: str) -> None:
    first = next(line for line in section.splitlines() if line.startswith("| hand minutes below"))
    # mean of 1 - 480/800 and 1 - 900/800
    assert "14 (at least 20: **missed**)" in first


def test_outside_truths_are_kept_apart(section: str) -> None:
    assert "2 truths inside the prior and 1 outside" in section
    assert "| clock 1.4 | medium |" in section


def test_the_section_stands_between_its_marks() -> None:
    guide = f"# Guide\n\n{page.BEGIN}\nold\n{page.END}\n\nAfter.\n"
    written = page.written_guide(guide, "new\n")
    assert "old" not in written
    assert written.startswith("# Guide\n")
    assert written.endswith("After.\n")
    assert page.written_guide(written, "new\n") == written
    with pytest.raises(ValueError, match="were not found"):
        page.written_guide("# Guide\n", "new\n")
