"""The right name nearest to a wrong one, for messages."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches


def nearest(word: str, names: Iterable[str]) -> str | None:
    """Return the name most like `word`, or None where nothing is alike.

    Parameters
    ----------
    word : str
        What was written.
    names : iterable of str
        The names that are right.

    Returns
    -------
    str or None
        One of `names`, as spelled there; letter case, hyphens and underscores do not count.

    Examples
    --------
    >>> nearest("slit loam", ["silt loam", "sandy loam"])
    'silt loam'
    >>> nearest("tractor", ["drip", "none"]) is None
    True
    """
    by_plain = {_plain(name): name for name in sorted(names, reverse=True)}
    plain = _plain(word)
    if plain in by_plain:
        return by_plain[plain]
    found = get_close_matches(plain, sorted(by_plain), n=1, cutoff=0.6)
    return by_plain[found[0]] if found else None


def hint(word: str, names: Iterable[str]) -> str:
    """Return the end of a message that names the nearest right name, or nothing.

    Examples
    --------
    >>> hint("fet", ["feet", "mm"])
    '; nearest: "feet"'
    >>> hint("xyz", ["feet", "mm"])
    ''
    """
    name = nearest(word, names)
    return "" if name is None else f'; nearest: "{name}"'


def _plain(word: str) -> str:
    return " ".join(word.casefold().replace("_", " ").replace("-", " ").split())
