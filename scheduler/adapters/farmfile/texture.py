"""The texture class of a soil, from a hand test or from its fractions."""

from __future__ import annotations

import re
from collections.abc import Sequence

from scheduler.adapters.nearest import hint
from scheduler.adapters.quantities import QuantityError, depth_mm, found_text

FEELS = ("gritty", "smooth", "neither")
RIBBONS = ("short", "medium", "long")
HAND_TEST_WORDS = (
    "no ball",
    "no ribbon",
    "short ribbon",
    "medium ribbon",
    "long ribbon",
    *FEELS,
)
HAND_TEST_ALLOWED = (
    'write "no ball", "no ribbon", or how long a ribbon gets and how it feels, such as '
    '"ribbon 1.5 in, smooth" (short under 1 in, medium, long over 2 in; gritty, smooth, neither)'
)
_CLASSES = {
    ("short", "gritty"): "sandy loam",
    ("short", "smooth"): "silt loam",
    ("short", "neither"): "loam",
    ("medium", "gritty"): "sandy clay loam",
    ("medium", "smooth"): "silty clay loam",
    ("medium", "neither"): "clay loam",
    ("long", "gritty"): "sandy clay",
    ("long", "smooth"): "silty clay",
    ("long", "neither"): "clay",
}
_SHORT_BELOW_MM = 25.0
_LONG_ABOVE_MM = 51.0
_RIBBON_LENGTH = re.compile(
    r"ribbon (?:of )?(?:(?P<bound>under|below|over|above) )?"
    r"(?P<low>\d+\.?\d*)(?:\s*(?:-|to)\s*(?P<high>\d+\.?\d*))?\s*(?P<unit>[a-z\"']+)"
)


def hand_test_texture(answer: str | Sequence[str]) -> str:
    """Return the texture class that a ribbon and its feel tell.

    The usual flow: moist soil that makes no ball is sand, a ball without a ribbon loamy sand; a
    ribbon breaks before 25 mm (short), before 50 mm (medium) or later (long); rubbed wet in the
    palm the soil feels gritty, smooth or neither. Silt alone cannot be told by hand.

    Parameters
    ----------
    answer : str or sequence of str
        "no ball", "no ribbon", or a ribbon and a feel: "short ribbon, gritty",
        "ribbon 2.5-5 cm, smooth", ["ribbon over 2 in", "neither"].

    Returns
    -------
    str
        One of `records.TEXTURES`.

    Raises
    ------
    QuantityError
        If a word is unknown, missing or contradicts another; the message does not say where.

    Examples
    --------
    >>> hand_test_texture("ribbon 2.5-5 cm, smooth")
    'silty clay loam'
    >>> hand_test_texture(["short ribbon", "smooth"])
    'silt loam'
    """
    parts = answer.split(",") if isinstance(answer, str) else list(answer)
    shown = found_text(answer if isinstance(answer, str) else ", ".join(answer))
    balls: set[str] = set()
    feels: set[str] = set()
    for part in parts:
        word = " ".join(part.casefold().split())
        ribbon = _ribbon(word)
        if word in ("no ball", "no ribbon"):
            balls.add(word)
        elif ribbon is not None:
            balls.add(ribbon)
        elif word in FEELS:
            feels.add(word)
        elif word not in ("", "ball"):
            raise QuantityError(
                f"{found_text(part.strip())} is no word of the hand test; {HAND_TEST_ALLOWED}"
                f"{hint(word, HAND_TEST_WORDS)}"
            )
    if len(balls) > 1 or len(feels) > 1:
        raise QuantityError(f"{shown} contradicts itself; {HAND_TEST_ALLOWED}")
    if balls == {"no ball"}:
        return "sand"
    if balls == {"no ribbon"}:
        return "loamy sand"
    if not balls:
        raise QuantityError(f"{shown} does not tell how long the ribbon gets; {HAND_TEST_ALLOWED}")
    if not feels:
        raise QuantityError(f"{shown} does not tell how the soil feels; {HAND_TEST_ALLOWED}")
    return _CLASSES[balls.pop(), feels.pop()]


def _ribbon(word: str) -> str | None:
    """Return short, medium or long where `word` tells a ribbon, else None."""
    for ribbon in RIBBONS:
        if word in (f"{ribbon} ribbon", f"ribbon {ribbon}"):
            return ribbon
    match = _RIBBON_LENGTH.fullmatch(word)
    if match is None:
        return None
    low_mm = depth_mm(f"{match['low']} {match['unit']}")
    high_mm = low_mm if match["high"] is None else depth_mm(f"{match['high']} {match['unit']}")
    middle_mm = (low_mm + high_mm) / 2
    if match["bound"] in ("under", "below"):
        middle_mm *= 0.9
    elif match["bound"] in ("over", "above"):
        middle_mm *= 1.1
    if middle_mm < _SHORT_BELOW_MM:
        return "short"
    return "medium" if middle_mm <= _LONG_ABOVE_MM else "long"


def fractions_texture(sand_frac: float, clay_frac: float) -> str:
    """Return the texture class of the USDA triangle (Soil Survey Manual, 12 classes).

    Parameters
    ----------
    sand_frac, clay_frac : float
        Sand and clay of the fine earth, by mass [0-1]; silt is the rest.

    Returns
    -------
    str
        One of `records.TEXTURES`.

    Examples
    --------
    >>> fractions_texture(0.40, 0.20), fractions_texture(0.20, 0.15)
    ('loam', 'silt loam')
    """
    sand, clay = round(100 * sand_frac, 6), round(100 * clay_frac, 6)
    silt = round(100 - sand - clay, 6)
    if silt + 1.5 * clay < 15:
        return "sand"
    if silt + 2 * clay < 30:
        return "loamy sand"
    if clay >= 40:
        if sand > 45:
            return "sandy clay"
        return "silty clay" if silt >= 40 else "clay"
    if clay >= 35 and sand > 45:
        return "sandy clay"
    if clay >= 27:
        if sand > 45:
            return "sandy clay loam"
        return "clay loam" if sand > 20 else "silty clay loam"
    if silt >= 50:
        return "silt" if silt >= 80 and clay < 12 else "silt loam"
    if clay >= 20 and silt < 28 and sand > 45:
        return "sandy clay loam"
    if clay >= 7 and silt >= 28 and sand <= 52:
        return "loam"
    return "sandy loam"
