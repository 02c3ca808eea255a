"""The HTML part of the mail: what it says, how it is built, and how it looks in a browser."""

from __future__ import annotations

import base64
import re
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from scheduler.adapters.render.mail_html import mail_html, shown
from scheduler.adapters.render.mail_text import foot_statements
from scheduler.adapters.render.phrases import grower_text
from scheduler.adapters.render.statements import DayWords
from scheduler.adapters.render.strip_png import strip_png, strip_words
from scheduler.records import Morning, MorningNews
from tests.adapters.mail_made import NEWS, NOTICES, ZONE, morning
from tests.adapters.mail_reader import measured, needs_browser, read_html, run_browser

NONE = MorningNews()
CID = "hours.morning@example.org"


def crowded() -> Morning:
    """A morning with more beds worth a pass than lines."""
    found = morning()
    go = next(bed for bed in found.beds if bed.bed == "A1")
    more = tuple(replace(go, bed=f"E{n}", rank=20 + n) for n in range(1, 12))
    return replace(found, beds=(*found.beds, *more))


# ---------------------------------------------------------------- what it says


@pytest.mark.parametrize("name", ["spring", "wet"])
@pytest.mark.parametrize("units", ["metric", "us"])
def test_it_says_what_the_text_says(name: str, units: str) -> None:
    found = morning(name)
    found = replace(found, farm=replace(found.farm, units=units))
    words = DayWords(found, units)
    page = read_html(mail_html(found, NEWS, NOTICES, CID, "Kim")).words
    told = [words.summary(), words.list_heading(), *NOTICES]
    told += [grower_text(correction, units) for correction in NEWS.corrections]
    told += ["Yesterday: nothing logged, taken as not done: 1 B4, 2 B2/north, 5 A3."]
    told += ["whitethread done 1 2 5 --of yesterday"]
    for label, text, reason in (*words.groups(), *words.ahead(), *foot_statements(words, "Kim")):
        told += [label, text, reason]
    for bed in words.shown():
        told += [words.crop_words(bed, 2), words.tool_words(bed, 3), words.hours(bed)]
        told += [words.work(bed).replace("+", " + ") + " min"]
        told += [clause[1:] for clause in (*words.notes(bed), *words.clauses(bed)[:3])]
    for text in told:
        assert " ".join(text.split()) in page, text


def test_order_of_the_mail() -> None:
    page = read_html(mail_html(crowded(), NEWS, NOTICES, CID)).words
    parts = (NOTICES[0], "Yesterday: nothing", "Tuesday 14 May", "Do, in this order", "B4 carrot")
    parts += ("Also go", "Not reached", "Wait", "Look", "Caution", "Weather", "Data", "Weakest")
    places = [page.index(part) for part in parts]
    assert places == sorted(places)


def test_the_picture_is_told_in_words() -> None:
    found = morning()
    assert found.strip is not None
    (picture,) = read_html(mail_html(found, NONE, (), CID)).all("img")
    assert picture.attributes["alt"] == strip_words(found.strip, "metric", ZONE)
    assert picture.attributes["src"] == f"cid:{CID}"


@pytest.mark.parametrize(("cid", "has_strip"), [(None, True), (CID, False)])
def test_no_picture_without_one(cid: str | None, has_strip: bool) -> None:
    page = read_html(mail_html(morning(has_strip=has_strip), NONE, (), cid))
    assert page.all("img") == []
    assert page.all("figure") == []


# -------------------------------------------------------------- how it is built


def test_a_box_for_each_line_to_tick() -> None:
    page = read_html(mail_html(crowded(), NONE))
    boxes = page.all("span", class_="box")
    assert len(boxes) == 8 + 11
    assert all("border" in box.attributes["style"] for box in boxes)
    assert [tick.words for tick in page.all("span", class_="tick")] == [
        f"{8 + n} E{n}" for n in range(1, 12)
    ]


def test_headings_and_tables_mean_what_they_are() -> None:
    page = read_html(mail_html(morning(), NEWS, NOTICES, CID))
    assert [heading.words for heading in page.all("h1")] == ["Tuesday 14 May"]
    assert [heading.words for heading in page.all("h2")][1:] == ["The other beds", "What is due"]
    assert [cell.words for cell in page.all("th", scope="col")] == [
        "done",
        "bed, crop; tool and depth; why",
        "hours; minutes + set-up",
    ]
    rows = [cell.words for cell in page.all("th", scope="row")]
    assert rows[0].startswith("B4 carrot, sown 8 May")
    assert rows[8:10] == ["Not reached", "By hand"]
    assert page.all("html")[0].attributes["lang"] == "en"
    assert page.all("main")


def test_without_a_list_no_bed_is_another() -> None:
    page = read_html(mail_html(morning("wet"), NONE))
    assert [heading.words for heading in page.all("h2")][:2] == [
        "Nothing to cultivate today.",
        "The beds",
    ]


def test_styles_are_inlined_and_nothing_comes_from_outside() -> None:
    text = mail_html(morning(), NEWS, NOTICES, CID)
    page = read_html(text)
    assert "font-family" in page.all("body")[0].attributes["style"]
    assert all("style" in cell.attributes for cell in page.all("td"))
    assert page.all("script") == page.all("link") == page.all("iframe") == page.all("a") == []
    assert not re.search(r"https?:|//\w|url\(|@import|\son\w+=", text)
    sources = [
        value for e in page.elements for name, value in e.attributes.items() if name == "src"
    ]
    assert sources == [f"cid:{CID}"]


def test_no_colour_carries_a_meaning() -> None:
    """The mail sets no colour of text or ground, and one grey for its rules."""
    text = mail_html(crowded(), NEWS, NOTICES, CID)
    assert set(re.findall(r"#[0-9a-fA-F]{3,8}\b|rgb\([^)]*\)|hsl\([^)]*\)", text)) == {"#8a8a8a"}
    assert not re.search(r"(?<![-\w])(color|background[-\w]*)\s*:", text)


def test_it_stays_small() -> None:
    """Below what the large mail services show without cutting."""
    assert len(mail_html(crowded(), NEWS, NOTICES, CID).encode()) < 60_000


def test_media_rules_stand_alone() -> None:
    """A rule inside another makes some readers drop every style."""
    text = mail_html(morning(), NONE)
    for style in re.findall(r"<style[^>]*>(.*?)</style>", text, flags=re.DOTALL):
        depth = deepest = 0
        for sign in style:
            depth += {"{": 1, "}": -1}.get(sign, 0)
            deepest = max(deepest, depth)
        assert depth == 0
        assert deepest <= 2
        assert not re.search(r"\{[^{}]*@", style)
    assert "color-scheme: light dark" in text
    assert "@media print" in text


@pytest.mark.parametrize(
    ("text", "html"),
    [
        ("9 mm dry", "9\u00a0mm dry"),
        ("sure 8 in 10", "sure 8\u00a0in\u00a010"),
        ("since 6 May", "since 6\u00a0May"),
        ("beds B6-B8 now", 'beds <span class="nb">B6-B8</span> now'),
        ("a <b> & c", "a &lt;b&gt; &amp; c"),
        (
            "\u05e2\u05e8\u05d5\u05d2\u05d4 4, 7:00",
            "<bdi>\u05e2\u05e8\u05d5\u05d2\u05d4</bdi> 4, 7:00",
        ),
        ("x" * 30 + "-" + "y" * 30, "x" * 30 + "-" + "y" * 30),
    ],
)
def test_what_belongs_together_stays_together(text: str, html: str) -> None:
    assert str(shown(text)) == html


# ------------------------------------------------------------------ how it looks


def whole_page(found: Morning, news: MorningNews = NEWS) -> str:
    """The page with its picture inside, for a browser."""
    text = mail_html(found, news, NOTICES, CID, "Kim, in the barn")
    if found.strip is None:
        return text
    picture = strip_png(found.strip, found.farm.units, ZoneInfo(found.farm.place.time_zone))
    return text.replace(f"cid:{CID}", f"data:image/png;base64,{base64.b64encode(picture).decode()}")


@needs_browser
@pytest.mark.parametrize("width_px", [320, 360, 800])
def test_no_sideways_scrolling(tmp_path: Path, width_px: int) -> None:
    script = "d.documentElement.clientWidth+' '+d.documentElement.scrollWidth"
    found = measured(tmp_path, whole_page(crowded()), width_px, script, "--hide-scrollbars")
    assert found == f"{width_px} {width_px}"


@needs_browser
def test_readers_that_drop_the_rules_of_media_do_not_scroll_either(tmp_path: Path) -> None:
    bare = re.sub(r"<style.*?</style>", "", whole_page(crowded()), flags=re.DOTALL)
    script = "d.documentElement.clientWidth+' '+d.documentElement.scrollWidth"
    assert measured(tmp_path, bare, 360, script, "--hide-scrollbars") == "360 360"


@needs_browser
@pytest.mark.parametrize("size", ["A4", "letter"])
@pytest.mark.parametrize("name", ["spring", "crowded"])
def test_prints_on_one_page(tmp_path: Path, size: str, name: str) -> None:
    """36 beds with news, a notice and the picture on one sheet."""
    found = morning() if name == "spring" else crowded()
    page = whole_page(found).replace("</head>", f"<style>@page{{size:{size}}}</style></head>")
    target = tmp_path / "page.pdf"
    run_browser(tmp_path, page, f"--print-to-pdf={target}", "--no-pdf-header-footer")
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", target.read_bytes())) == 1


CONTRAST = (
    "(()=>{const l=c=>{const v=c.match(/[\\d.]+/g).slice(0,3).map(x=>x/255)"
    ".map(x=>x<=.03928?x/12.92:((x+.055)/1.055)**2.4);"
    "return .2126*v[0]+.7152*v[1]+.0722*v[2]};"
    "const p=d.createElement('p');p.style.backgroundColor='Canvas';d.body.append(p);"
    "const g=l(w.getComputedStyle(p).backgroundColor);"
    "const all=[...d.querySelectorAll('h1,p,td,th,figcaption')].map(e=>{"
    "const t=l(w.getComputedStyle(e).color);"
    "return (Math.max(g,t)+.05)/(Math.min(g,t)+.05)});"
    "return g.toFixed(2)+' '+Math.min(...all).toFixed(1)})()"
)


@needs_browser
@pytest.mark.parametrize("is_dark", [False, True])
def test_text_stands_out_by_day_and_by_night(tmp_path: Path, is_dark: bool) -> None:
    scheme = 0 if is_dark else 1
    option = f"--blink-settings=preferredColorScheme={scheme}"
    ground, contrast = measured(tmp_path, whole_page(morning()), 360, CONTRAST, option).split()
    assert (float(ground) < 0.05) is is_dark
    assert float(contrast) > 12.0
