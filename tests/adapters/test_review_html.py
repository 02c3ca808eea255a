"""The page of a season: what it says, how it is built, how it looks in a browser and on paper."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from scheduler.adapters.render.review_html import review_html
from scheduler.adapters.render.review_plots import (
    SeasonAxis,
    bar_svg,
    calibration_svg,
    gap_svg,
    strip_svg,
    top_weeds_m2,
    weeks_svg,
    window_lanes,
)
from scheduler.adapters.render.review_words import ReviewWords
from scheduler.records import PlantingStrip, Range, SeasonReview
from tests.adapters.mail_reader import measured, needs_browser, read_html, run_browser
from tests.adapters.review_made import (
    at,
    bare_season,
    big_season,
    half_season,
    small_season,
    small_windows,
    weeds,
)

SEASONS = (small_season, big_season, half_season, bare_season)


# ---------------------------------------------------------------- what it says


def test_it_says_what_the_summary_says() -> None:
    review = small_season()
    words = ReviewWords(review, "us")
    page = read_html(review_html(review)).words
    told = [*words.summary(), words.own_said(), words.replays_said(), words.past_said()]
    told += [*words.notes(), *words.credits(), words.timed_said()]
    told += [text for row in words.all_missed() for text in (row.when, row.cost, row.why)]
    told += [text for what, said in words.score_lines() for text in (what, said)]
    told += [text for soil, said in words.fit_lines() for text in (soil, said)]
    told += [text for row in words.replays() for text in row[:4]]
    told += [text for row in words.tools() for text in (row.tool, row.time, row.saved)]
    told += [text for _, rows in words.totals() for row in rows for text in row]
    for text in told:
        assert " ".join(text.split()) in page, text


def test_every_planting_has_its_strip_with_the_same_in_words() -> None:
    review = small_season()
    page = read_html(review_html(review))
    strips = page.all("svg", class_="strip")
    assert len(strips) == len(review.strips)
    said = [strip.attributes["aria-label"] for strip in strips]
    assert said[0].startswith("A4/north: carrot 8 Apr to 6 Jul, spinach 16 Aug to 26 Oct; 1 flush")
    assert "3-4 Jun missed, soil never fit: wet" in said[2]
    assert "2 passes (1 paid off alone, 1 not alone); 1 hand weeding" in said[4]
    assert re.search(r"most weeds on \d+ \w+, \d+ weeds/sq ft", said[4])


def test_beds_stand_by_soil_in_the_order_of_the_farm() -> None:
    page = read_html(review_html(small_season()))
    headings = [heading.words for heading in page.all("h3")]
    assert headings[:3] == ["sandy: A4/north to A4/south", "loam: C4 to C5", "silt: B4"]


@pytest.mark.parametrize("season", SEASONS)
def test_every_picture_is_told_or_stands_beside_its_figures(
    season: Callable[[], SeasonReview],
) -> None:
    page = read_html(review_html(season()))
    for picture in page.all("svg"):
        if "aria-hidden" not in picture.attributes:
            assert picture.attributes["role"] == "img"
            assert len(picture.attributes["aria-label"]) > 10
    assert page.all("html")[0].attributes["lang"] == "en"
    assert [heading.words for heading in page.all("h1")] == ["Season 2013"]


def test_a_season_without_a_journal_has_a_page() -> None:
    page = read_html(review_html(bare_season()))
    assert "No flush of weeds can be told of this season." in page.words
    assert "One year on record" in page.words
    assert page.all("svg", class_="strip") == []
    assert len(page.all("svg", class_="weeks")) == 2


# -------------------------------------------------------------- how it is built


@pytest.mark.parametrize("season", SEASONS)
def test_nothing_comes_from_outside_and_nothing_runs(season: Callable[[], SeasonReview]) -> None:
    text = review_html(season())
    page = read_html(text)
    for tag in ("script", "link", "iframe", "img", "a", "object", "embed", "base"):
        assert page.all(tag) == [], tag
    for element in page.elements:
        assert not {"src", "href", "srcset", "action"} & element.attributes.keys()
        assert not [name for name in element.attributes if name.startswith("on")]
    assert not re.search(r"url\(|@import|expression\(", text)


def test_names_of_the_farm_are_text_whatever_they_hold() -> None:
    review = small_season()
    bad = '<img src=x onerror="alert(1)">'
    strips = (replace(review.strips[0], bed=bad, crops=((0, 90, bad),)), *review.strips[1:])
    windows = (replace(small_windows()[1], bed=bad, crop=bad, why=bad), *review.windows[2:])
    text = review_html(replace(review, strips=strips, windows=windows, notes=(bad,)))
    assert "<img" not in text
    assert "&lt;img" in text
    page = read_html(text)
    assert page.all("img") == []
    assert not any("onerror" in element.attributes for element in page.elements)


def test_outcomes_differ_by_shape_and_letter() -> None:
    """The signs of hit, missed, small and open are four shapes, whatever their colour."""
    review = small_season()
    text = review_html(review)
    for sign in ('<rect class="hit"', '<rect class="missed"', 'class="small"'):
        assert sign in text, sign
    letters = {found[1] for found in re.finditer(r'class="letter"[^>]*>(.)</text>', text)}
    assert letters == set("SCHDLN?")
    assert '<rect class="open"' in text


def test_colours_are_greys_and_one_hue() -> None:
    """No traffic lights: every colour is a grey or of the hue of the weeds."""
    text = review_html(big_season())
    for colour in set(re.findall(r"#[0-9a-fA-F]{6}\b", text)):
        red, green, blue = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
        is_grey = max(red, green, blue) - min(red, green, blue) < 8
        assert is_grey or (blue < min(red, green) and abs(red - green) < 16), colour


def test_shades_of_the_stages_tell_them_apart_without_colour() -> None:
    """Each stage is darker than the one before by a step seen in print; lighter at night."""
    text = review_html(small_season())
    for nth, sign in ((0, -1), (1, 1)):
        found = [re.findall(rf"--s{stage}: #(\w{{6}})", text)[nth] for stage in range(5)]
        luma = [
            0.299 * int(c[:2], 16) + 0.587 * int(c[2:4], 16) + 0.114 * int(c[4:], 16) for c in found
        ]
        assert all(sign * step > 25 for step in np.diff(luma)), luma


# -------------------------------------------------------------------- pictures


def bare_strip(n_days: int) -> PlantingStrip:
    return PlantingStrip("B4", None, "silt", (), np.zeros((n_days, 5)), ())


def boxes(svg: str, kind: str) -> list[tuple[float, float]]:
    pattern = rf'<rect class="{kind}" x="([\d.]+)" y="[\d.]+" width="([\d.]+)"'
    return [(float(found[1]), float(found[2])) for found in re.finditer(pattern, svg)]


def test_a_window_lies_where_its_days_are() -> None:
    """From 6 May 10:00 to 12 May 10:00: day 48.42 to 54.42 of 222 on 720 units."""
    axis = SeasonAxis(small_season())
    hit = small_windows()[0]
    svg = strip_svg(axis, bare_strip(axis.n_days), [hit], [], 100.0, "said")
    ((left, width),) = boxes(svg, "hit")
    assert left == pytest.approx(720 * (48 + 10 / 24) / 222, abs=0.06)
    assert width == pytest.approx(720 * 6 / 222, abs=0.06)


def test_windows_that_overlap_lie_under_each_other() -> None:
    axis = SeasonAxis(small_season())
    first = small_windows()[0]
    second = replace(first, ripe_at=at(5, 8), last_good_at=at(5, 14))
    third = replace(first, ripe_at=at(5, 13), last_good_at=at(5, 20))
    assert window_lanes(axis, [first, second, third]) == [0, 1, 0]


def areas(svg: str, stage: int) -> list[list[tuple[float, float]]]:
    found = re.search(rf'class="s{stage}" d="([^"]*)"', svg)
    outlines = re.findall(r"M([^z]*)z", found[1]) if found else []
    return [
        [(float(x), float(y)) for x, y in re.findall(r"([\d.]+) ([\d.]+)", outline)]
        for outline in outlines
    ]


def test_height_goes_by_the_square_root_and_is_shared_by_number() -> None:
    """25 of 100 weeds/m2 fill half of the height; of those the 5 old ones a fifth, at the foot."""
    axis = SeasonAxis(small_season())
    found = np.zeros((axis.n_days, 5))
    found[10:20] = (20.0, 0.0, 0.0, 0.0, 5.0)
    strip = replace(bare_strip(axis.n_days), weeds_m2=found)
    svg = strip_svg(axis, strip, [], [], 100.0, "said")
    (young,), (old,) = areas(svg, 0), areas(svg, 4)
    base, full = max(y for _, y in old), 21.0
    assert base - min(y for _, y in young) == pytest.approx(full / 2, abs=0.11)
    assert base - min(y for _, y in old) == pytest.approx(full / 10, abs=0.11)
    assert max(y for _, y in young) == min(y for _, y in old)
    days = [x * axis.n_days / 720 for x, _ in young]
    assert (min(days), max(days)) == pytest.approx((10, 20), abs=0.02)
    assert areas(svg, 1) == areas(svg, 2) == areas(svg, 3) == []


def test_weeds_that_are_not_known_draw_nothing() -> None:
    axis = SeasonAxis(small_season())
    strip = replace(bare_strip(axis.n_days), weeds_m2=np.full((axis.n_days, 5), np.nan))
    svg = strip_svg(axis, strip, [], [], 100.0, "said")
    assert "nan" not in svg
    assert 'class="s' not in svg.replace('class="strip"', "").replace('class="start"', "")


def test_top_of_the_strips_is_a_round_figure_that_few_days_pass() -> None:
    strips = [replace(bare_strip(100), weeds_m2=weeds(100, (0,), (), 380.0))]
    assert top_weeds_m2(strips) == 500.0
    assert top_weeds_m2([]) == top_weeds_m2([bare_strip(9)]) == 50.0


def test_a_week_is_shaded_by_its_days_and_says_them() -> None:
    review = small_season()
    axis = SeasonAxis(review)
    week = next(w for w in review.fit_days if w.soil_name == "silt")
    full = replace(week, week_on=at(5, 6).date(), days=Range(7.0, 7.0, 7.0))
    none = replace(full, week_on=at(5, 13).date(), days=Range(0.0, 0.0, 0.0))
    svg = weeks_svg(axis, [full, none])
    shades = [float(shade) for shade in re.findall(r'fill-opacity="([\d.]+)"', svg)]
    assert shades == [0.75, 0.0]
    assert re.findall(r"<text[^>]*>([^<]*)</text>", svg) == ["7+", "0−"]


def test_bars_and_gaps_share_their_scale() -> None:
    bar = bar_svg(Range(10.0, 25.0, 50.0), 100.0)
    assert 'class="bar" x="0" y="1" width="25.0"' in bar
    assert 'class="reach" x="10.0" y="4.2" width="40.0"' in bar
    gap = gap_svg(Range(-50.0, 0.0, 50.0), -50.0, 50.0)
    assert 'class="nought" x="49.7"' in gap
    assert 'class="reach" x="1.0" y="4.2" width="98.0"' in gap
    assert "rect" not in gap_svg(None, 0.0, 0.0)
    assert 'width="0.0"' in bar_svg(Range(0.0, 0.0, 0.0), 0.0)


def test_a_dot_on_the_line_where_as_much_came_true_as_was_said() -> None:
    score = replace(small_season().scores[0], bins=((0.5, 0.5, 9), (1.0, 0.0, 1)))
    svg = calibration_svg(score, [("5 in 10", "5 in 10", 9)])
    dots = re.findall(r'cx="([\d.]+)" cy="([\d.]+)" r="([\d.]+)"', svg)
    assert dots == [("134.0", "106.0", "11.0"), ("234.0", "206.0", "5.7")]
    assert "working hours: said 5 in 10, came true 5 in 10, 9 times." in svg


# --------------------------------------------------------------------- browser

NO_SCROLL = "d.documentElement.scrollWidth"
CUT = (
    "[...d.querySelectorAll('th,td,p,li,dd,h1,h2')].filter(e=>e.offsetParent&&"
    "(e.scrollWidth>e.clientWidth+1||e.getBoundingClientRect().right>w.innerWidth+1)).length"
)


@needs_browser
@pytest.mark.parametrize("width_px", [360, 1200])
@pytest.mark.parametrize("season", [small_season, big_season])
def test_the_page_does_not_scroll_sideways(
    tmp_path: Path, season: Callable[[], SeasonReview], width_px: int
) -> None:
    found = measured(tmp_path, review_html(season()), width_px, f"{NO_SCROLL}+' '+{CUT}")
    across, n_cut = map(int, found.split())
    assert across <= width_px
    assert n_cut == 0


@needs_browser
def test_strips_scroll_inside_their_own_box_on_a_phone(tmp_path: Path) -> None:
    """The names stay, and each box can be reached with the keys."""
    script = (
        "(()=>{const b=[...d.querySelectorAll('.scroll')].pop();b.scrollLeft=300;"
        "const n=b.querySelector('.row:last-child .name').getBoundingClientRect();"
        "return [b.scrollLeft,Math.round(n.left-b.getBoundingClientRect().left),b.tabIndex]})()"
    )
    found = measured(tmp_path, review_html(small_season()), 360, script)
    assert found == "300,0,0"


@needs_browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_ink_stands_out_on_paper_by_day_and_by_night(tmp_path: Path, scheme: str) -> None:
    script = (
        "(()=>{const s=w.getComputedStyle(d.body);"
        "const l=c=>{const v=c.match(/\\d+/g).slice(0,3).map(x=>{x/=255;"
        "return x<=0.03928?x/12.92:((x+0.055)/1.055)**2.4});"
        "return 0.2126*v[0]+0.7152*v[1]+0.0722*v[2]};"
        "const a=l(s.color),b=l(s.backgroundColor);"
        "return [a<b,(Math.max(a,b)+0.05)/(Math.min(a,b)+0.05)]})()"
    )
    options = ["--blink-settings=preferredColorScheme=0"] if scheme == "dark" else []
    found = measured(tmp_path, review_html(small_season()), 800, script, *options)
    is_light, contrast = found.split(",")
    assert is_light == ("false" if scheme == "dark" else "true")
    assert float(contrast) > 12


@needs_browser
@pytest.mark.parametrize("season", [small_season, big_season, bare_season])
def test_it_prints_on_few_sheets(tmp_path: Path, season: Callable[[], SeasonReview]) -> None:
    out = tmp_path / "page.pdf"
    run_browser(tmp_path, review_html(season()), f"--print-to-pdf={out}", "--no-pdf-header-footer")
    n_pages = len(re.findall(rb"/Type\s*/Page\b", out.read_bytes()))
    assert 1 <= n_pages <= {small_season: 4, big_season: 12, bare_season: 1}[season]
