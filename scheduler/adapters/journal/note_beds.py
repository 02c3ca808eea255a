"""Which beds a one-line note names, and what of it is left to read."""

from __future__ import annotations

import re
from collections.abc import Collection

from scheduler.adapters.journal.entries import names_hint
from scheduler.errors import JournalError

Place = tuple[str, str | None]
"""A bed, and the part of it that is meant."""

_NOT_COUNTED = (
    r"(?! ?(?:threads?|seed|true|young|established|m2|mm|cm|m|in|ft"
    r"|min|mins|minutes?|h|hrs?|hours?|of|x)\b)"
)
"""No unit and no stage follows a number, so that it may be the name of a bed."""

_NUMBERED = re.compile(r"(.*?)(\d+)")


def taken_name(rest: str, names: Collection[str], ends: str = r"(?= |/|$)") -> tuple[str, str]:
    """The longest of `names` at the head of `rest`, in any case, and the rest; blank if none.

    Examples
    --------
    >>> taken_name("tine weeder 6 min", ["tine", "tine weeder"])
    ('tine weeder', '6 min')
    """
    for name in sorted(names, key=lambda name: (-len(name), name)):
        pattern = r"[ _-]".join(re.escape(word) for word in re.split(r"[ _-]", name))
        found = re.match(pattern + ends, rest, re.IGNORECASE)
        if found:
            left = rest[found.end() :]
            return name, left if left.startswith("-") else left.lstrip()
    return "", rest


def taken_beds(rest: str, beds: Collection[str], *, is_many: bool) -> tuple[list[Place], str]:
    """The beds at the head of a note, and the rest of it.

    Parameters
    ----------
    rest
        The note without its kind and its moment.
    beds
        The beds of the farm, in its order.
    is_many
        Whether more than one may be named: `B4 B5`, `B4, B5 and B7`, `B1-B4`.

    Raises
    ------
    JournalError
        If no bed is named, one is not of the farm, or one is named twice.

    Examples
    --------
    >>> taken_beds("B1-B3 B7/a nothing", ["B1", "B2", "B3", "B7"], is_many=True)
    ([('B1', None), ('B2', None), ('B3', None), ('B7', 'a')], 'nothing')
    """
    ends = r"(?= |/|,|-|$)" if is_many else r"(?= |/|$)"
    name, rest = taken_name(rest, beds, ends)
    if not name:
        word = rest.split(" ")[0].partition("/")[0]
        found = f"there is no bed {word!r}" if word else "names no bed"
        raise JournalError(f"{found}; {names_hint(word, beds)}")
    places: list[Place] = []
    while name:
        more, rest = _run_or_part(name, rest, beds) if is_many else _part(name, rest)
        for place in more:
            if place in places:
                raise JournalError(f"names {'/'.join(filter(None, place))} twice; name it once")
            places.append(place)
        name, rest = _next_bed(rest, beds) if is_many else ("", rest)
    return places, rest


def _next_bed(rest: str, beds: Collection[str]) -> tuple[str, str]:
    """One more bed, after a comma, `and` or neither, and the rest; blank if there is none."""
    joint = re.match(r"(?:, ?(?:and )?|and )", rest, re.IGNORECASE)
    after = rest if joint is None else rest[joint.end() :]
    name, left = taken_name(after, beds, r"(?= |/|,|-|$)")
    if name and not (name[0].isdigit() and not re.match(_NOT_COUNTED, f" {left}")):
        return name, left
    word = re.split(r"[ ,/-]", after)[0]
    if not name and _has_form(word, beds):
        raise JournalError(f"there is no bed {word!r}; {names_hint(word, beds)}")
    return "", rest.removeprefix(",").lstrip()


def _has_form(word: str, beds: Collection[str]) -> bool:
    """Whether a word is made like the name of a bed: letters as of one of them, and a number."""
    found = _NUMBERED.fullmatch(word)
    if found is None or not found[1]:
        return False
    heads = [named[1].casefold() for bed in beds if (named := _NUMBERED.fullmatch(bed))]
    return found[1].casefold() in heads


def _part(name: str, rest: str) -> tuple[list[Place], str]:
    """The bed, with the part that may follow after a slash."""
    found = re.match(r"/([^\s,]+)[ ]?", rest)
    return [(name, found[1] if found else None)], rest[found.end() :] if found else rest


def _run_or_part(name: str, rest: str, beds: Collection[str]) -> tuple[list[Place], str]:
    """The bed, or all from it to the one after a dash."""
    if not rest.startswith("-"):
        return _part(name, rest)
    rest = rest[1:]
    numbered = {
        (found[1].casefold(), int(found[2])): bed
        for bed in beds
        if (found := _NUMBERED.fullmatch(bed))
    }
    first = _NUMBERED.fullmatch(name)
    last, after = taken_name(rest, beds, r"(?= |,|$)")
    end = _NUMBERED.fullmatch(last) if last else re.match(r"()(\d+)(?= |,|$)", rest)
    if first is None or end is None or (last and end[1].casefold() != first[1].casefold()):
        word = rest.split(" ")[0]
        if not last and _has_form(word, beds):
            raise JournalError(f"there is no bed {word!r}; {names_hint(word, beds)}")
        raise JournalError(
            f"cannot read the beds {name}-{word}; write a range from one number to a higher one, "
            f"like B1-B4, or name each bed; {names_hint(word, beds)}"
        )
    if not last:
        after = rest[end.end() :].lstrip()
    if int(end[2]) <= int(first[2]):
        raise JournalError(f"the beds {name}-{end[0]} run backwards; write the lower one first")
    run: list[Place] = []
    for number in range(int(first[2]), int(end[2]) + 1):
        bed = numbered.get((first[1].casefold(), number))
        if bed is None:
            raise JournalError(
                f"there is no bed {first[1] + str(number)!r} between {name} and {end[0]}; "
                f"{names_hint(first[1] + str(number), beds)}"
            )
        run.append((bed, None))
    return run, after
