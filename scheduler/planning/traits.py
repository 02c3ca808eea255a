"""What planning needs to know of crops and of tools, as the tables have it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class CropTraits:
    """What the soil and the first gates need to know of a crop."""

    emergence_base_c: float | None  # None: no heat sum to emergence is known
    emergence_cd: float | None
    fastest_c: float | None
    late_base_c: float | None  # of a second table, 50 % emergence; None: no such row
    late_cd: float | None
    close_d: float | None  # days to full cover; None: never closes
    sowing_depth_mm: float | None


@dataclass(frozen=True)
class ToolTraits:
    """What a kind of tool can do and what it asks of the soil."""

    is_wheeled: bool
    is_in_row: bool
    is_between_rows: bool
    can_blind: bool
    decides_to_mm: float  # depth of the band whose water decides
    wetness_offset_m3m3: float

    @property
    def minds_crust(self) -> bool:
        """Whether a hard crust lifts it out: tines, fingers and brushes, not blades or rotors."""
        return self.is_in_row and self.is_wheeled
