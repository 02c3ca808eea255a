"""The demo's frozen morning, computed whole and compared with the stored answer.

Changed only on purpose: `PYTHONPATH=. python tests/golden/test_demo_morning.py` writes it anew.
"""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from scheduler import service
from scheduler.adapters.demo import DEMO_AS_OF, write_demo_farm
from scheduler.adapters.farmfile import read_farm
from scheduler.adapters.journal import open_farm_database
from scheduler.adapters.render.answer_json import answer, schema
from scheduler.adapters.render.bed_page import bed_text
from scheduler.adapters.render.text import today_text

STORED = Path(__file__).with_name("demo_morning.answer.json")


def computed(folder: Path) -> service.Situation:
    write_demo_farm(folder)
    farm = read_farm(folder)
    with open_farm_database(folder) as database:
        return service.situation(farm, database, database, DEMO_AS_OF)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> service.Situation:
    return computed(tmp_path_factory.mktemp("demo") / "farm")


def bed_lines(whole: dict[str, Any]) -> dict[str, dict[str, Any]]:
    lines = whole["beds"] + whole["not_reached"]
    return {f"{line['bed']}/{line['part']}": line for line in lines}


def hours_apart(a: str | None, b: str | None) -> float:
    if a is None or b is None:
        return 0.0 if a == b else float("inf")
    return abs(datetime.fromisoformat(a) - datetime.fromisoformat(b)) / timedelta(hours=1)


def test_the_answer_is_the_stored_one(demo: service.Situation) -> None:
    """Verdicts equal; chances to 0.05, water to 0.03, temperature to 0.3 C, dates to 6 h."""
    now = answer(service.morning_of(demo))
    stored = json.loads(STORED.read_text(encoding="utf-8"))
    old, new = bed_lines(stored), bed_lines(now)
    assert old.keys() == new.keys()
    for key, line in new.items():
        before = old[key]
        assert (line["verdict"], line["because"]) == (before["verdict"], before["because"]), key
        assert line["soil"]["workable_now"] == pytest.approx(
            before["soil"]["workable_now"], abs=0.05
        )
        assert line["soil"]["surface_rel_water"] == pytest.approx(
            before["soil"]["surface_rel_water"], abs=0.03
        )
        assert line["soil"]["surface_temp_c"] == pytest.approx(
            before["soil"]["surface_temp_c"], abs=0.3
        )
        for name in ("opened_at", "thread_from", "thread_most_at", "last_good_at"):
            assert hours_apart(line["flush"][name], before["flush"][name]) <= 6.0, (key, name)


def test_the_answer_obeys_the_schema_and_says_what_it_rests_on(demo: service.Situation) -> None:
    whole = answer(service.morning_of(demo))
    jsonschema.validate(whole, schema())
    assert whole["ensemble"]["soil_members"] == 32
    assert whole["weather"]["source"]
    assert whole["attribution"]
    for line in whole["beds"]:
        if line["verdict"] == "wait":
            assert line["until"] is not None, line["bed"]


def test_a_gardener_s_reading_of_it(demo: service.Situation) -> None:
    """60 h after 90 mm of rain: sand first, no machine on silt yet; a hoe led from the path may go.

    Common practice.
    """
    morning = service.morning_of(demo)
    lines = [*morning.beds, *morning.not_reached]
    go = [line for line in lines if line.verdict == "go"]
    assert go
    by_hand = {tool.name for tool in demo.farm.tools if tool.travel == "by hand"}
    silt = [line for line in go if line.soil_name == "silt"]
    dried = {"C9", "C10", "C11", "C12"}  # under their weeds
    machines = [line.bed for line in silt if line.action and line.action.tool not in by_hand]
    assert set(machines) <= dried
    by_soil = {
        name: [line.soil.workable_now for line in lines if line.soil_name == name]
        for name in ("sandy", "loam", "silt")
    }
    means = {name: sum(values) / len(values) for name, values in by_soil.items()}
    assert means["sandy"] > means["loam"] > means["silt"]


def test_the_page_fits_80_columns_and_its_budget(demo: service.Situation) -> None:
    page = today_text(service.morning_of(demo))
    assert max(len(line) for line in page.splitlines()) <= 80
    assert len(page.splitlines()) <= 60


def test_water_closed_in_every_column(demo: service.Situation) -> None:
    assert demo.ensemble.worst_residual_mm <= 1e-9


@pytest.mark.parametrize("bed", ["A6", "B7", "C9"])
def test_every_bed_can_be_explained(demo: service.Situation, bed: str) -> None:
    page = bed_text(service.bed_page_of(demo, bed))
    assert max(len(line) for line in page.splitlines()) <= 80
    assert "Why, number by number" in page


if __name__ == "__main__":
    import tempfile

    with tempfile.TemporaryDirectory() as scratch:
        whole = answer(service.morning_of(computed(Path(scratch) / "farm")))
    STORED.write_text(json.dumps(whole, indent=1) + "\n", encoding="utf-8")
