"""What planning needs to know of crops and of tools, as the tables have it."""

from __future__ import annotations

from dataclasses import dataclass

NO_BLIND, CAREFUL_BLIND, GOOD_BLIND = 0, 1, 2  # how well a crop stands a pass over its sown row


@dataclass(frozen=True)
class CropTraits:
    """What the soil, the gates and the work need to know of a crop.

    None means: not known, or never. Leaves are true leaves; heat counts above `leaf_base_c` in the
    air, from emergence for a sown crop and from setting for a set one.
    """

    emergence_base_c: float | None  # None: no heat sum to emergence is known
    emergence_cd: float | None
    fastest_c: float | None
    late_base_c: float | None  # of a second table, 50 % emergence; None: no such row
    late_cd: float | None
    close_d: float | None  # days to full cover; None: never closes
    sowing_depth_mm: float | None
    n_rows: int | None = None  # usual, on a bed of 75 cm
    row_spacing_mm: float | None = None
    blind: int = NO_BLIND
    can_flame: bool = False  # slow to come up: flame before emergence
    has_crook: bool = False  # comes up bent: never a tine over it then
    leaf_base_c: float = 5.0
    first_leaf_cd: float | None = None  # heat to the first true leaf
    leaf_cd: float | None = None  # heat for each further one
    tine_leaves: float | None = None  # earliest, sown; None: never over the standing crop
    finger_leaves: float | None = None
    torsion_leaves: float | None = None
    brush_leaves: float | None = None
    set_tine_cd: float | None = None  # heat from setting until rooted enough; None: never
    set_finger_cd: float | None = None
    height_mm: float | None = None  # full height (FAO-56 table 12), reached when it closes
    can_hill: bool = False
    weed_free_from_d: float | None = None  # days after emergence, or after setting
    weed_free_to_d: float | None = None
    season_loss_frac: float | None = None  # of the yield, never weeded
    coldest_c: float | None = None  # soil in which it came up in a trial; None: not known
    ceiling_c: float | None = None  # and the hottest
    set_tine_least_d: float = 0.0  # days from setting that no heat makes up for, unless seen rooted
    set_finger_least_d: float = 0.0
    tine_most_height_mm: float | None = None  # taller than that no tines; None: no limit


@dataclass(frozen=True)
class ToolTraits:
    """What a kind of tool, or a stack of kinds, can do and what it asks of soil and crop."""

    is_wheeled: bool
    is_in_row: bool
    is_between_rows: bool
    can_blind: bool
    decides_to_mm: float  # depth of the band whose water decides
    wetness_offset_m3m3: float
    drying_share: float = 0.0  # share of its kill that needs the uprooted weed to dry
    wet_after_frac: float = 1.0  # of that share left when rain follows at once
    wet_before_frac: float = 1.0  # of the whole kill on visibly moist soil
    on_sand_frac: float = 1.0  # of the kill on sandy soil (tools that cover)
    depth_low_mm: float = 0.0
    depth_high_mm: float = 250.0
    speed_gain_frac: float = 0.0  # more kill for each km/h above the usual speed, to 5 km/h
    speed_m_s: float = 0.8  # usual
    blind_loss_frac: float = 0.0  # of the crop stand, a pass over the sown row
    standing_loss_frac: float = 0.0  # a pass at a stage the crop stands
    row_gap_mm: float = 0.0  # least gap between rows it needs
    needs_rows: bool = False  # works along rows only
    crop_gate: str = "between"  # which stage of the crop it waits for: tine, finger, torsion,
    # brush, hilling, between, flame, hand

    @property
    def minds_crust(self) -> bool:
        """Whether a hard crust lifts it out: tines, fingers and brushes, not blades or rotors."""
        return self.is_in_row and self.is_wheeled
