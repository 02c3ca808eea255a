"""What a reader of HTML mail meets: elements and text in order, and what a browser makes of it."""

from __future__ import annotations

import base64
import re
import shutil
import subprocess
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path

import pytest

VOID = {"meta", "img", "br", "link", "input", "hr"}
HIDDEN = {"style", "title", "script"}


@dataclass
class Element:
    """One element with its own text and that of what it holds."""

    tag: str
    attributes: dict[str, str]
    text: str = ""

    @property
    def words(self) -> str:
        return " ".join(self.text.split())


@dataclass
class Page:
    """Every element of a page in order, and the text that is seen."""

    elements: list[Element] = field(default_factory=list)

    def all(self, tag: str, **attributes: str) -> list[Element]:
        wanted = {name.rstrip("_"): value for name, value in attributes.items()}
        return [
            found
            for found in self.elements
            if found.tag == tag and wanted.items() <= found.attributes.items()
        ]

    @property
    def words(self) -> str:
        return self.all("body")[0].words


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.page = Page()
        self.open: list[Element] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = Element(tag, {name: value or "" for name, value in attrs})
        self.page.elements.append(element)
        if tag == "br":
            self.handle_data("\n")
        if tag not in VOID:
            self.open.append(element)

    def handle_endtag(self, tag: str) -> None:
        assert self.open[-1].tag == tag, f"{tag} closes {self.open[-1].tag}"
        self.open.pop()
        if tag not in ("span", "b", "bdi", "code"):
            self.handle_data("\n")

    def handle_data(self, data: str) -> None:
        for element in self.open:
            if not any(inner.tag in HIDDEN for inner in self.open):
                element.text += data


def read_html(text: str) -> Page:
    """The page; every element is closed where it was opened."""
    reader = _Reader()
    reader.feed(text)
    reader.close()
    assert reader.open == []
    return reader.page


# ------------------------------------------------------------------ browser

CHROMIUM = next((path for n in ("chromium", "chromium-browser") if (path := shutil.which(n))), None)
needs_browser = pytest.mark.skipif(CHROMIUM is None, reason="no chromium to show the page in")


def run_browser(folder: Path, page: str, *options: str) -> bytes:
    assert CHROMIUM is not None
    (folder / "page.html").write_text(page, encoding="utf-8")
    command = [
        CHROMIUM,
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        f"--user-data-dir={folder / 'profile'}",
        *options,
        (folder / "page.html").as_uri(),
    ]
    return subprocess.run(command, capture_output=True, timeout=120, check=True).stdout


def measured(folder: Path, page: str, width_px: int, script: str, *options: str) -> str:
    """What a script finds in the page shown in a frame of this width."""
    framed = base64.b64encode(page.encode()).decode()
    outer = (
        f'<iframe id="f" style="width:{width_px}px;height:740px;border:0"></iframe><p id="out"></p>'
        f"<script>const f=document.getElementById('f');f.onload=()=>{{"
        f"const d=f.contentDocument,w=f.contentWindow;"
        f"document.getElementById('out').textContent='found '+({script})+' end';}};"
        f"f.srcdoc=new TextDecoder().decode(Uint8Array.from(atob('{framed}'),"
        f"c=>c.charCodeAt(0)));</script>"
    )
    dump = run_browser(folder, outer, "--dump-dom", "--virtual-time-budget=4000", *options).decode()
    found = re.search(r'id="out">found (.*?) end', dump)
    assert found, dump[-300:]
    return found[1]
