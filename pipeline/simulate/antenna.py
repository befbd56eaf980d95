"""Two antennas: one as a small beam antenna behaves, one exactly as the analysis assumes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class LobedAntenna:
    """A small beam antenna: main lobe, a side lobe at 120 degrees on either hand, a back lobe.

    front_to_back_db : main lobe over back lobe at the horizon, 10 to 14 for a small antenna under a drone. [dB]
    ripple_db : depth of the dips that part the main lobe, 64 degrees wide at half power, from the side lobes. [dB]
    overhead_loss_db : how far straight below lies under the main lobe at the horizon. [dB]
    """

    front_to_back_db: float = 12.0
    ripple_db: float = 4.5
    overhead_loss_db: float = 6.0

    def gain_db(self, relative_azimuth_deg, depression_deg) -> np.ndarray:
        """Gain against the main lobe at the horizon [dB]; the differences between directions flatten as cos^2 of the depression.

        The shape is our own: a cosine for front against back and a threefold cosine for the side lobes.
        """
        turn, down = np.radians(relative_azimuth_deg), np.radians(depression_deg)
        front_back = (self.front_to_back_db - self.ripple_db) * (1 - np.cos(turn)) / 2
        ripple = self.ripple_db * (1 - np.cos(3 * turn)) / 2
        return -(front_back + ripple) * np.cos(down) ** 2 - self.overhead_loss_db * np.sin(down) ** 2


@dataclass(frozen=True)
class QuadraticAntenna:
    """Gain a1 u + a2 u^2 + b sin(depression)^2 with u = cos(depression) cos(relative azimuth): the form the analysis fits.

    Front against back at the horizon is 2 a1. All in dB.
    """

    a1_db: float = 5.0
    a2_db: float = 1.0
    b_db: float = -2.0

    def gain_db(self, relative_azimuth_deg, depression_deg) -> np.ndarray:
        """Gain [dB]; both angles in degrees, arrays of one shape."""
        down = np.radians(depression_deg)
        u = np.cos(down) * np.cos(np.radians(relative_azimuth_deg))
        return self.a1_db * u + self.a2_db * u**2 + self.b_db * np.sin(down) ** 2
