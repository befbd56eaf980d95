"""Invented tags, and where each one was during each flight."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Tag:
    """A transmitter as the register knows it, with its true power.

    role : animal | beacon | decoy. power_db : strength at 1 m in the main lobe; -inf = sends nothing. height_m : over the ground.
    """

    tag_id: str
    tag_type: str
    role: str
    frequency_mhz: float
    power_db: float
    height_m: float
    animal_id: str = ""
    species: str = ""
    pulse_live_per_min: float = 40.0
    pulse_mortality_per_min: float = 80.0
    deployed_utc: str = ""
    expected_end_utc: str = ""


@dataclass(frozen=True)
class Stay:
    """One tag during one flight: at `start`, from walk_s[0] to walk_s[1] on a straight way to `end`, then there (local metres).

    in_area : within the study area; mode : live | mortality | silent (sends nothing).
    """

    start: tuple
    end: tuple
    walk_s: tuple = (0, 1)
    in_area: bool = True
    mode: str = "live"

    @property
    def moved_m(self) -> float:
        """Metres between start and end."""
        return float(np.hypot(self.end[0] - self.start[0], self.end[1] - self.start[1]))

    def place(self, second) -> tuple[np.ndarray, np.ndarray]:
        """Easting and northing at these seconds since the start of the flight [m]."""
        share = np.clip((np.asarray(second, float) - self.walk_s[0]) / (self.walk_s[1] - self.walk_s[0]), 0, 1)
        return (self.start[0] + share * (self.end[0] - self.start[0]), self.start[1] + share * (self.end[1] - self.start[1]))
