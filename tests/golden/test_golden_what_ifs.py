"""Whole screens and answers of hand-made what-ifs, rendered from stored records.

The files are written by make_what_ifs.py, on purpose only.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from pydantic import TypeAdapter

from scheduler import __version__
from scheduler.adapters.render.whatif_json import whatif_answer
from scheduler.adapters.render.whatif_text import whatif_text
from scheduler.planning.whatif import WhatIf
from tests.golden.make_what_ifs import PAGES, TO_LOG, WHAT_IFS
from tests.golden.test_golden_pages import differences

HERE = Path(__file__).parent


def stored(name: str) -> WhatIf:
    return TypeAdapter(WhatIf).validate_json((HERE / f"what_if_{name}.json").read_text())


@pytest.mark.parametrize("name", WHAT_IFS)
@pytest.mark.parametrize(("width", "units"), PAGES)
def test_screen(name: str, width: int, units: str) -> None:
    expected = (HERE / f"what_if_{name}.{width}.{units}.txt").read_text()
    page = whatif_text(stored(name), width, units, TO_LOG.get(name, ()))
    assert page == expected
    assert max(map(len, page.splitlines())) <= width
    if width == 80:
        assert len(page.splitlines()) <= 48  # one screen


@pytest.mark.parametrize("name", WHAT_IFS)
def test_answer(name: str) -> None:
    expected = json.loads((HERE / f"what_if_{name}.answer.json").read_text())
    expected["program_version"] = __version__
    found = whatif_answer(stored(name), TO_LOG.get(name, ()))
    found["before"], found["after"] = {}, {}
    assert differences(found, expected) == []
