"""Whether a crop stands a tool now: the gate of one tool over one planting.

Every gate reads the cautious side of the members: a crop has reached a stage when nine tenths of
their weight has, and the last hour before it comes up is that of their earliest tenth.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from scheduler.models.workability import chance
from scheduler.planning.crop_stage import CropHours, CropStage, hour_of_share, is_buried
from scheduler.planning.draws import weighted_quantiles
from scheduler.planning.traits import CAREFUL_BLIND, NO_BLIND, CropTraits, ToolTraits
from scheduler.records import BoolArray, FloatArray, Planting, Tool

REACHED = 0.9  # weight of members that must have reached a stage
CLOSED_COVER = 0.8  # cover above which no tool goes through a crop
_DEFAULT_DEPTH_MM = 13.0  # of sowing, where neither journal nor table says
_ABOVE_SEED_MM = 10.0  # that a tool stays above the seed, where it can be set so shallow
_LEAST_ABOVE_MM = 2.0  # and always
_LEAST_BLIND_MM = 8.0  # shallower than this no tool is set
_CAREFUL_FACTOR = 2.0  # on the loss of a blind pass over a crop that asks for care
_SHALLOW_FACTOR = 2.0  # and again where the seed lies nearer to the tool than it should
_MOST_BLIND_LOSS_FRAC = 0.02  # of a blind pass, whatever asks for care
_MARGINAL_LOSS = 1.0  # more loss at the very stage, in shares of the tabled; none a leaf later
_MARGIN_SHARE = 0.25  # of the heat to rooting that counts as a leaf does
_STUCK_H = 120.0  # more than that to emergence, though most of its heat is there
_CLEAR_MM = 20.0  # that a crop must stand above the soil thrown to it

_LEAF_GATES = {
    "tine": "tine_leaves",
    "finger": "finger_leaves",
    "torsion": "torsion_leaves",
    "brush": "brush_leaves",
}
_IN_WORDS = {"tine": "tines", "finger": "fingers", "torsion": "torsion wires", "brush": "brushes"}
_FLAME_UNREAD = "flame is off: the farm file does not say that local fire rules were read"


@dataclass(frozen=True)
class Gate:
    """Whether the crop lets a tool in now, and what the pass would cost of its stand.

    `because` is empty where the gate is open, else `crop_tender`, `crop_up` or `no_fit`. Hours are
    those of the sky's clock: `opens_hour` the first hour from now at which it is open (None: not in
    sight), `closes_hour` the last one (None: not in sight, or closed). `loss_frac` is 1 while
    closed.
    """

    because: str
    why: str
    opens_hour: float | None
    closes_hour: float | None
    loss_frac: float
    depth_mm: float

    @property
    def is_open(self) -> bool:
        """Whether the tool may go in now."""
        return not self.because


@dataclass(frozen=True)
class _Asked:
    """What one gate is asked about."""

    tool: Tool
    traits: ToolTraits
    planting: Planting
    crop: CropTraits
    stage: CropStage
    emergence: CropHours | None
    now_hour: int
    stored: int
    weights: FloatArray

    @property
    def name(self) -> str:
        return self.planting.crop or ""

    @property
    def at(self) -> int:
        """Index of now among the stored hours."""
        return self.now_hour - self.stored

    def open(self, why: str, loss_frac: float, closes: float | None = None) -> Gate:
        loss = min(max(loss_frac, 0.0), 1.0)
        return Gate("", why, float(self.now_hour), closes, loss, self.tool.depth_mm)

    def closed(self, because: str, why: str, opens: float | None = None) -> Gate:
        return Gate(because, why, opens, None, 1.0, self.tool.depth_mm)

    def first_hour(self, is_reached: BoolArray) -> float | None:
        """First hour from now by which nine tenths of the weight has reached a stage."""
        is_enough = chance(is_reached[:, self.at :], self.weights) >= REACHED - 1e-9
        return float(self.now_hour + is_enough.argmax()) if is_enough.any() else None

    def is_set_for(self, least_d: float) -> BoolArray:
        """By stored hour, whether the crop was sown or set so many days ago; yes if not known."""
        first = self.stage.established_hour + 24.0 * least_d
        hours = self.stored + np.arange(self.stage.rooted_cd.shape[1])
        return np.asarray(hours >= first) if np.isfinite(first) else np.ones(hours.size, bool)

    def is_now(self, is_reached: BoolArray) -> bool:
        """Whether nine tenths of the weight has reached a stage now."""
        share = chance(is_reached[:, self.at : self.at + 1], self.weights)
        return bool(share[0] >= REACHED - 1e-9)

    def cautious(self, values: FloatArray) -> float:
        """The tenth of the members that is furthest behind, now."""
        return float(weighted_quantiles(values[:, self.at], self.weights)[0])


def gate(
    tool: Tool,
    traits: ToolTraits,
    planting: Planting,
    crop: CropTraits | None,
    stage: CropStage | None,
    emergence: CropHours | None,
    now_hour: int,
    stored: int,
    weights: FloatArray,
    flame_rules_read: bool = False,
) -> Gate:
    """Whether a tool may go over a planting now, since when or from when, and at what loss.

    Parameters
    ----------
    tool : Tool
        The tool; its depth is the depth of the pass.
    traits : ToolTraits
        Traits of its kind or stack; `crop_gate` names what it waits for, several words joined by
        " + " for a stack.
    planting : Planting
        The planting.
    crop : CropTraits or None
        Traits of its crop; None on an empty bed.
    stage : CropStage or None
        Stage of its crop.
    emergence : CropHours or None
        When a sown crop comes up, by member; None where that is not computed.
    now_hour, stored : int
        Hour of the answer and first stored hour.
    weights : array
        Member weights, (n_members,).
    flame_rules_read : bool
        Whether the farm file says that local fire rules were read.

    Returns
    -------
    Gate
        Of a stack the first closed part speaks, and it opens when all parts are open.

    Notes
    -----
    A sown crop is below ground until nine tenths of the weight of members has it up: blind tools
    until 70 % of the heat to emergence, 10 mm above the seed, or as shallow as the tool can be set
    and never nearer than 2 mm. Nearer than 10 mm doubles the loss, and so does a crop that asks for
    care, up to 3 % of the stand. Flame until 85 %. Up: between the rows until it covers the ground,
    in the row from the crop's leaf stage, tines only while it is no taller than they may go
    through. Set: in the row once rooted, by the heat and not before some days; seen rooted outranks
    both. A tuber or a clove takes blind tools and soil thrown to its row until the first tenth is
    up. The tabled loss holds a leaf after the stage and doubles at it. Common practice; the shares
    are assumptions. No range stated.

    Examples
    --------
    A beet of 5 leaves takes tines from 4, but no brush, as its tables know no stage for it.

    >>> from datetime import UTC, datetime
    >>> from scheduler.records import Bed
    >>> at = datetime(2013, 5, 1, tzinfo=UTC)
    >>> p = Planting(Bed("A1", 18.0, 0.75, "loam"), None, 0.0, 18.0, "beet", True, at, 3, 250., 18.)
    >>> beet = CropTraits(3.1, 109.0, 25.0, None, None, 48.0, 18.0, tine_leaves=4.0)
    >>> full = np.full((2, 3), 5.0)
    >>> stage = CropStage(full > 0, full, 0 * full, 20 * full, np.full(3, 0.3))
    >>> tines = ToolTraits(True, True, True, True, 20.0, 0.0, crop_gate="tine")
    >>> kit = Tool("tines", "tine weeder", 18.0, 0.9)
    >>> gate(kit, tines, p, beet, stage, None, 1, 0, np.ones(2)).why
    'beet has 5.0 leaves, tines go in from 4'
    >>> brush = ToolTraits(True, True, False, False, 20.0, 0.0, crop_gate="brush")
    >>> gate(kit, brush, p, beet, stage, None, 1, 0, np.ones(2)).because
    'no_fit'
    """
    words = traits.crop_gate.split(" + ")
    if "flame" in words and not flame_rules_read:
        return Gate("no_fit", _FLAME_UNREAD, None, None, 1.0, tool.depth_mm)
    if planting.crop is None:
        if traits.needs_rows:
            return Gate("no_fit", "no rows to work along", None, None, 1.0, tool.depth_mm)
        return Gate("", "no crop stands here", float(now_hour), None, 0.0, tool.depth_mm)
    if crop is None or stage is None:
        why = f"nothing is known of {planting.crop} here: neither its gates nor its age"
        return Gate("no_fit", why, None, None, 1.0, tool.depth_mm)
    asked = _Asked(
        tool, traits, planting, crop, stage, emergence, now_hour, stored, np.asarray(weights)
    )
    if planting.is_sown and not asked.is_now(stage.is_up):
        return _below_ground(asked, words)
    if is_buried(planting, crop) and not asked.is_now(stage.is_up):
        return _buried(asked, words)
    return _all_open([_standing(asked, word) for word in words])


def _all_open(parts: list[Gate]) -> Gate:
    """The gate of a stack from the gates of its parts."""
    opens = None
    if all(part.opens_hour is not None for part in parts):
        opens = max(part.opens_hour for part in parts if part.opens_hour is not None)
    closed = [part for part in parts if not part.is_open]
    if closed:
        return replace(closed[0], opens_hour=opens)
    closes = [part.closes_hour for part in parts if part.closes_hour is not None]
    dearest = max(parts, key=lambda part: part.loss_frac)
    return replace(dearest, opens_hour=opens, closes_hour=min(closes) if closes else None)


def _below_ground(asked: _Asked, words: list[str]) -> Gate:
    """Gate of a sown crop that is not up for all that anybody knows."""
    later = _all_open([_standing(asked, word) for word in words]).opens_hour
    name, crop = asked.name, asked.crop
    if words == ["flame"]:
        return _flame(asked)
    if not asked.traits.can_blind:
        return asked.closed("crop_tender", f"the rows of {name} are not to be seen yet", later)
    if crop.blind == NO_BLIND:
        why = f"{name} does not stand a pass over the sown row"
        return asked.closed("crop_tender", why, later)
    if asked.emergence is None:
        why = f"when {name} comes up is not known: no blind pass by guess"
        return asked.closed("crop_tender", why, later)
    last = _last_hour(asked, "last_blind")
    if last is not None and last < asked.now_hour:
        why = f"{name} is about to come up: the last good hour of a blind pass is gone"
        if crop.has_crook:
            why = f"{name} comes up bent: never a tine over the crook"
        if _is_stuck(asked):
            why = f"{name} had most of its heat and lies too dry to come up: look, or water it"
        return asked.closed("crop_tender", why, later)
    return _blind(asked, last)


def _buried(asked: _Asked, words: list[str]) -> Gate:
    """Gate of a tuber or a clove below ground: no clock but that of its first tenth to be up."""
    if "flame" in words and not asked.crop.can_flame:
        return asked.closed("no_fit", f"no flame over {asked.name} that is set below ground")
    later = _all_open([_standing(asked, word) for word in words]).opens_hour
    early = chance(asked.stage.is_up[:, asked.at :], asked.weights) > 1.0 - REACHED
    last = float(asked.now_hour + early.argmax() - 1) if early.any() else None
    if last is not None and last < asked.now_hour:
        return asked.closed("crop_tender", f"{asked.name} is coming up", later)
    if words == ["hilling"] and asked.crop.can_hill:
        return asked.open(f"{asked.name} is below ground: soil may be thrown to its row", 0.0, last)
    if asked.traits.can_blind:
        return _blind(asked, last)
    why = f"the rows of {asked.name} are not to be seen yet"
    return asked.closed("crop_tender", why, later)


def _blind(asked: _Asked, last: float | None) -> Gate:
    """An open gate over a sown row, with the depth the seed leaves."""
    name, crop, traits = asked.name, asked.crop, asked.traits
    seed_mm = asked.planting.sowing_depth_mm or crop.sowing_depth_mm or _DEFAULT_DEPTH_MM
    above_mm = seed_mm - _LEAST_ABOVE_MM
    least_mm = max(traits.depth_low_mm, _LEAST_BLIND_MM)
    if above_mm < _LEAST_BLIND_MM:
        why = f"seed of {name} lies at {seed_mm:.0f} mm: nothing can go above it"
        return asked.closed("no_fit", why)
    if above_mm < least_mm:
        why = (
            f"seed of {name} lies at {seed_mm:.0f} mm: at most {above_mm:.0f} mm, "
            f"this tool takes {least_mm:.0f} mm or more"
        )
        return asked.closed("no_fit", why)
    depth_mm = min(asked.tool.depth_mm, max(least_mm, seed_mm - _ABOVE_SEED_MM))
    loss = traits.blind_loss_frac
    if crop.blind == CAREFUL_BLIND:
        loss *= _CAREFUL_FACTOR
    if depth_mm > seed_mm - _ABOVE_SEED_MM:
        loss *= _SHALLOW_FACTOR
    loss = min(loss, _MOST_BLIND_LOSS_FRAC)
    why = f"{name} is below ground, seed at {seed_mm:.0f} mm: at most {depth_mm:.0f} mm deep"
    if last is not None:
        why += f", last good hour in {_span(last - asked.now_hour)}"
    return replace(asked.open(why, loss, last), depth_mm=depth_mm)


def _flame(asked: _Asked) -> Gate:
    """Gate of a flame over a sown row."""
    name = asked.name
    if not asked.crop.can_flame:
        return asked.closed("no_fit", f"{name} comes up too fast, or too uneven, for a flame")
    if asked.emergence is None:
        return asked.closed("crop_tender", f"when {name} comes up is not known: no flame by guess")
    last = _last_hour(asked, "last_flame")
    if last is None:
        return asked.open(f"{name} is below ground, and long will be", 0.0)
    if last < asked.now_hour:
        return asked.closed("crop_tender", f"{name} is too near to coming up for a flame")
    why = f"{name} is below ground, last good hour for a flame in {_span(last - asked.now_hour)}"
    return asked.open(why, 0.0, last)


def _standing(asked: _Asked, word: str) -> Gate:
    """Gate of one word of a tool over a crop that stands, or will."""
    name, at = asked.name, asked.at
    if word == "flame":
        return asked.closed("no_fit", f"never a flame over standing {name}")
    is_covered = asked.stage.cover_frac[at:] > CLOSED_COVER
    if is_covered[0]:
        cover_pct = 100.0 * asked.stage.cover_frac[at]
        return asked.closed("crop_up", f"{name} covers {cover_pct:.0f} % of the ground")
    closes = float(asked.now_hour + is_covered.argmax() - 1) if is_covered.any() else None
    if word == "hand":
        return _from_up(asked)
    if word == "between":
        found = _from_up(asked)
    elif word == "hilling":
        found = _hilling(asked)
    elif asked.planting.is_sown:
        found = _by_leaves(asked, word)
    else:
        found = _by_roots(asked, word)
    if word == "tine":
        found, closes = _low_enough(asked, found, closes)
    if found.is_open:
        return replace(found, closes_hour=closes)
    if found.opens_hour is not None and closes is not None and found.opens_hour > closes:
        return replace(found, opens_hour=None)
    return found


def _low_enough(asked: _Asked, found: Gate, closes: float | None) -> tuple[Gate, float | None]:
    """Tines over a crop that may grow too tall for them: until the first tenth of it is."""
    most_mm = asked.crop.tine_most_height_mm
    if most_mm is None:
        return found, closes
    is_tall = asked.stage.height_mm[:, asked.at :] > most_mm
    is_past = chance(is_tall, asked.weights) > 1.0 - REACHED
    if is_past[0]:
        tall_mm = float(weighted_quantiles(asked.stage.height_mm[:, asked.at], asked.weights)[2])
        why = f"{asked.name} stands {tall_mm:.0f} mm tall, tines go until {most_mm:.0f} mm"
        return asked.closed("crop_up", why), None
    last = float(asked.now_hour + is_past.argmax() - 1) if is_past.any() else None
    ends = [hour for hour in (closes, last) if hour is not None]
    return found, min(ends) if ends else None


def _from_up(asked: _Asked) -> Gate:
    """Between the rows: from when they can be seen."""
    opens = asked.first_hour(asked.stage.is_up)
    if opens == asked.now_hour:
        cover_pct = 100.0 * asked.stage.cover_frac[asked.at]
        why = f"{asked.name} covers {cover_pct:.0f} % of the ground: room between the rows"
        return asked.open(why, asked.traits.standing_loss_frac)
    why = f"the rows of {asked.name} are not to be seen yet"
    return asked.closed("crop_tender", why, opens)


def _by_leaves(asked: _Asked, word: str) -> Gate:
    """In the row of a sown crop: from its leaf stage."""
    name, tools = asked.name, _IN_WORDS[word]
    need: float | None = getattr(asked.crop, _LEAF_GATES[word])
    if need is None:
        return asked.closed("no_fit", f"never {tools} over standing {name}")
    leaves = asked.stage.leaves
    if np.isnan(leaves[:, asked.at]).all():
        why = f"{tools} wait for {need:g} leaves of {name}, and no clock of its leaves is known"
        return asked.closed("crop_tender", why)
    opens = asked.first_hour(asked.stage.is_up & (leaves >= need))
    if opens == asked.now_hour:
        why = f"{name} has {asked.cautious(leaves):.1f} leaves, {tools} go in from {need:g}"
        return asked.open(why, _near_loss(asked, leaves[:, asked.at] - need))
    why = f"{name} has {asked.cautious(leaves):.1f} leaves, {tools} wait for {need:g}"
    if asked.crop.has_crook and word == "tine":
        why = f"{name} comes up bent: never a tine over the crook, they wait for {need:g} leaves"
    return asked.closed("crop_tender", why, opens)


def _by_roots(asked: _Asked, word: str) -> Gate:
    """In the row of a set crop: once it is rooted."""
    name, tools = asked.name, _IN_WORDS[word]
    need = asked.crop.set_tine_cd if word == "tine" else asked.crop.set_finger_cd
    if need is None:
        return asked.closed("no_fit", f"never {tools} over standing {name}")
    is_tine = word == "tine"
    least_d = asked.crop.set_tine_least_d if is_tine else asked.crop.set_finger_least_d
    rooted = asked.stage.rooted_cd
    opens = asked.first_hour((rooted >= need) & (asked.is_set_for(least_d) | np.isinf(rooted)))
    if opens == asked.now_hour:
        unit_cd = max(_MARGIN_SHARE * need, 1e-9)
        margin = (rooted[:, asked.at] - need) / unit_cd
        why = f"{_age(asked)}: rooted by the heat since, the tug test decides"
        if asked.planting.rooted_at is not None and np.isinf(rooted[:, asked.at]).all():
            why = f"{name} was seen to be rooted"
        return asked.open(why, _near_loss(asked, margin))
    return asked.closed(
        "crop_tender", f"{_age(asked)}: not rooted yet, the tug test decides", opens
    )


def _hilling(asked: _Asked) -> Gate:
    """Soil thrown to the row: once the crop stands clear of it."""
    name = asked.name
    if not asked.crop.can_hill:
        return asked.closed("no_fit", f"no soil is thrown to {name}")
    need_mm = asked.tool.depth_mm + _CLEAR_MM
    opens = asked.first_hour(asked.stage.is_up & (asked.stage.height_mm >= need_mm))
    tall_mm = asked.cautious(asked.stage.height_mm)
    if opens == asked.now_hour:
        why = f"{name} stands {tall_mm:.0f} mm tall, ridge {asked.tool.depth_mm:.0f} mm"
        return asked.open(why, asked.traits.standing_loss_frac)
    why = (
        f"{name} stands {tall_mm:.0f} mm tall, a ridge of {asked.tool.depth_mm:.0f} mm "
        f"asks for {need_mm:.0f} mm"
    )
    return asked.closed("crop_tender", why, opens)


def _near_loss(asked: _Asked, margin: FloatArray) -> float:
    """Loss of a pass by how far members are past the stage: tabled a leaf later, double at it."""
    factor = 1.0 + _MARGINAL_LOSS * np.clip(1.0 - margin, 0.0, 2.0)
    mean = float(np.sum(asked.weights * factor) / np.sum(asked.weights))
    return asked.traits.standing_loss_frac * mean


def _last_hour(asked: _Asked, name: str) -> float | None:
    """Last good hour before emergence by the earliest tenth of members; None beyond sight."""
    if asked.emergence is None:
        return None
    return hour_of_share(getattr(asked.emergence, name), asked.weights, 1.0 - REACHED)


def _is_stuck(asked: _Asked) -> bool:
    """Whether a crop near to coming up has no day of it in sight for half of the members."""
    assert asked.emergence is not None
    up = hour_of_share(asked.emergence.first_up, asked.weights, 0.5)
    return up is None or up > asked.now_hour + _STUCK_H


def _age(asked: _Asked) -> str:
    """How long ago a crop was set."""
    days = (asked.now_hour - asked.stage.established_hour) / 24.0
    if np.isnan(days):
        return f"{asked.name} was set"
    return f"{asked.name} was set {days:.0f} {'day' if round(days) == 1 else 'days'} ago"


def _span(hours: float) -> str:
    """A span of hours in words."""
    return f"{hours:.0f} h" if hours < 48.0 else f"{hours / 24.0:.0f} days"
