"""Which tools a planting can take, and how long a pass takes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from scheduler.planning.draws import weighted_quantiles
from scheduler.planning.outlook import Outlook
from scheduler.planning.traits import ToolTraits
from scheduler.records import Planting, Tool

_CLOSED_COVER = 0.8
_NOT_OFFERED = ("flame", "hand")  # their gates are not computed yet
_TURN_S = 25.0
_ACCESS_MIN = 1.0
_ALL_UP = 0.9  # weight of members from which a crop counts as up


def work_minutes(tool: Tool, planting: Planting) -> float:
    """Minutes for one pass over a planting: driving, turns, access.

    Parameters
    ----------
    tool : Tool
        The tool.
    planting : Planting
        The planting.

    Returns
    -------
    float
        Minutes [min].

    Notes
    -----
    One run for each width of the tool that the bed needs, 25 s a turn and a minute to get there:
    assumptions of this project until the grower logs minutes. No range stated.

    Examples
    --------
    >>> from scheduler.records import Bed
    >>> bed = Bed("A1", 18.0, 0.75, "loam")
    >>> tool = Tool("tines", "tine weeder", 15.0, 0.9, width_m=0.8)
    >>> p = Planting(bed, None, 0.0, 18.0, None, False, None, None, None, None)
    >>> round(work_minutes(tool, p), 1)
    1.8
    """
    runs = 1
    if tool.width_m is not None:
        runs = max(1, int(np.ceil(planting.bed.width_m / tool.width_m - 0.05)))
    metres = planting.to_m - planting.from_m
    return _ACCESS_MIN + runs * (metres / tool.speed_m_s + _TURN_S) / 60.0


def offered(tools: Sequence[Tool]) -> tuple[Tool, ...]:
    """Tools that the list can offer at all.

    Parameters
    ----------
    tools : sequence of Tool
        Tools of the farm.

    Returns
    -------
    tuple of Tool
        Without flame and hand tools: their gates are not computed.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> hoe = Tool("hoe", "wheel hoe", 20.0, 0.7)
    >>> [tool.name for tool in offered([hoe, Tool("torch", "flame", 0.0, 0.5)])]
    ['hoe']
    """
    return tuple(tool for tool in tools if tool.kind not in _NOT_OFFERED)


def fitting_tools(
    outlook: Outlook,
    tools: Sequence[Tool],
    traits: Mapping[str, ToolTraits],
    now_hour: int,
    stored: int,
    is_late: bool,
) -> tuple[tuple[Tool, ...], str]:
    """Tools that a planting can take at all now, best first, or a reason code.

    Parameters
    ----------
    outlook : Outlook
        The planting's outlook.
    tools : sequence of Tool
        Tools of the farm.
    traits : mapping
        Tool traits by kind.
    now_hour, stored : int
        Hour of the answer and first stored hour.
    is_late : bool
        Whether the weeds have outgrown tines.

    Returns
    -------
    tuple
        Tools and an empty reason, or no tools and `crop_tender`, `crop_up` or `no_fit`.

    Notes
    -----
    An empty or sown bed takes a blind tool until 70 % of the heat to emergence (by the earliest
    tenth of members); a crop that is up takes tools between its rows until it covers the ground. A
    tool that cannot be set to the crop's rows does not fit. Tools that work in the row of a
    standing crop are not offered by this rule. The fastest fitting tool comes first. Common
    practice. No range stated. Worked: tests/planning/test_order.py.
    """
    planting = outlook.planting
    tools = offered(tools)
    blind = [t for t in tools if traits[t.kind].can_blind]
    between = [t for t in tools if traits[t.kind].is_between_rows and not traits[t.kind].can_blind]
    if planting.crop is None:
        wanted = between if is_late else [*blind, *between]
    elif is_below_ground(outlook, now_hour):
        last = last_blind_hour(outlook)
        if last is not None and last < now_hour:
            return (), "crop_tender"
        wanted = blind
    elif outlook.cover_frac[now_hour - stored] > _CLOSED_COVER:
        return (), "crop_up"
    else:
        wanted = [tool for tool in between if fits_rows(tool, planting)]
    fitting = sorted(wanted, key=lambda t: (-t.speed_m_s * (t.width_m or 0.3), t.name))
    if planting.crop is None and not is_late:
        fitting = sorted(fitting, key=lambda t: not traits[t.kind].can_blind)
    return (tuple(fitting), "") if fitting else ((), "no_fit")


def fits_rows(tool: Tool, planting: Planting) -> bool:
    """Whether a tool can be set to the rows of a standing crop.

    Parameters
    ----------
    tool : Tool
        The tool; without rows or spacings it can be led between any.
    planting : Planting
        The planting; rows that are not known fit.

    Returns
    -------
    bool
        The number of rows is one of the tool's, and a spacing of the tool lies within 15 %.

    Notes
    -----
    Common practice; the 15 % are an assumption of this project. No range stated.

    Examples
    --------
    >>> from scheduler.records import Bed
    >>> bed = Bed("A1", 18.0, 0.75, "loam")
    >>> p = Planting(bed, None, 0.0, 18.0, "carrot", True, None, 5, 150.0, 12.0)
    >>> fits_rows(Tool("sweeps", "sweeps", 25.0, 0.9, rows=(1, 2, 3)), p)
    False
    """
    if tool.rows and planting.n_rows is not None and planting.n_rows not in tool.rows:
        return False
    spacing = planting.row_spacing_mm
    if not tool.row_spacings_mm or spacing is None or planting.n_rows in (None, 1):
        return True
    return any(abs(own - spacing) <= 0.15 * spacing for own in tool.row_spacings_mm)


def setup_name(tool: Tool, planting: Planting) -> str | None:
    """The named set-up that speaks of the planting's number of rows.

    Parameters
    ----------
    tool : Tool
        The tool.
    planting : Planting
        The planting.

    Returns
    -------
    str or None
        Its name, None where no set-up names that number.

    Notes
    -----
    Definition of this project. Range: one to six rows, by their English words.

    Examples
    --------
    >>> from scheduler.records import Bed, Setup
    >>> bed = Bed("A1", 18.0, 0.75, "loam")
    >>> p = Planting(bed, None, 0.0, 18.0, "carrot", True, None, 3, 250.0, 12.0)
    >>> hoe = Tool("hoe", "wheel hoe", 20.0, 0.7, setups=(Setup("two rows"), Setup("three rows")))
    >>> setup_name(hoe, p)
    'three rows'
    """
    words = {1: "one", 2: "two", 3: "three", 4: "four", 5: "five", 6: "six"}
    number = words.get(planting.n_rows or 0)
    if number is None:
        return None
    return next((s.name for s in tool.setups if number in s.name.lower().split()), None)


def is_below_ground(outlook: Outlook, now_hour: int) -> bool:
    """Whether a sown crop is still below ground for at least a tenth of the members' weight.

    Parameters
    ----------
    outlook : Outlook
        The planting's outlook.
    now_hour : int
        Hour of the answer.

    Returns
    -------
    bool
        False for transplants, for crops seen up, and where no heat sum is known.

    Notes
    -----
    Definition of this project. Range as the emergence it reads.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> seen = SimpleNamespace(emergence_hours=np.array([90.0, np.nan]), weights=np.ones(2))
    >>> is_below_ground(seen, 100), is_below_ground(SimpleNamespace(emergence_hours=None), 100)
    (True, False)
    """
    if outlook.emergence_hours is None:
        return False
    up = np.nan_to_num(outlook.emergence_hours, nan=np.inf) <= now_hour
    return float(outlook.weights[up].sum() / outlook.weights.sum()) < _ALL_UP


def last_blind_hour(outlook: Outlook) -> float | None:
    """Last hour of a blind pass by the earliest tenth of members.

    Parameters
    ----------
    outlook : Outlook
        The planting's outlook.

    Returns
    -------
    float or None
        Hour on the sky's clock; None if no sown crop waits below ground or none is in sight.

    Notes
    -----
    Definition of this project. Range as the emergence it reads.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> seen = SimpleNamespace(
    ...     emergence_hours=np.full(2, 90.0), last_blind_hours=np.full(2, 64.0), weights=np.ones(2)
    ... )
    >>> last_blind_hour(seen)
    64.0
    """
    if outlook.last_blind_hours is None or outlook.emergence_hours is None:
        return None
    value = weighted_quantiles(outlook.last_blind_hours, outlook.weights)[0]
    return None if np.isnan(value) else float(value)
