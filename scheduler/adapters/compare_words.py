"""From what a grower types to a change of the set-up."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from scheduler.adapters import quantities
from scheduler.adapters.journal.entries import names_hint
from scheduler.errors import UsageError
from scheduler.records import TOOL_KINDS, Farm
from scheduler.service.compare import RowsChange, SetUpChange, ToolChange

_PRICE = re.compile(r"(?P<before>\D*?)\s*(?P<number>\d[\d,]*(\.\d+)?)\s*(?P<after>\D*)")
_HOURS = re.compile(r"(?P<number>[+-]?\d+(\.\d+)?)\s*(h|hours?)?(\s*(a|per)\s*week)?")
_SYMBOLS = {"$": "USD", "€": "EUR", "£": "GBP"}


@dataclass(frozen=True)
class AskedSetUp:
    """The options of the command as typed; None and empty where not given."""

    rows: str | None = None
    spacing: str | None = None
    tools: Sequence[str] = ()
    price: str | None = None
    without: Sequence[str] = ()
    hours: str | None = None
    stale: Sequence[str] = ()


def asked_set_up(asked: AskedSetUp, farm: Farm, crops: Collection[str]) -> SetUpChange:
    """The change that options ask for.

    Parameters
    ----------
    asked
        Options as typed.
    farm
        For names of tools, bed and currency.
    crops
        Names of crops.

    Raises
    ------
    UsageError
        If an option cannot be read; the message names it.
    """
    if asked.spacing is not None and asked.rows is None:
        raise UsageError("--spacing: goes with --rows, as: --rows carrot 2 --spacing 15 in")
    if asked.price is not None and not any((asked.tools, asked.rows, asked.stale)):
        raise UsageError("--price: what for? it goes with --tool, --rows or --stale")
    rows = () if asked.rows is None else (_rows(asked.rows, asked.spacing, crops),)
    return SetUpChange(
        rows,
        tuple(_tool(text) for text in asked.tools),
        tuple(
            _named("--without", text, [tool.name for tool in farm.tools]) for text in asked.without
        ),
        0.0 if asked.hours is None else _more_hours(asked.hours),
        tuple(_named("--stale", text, crops) for text in asked.stale),
        None if asked.price is None else _price(asked.price, farm.work.currency),
    )


def _named(option: str, text: str, names: Collection[str]) -> str:
    """One of some names, however its letters are cased."""
    said = " ".join(text.split()).casefold()
    for name in names:
        if name.casefold() == said:
            return name
    raise UsageError(f"{option}: found {text!r}; {names_hint(text, names)}")


def _rows(text: str, spacing: str | None, crops: Collection[str]) -> RowsChange:
    *name, number = text.split() or [""]
    if not name or not number.isascii() or not number.isdigit() or int(number) < 1:
        raise UsageError(f"--rows: found {text!r}; give a crop and a number, as: --rows carrot 2")
    crop, n_rows = _named("--rows", " ".join(name), crops), int(number)
    if spacing is None:
        if n_rows > 1:
            raise UsageError(
                f"--rows: {n_rows} rows of {crop} need a spacing, as: --rows {crop} {n_rows} "
                "--spacing 15 in"
            )
        return RowsChange(crop, n_rows, None)
    try:
        apart_mm = quantities.depth_mm(spacing)
    except quantities.QuantityError as error:
        raise UsageError(f"--spacing: {error}") from error
    return RowsChange(crop, n_rows, apart_mm)


def _tool(text: str) -> ToolChange:
    name, _, kind = (part.strip() for part in text.partition("="))
    kinds = [kind for kind in TOOL_KINDS if kind != "hand"]
    parts = [_named("--tool", part, kinds) for part in (kind or name).split("+")]
    return ToolChange(name, " + ".join(parts))


def _more_hours(text: str) -> float:
    found = _HOURS.fullmatch(text.strip().casefold())
    if found is None or not -168.0 <= float(found["number"]) <= 168.0:
        raise UsageError(f"--hours: found {text!r}; give hours more or fewer a week, as +2 or -1.5")
    return float(found["number"])


def _price(text: str, currency: str) -> float:
    found = _PRICE.fullmatch(text.strip())
    if found is None:
        raise UsageError(f"--price: found {text!r}; give an amount, as 1800")
    said = (found["before"] or found["after"]).strip()
    said = _SYMBOLS.get(said, said)
    if said and currency and said.casefold() != currency.casefold():
        raise UsageError(
            f"--price: found {text!r}; the farm reckons in {currency}: give the amount in it"
        )
    return float(found["number"].replace(",", ""))
