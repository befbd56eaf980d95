"""What rising ground between receiver and tag takes away: one knife edge put where the two horizons meet."""

from __future__ import annotations

import numpy as np

METRES_AT_150_MHZ = 2.0  # wavelength of the band most tags use


def knife_edge_loss_db(nu) -> np.ndarray:
    """Loss behind a single knife edge [dB], for nu of any shape; 0 below nu = -0.78.

    References
    ----------
    .. [1] Recommendation ITU-R P.526, section on single knife-edge obstacles, approximate form
       6.9 + 20 log10(sqrt((nu - 0.1)^2 + 1) + nu - 0.1).
    """
    nu = np.asarray(nu, float)
    over = np.maximum(nu, -0.78) - 0.1
    return np.where(nu > -0.78, 6.9 + 20 * np.log10(np.sqrt(over**2 + 1) + over), 0.0)


def profile_loss_db(reach_m, along_m, ground_m, start_m, end_m, wavelength_m: float = METRES_AT_150_MHZ) -> np.ndarray:
    """Loss over each of n profiles [dB], by Bullington's construction with the knife edge alone.

    Parameters
    ----------
    reach_m : array (n,)
        Horizontal distance from the start to the end of each profile.
    along_m, ground_m : arrays (n, k)
        Distance of each profile point from the start, strictly between 0 and reach_m, and ground height there; NaN is ignored.
    start_m, end_m : arrays (n,)
        Heights of the two antennas over the same reference as the ground.

    The bulge of the Earth is left out: under 1 m over the 5 km that matter here.
    """
    reach, start, end = (np.asarray(value, float)[:, None] for value in (reach_m, start_m, end_m))
    ground = np.where(np.isnan(ground_m), -1e6, ground_m)
    sight = start + (end - start) * along_m / reach
    clearance = (ground - sight) * np.sqrt(2 * reach / (wavelength_m * along_m * (reach - along_m)))
    nu_open = clearance.max(axis=1)
    rise = ((ground - start) / along_m).max(axis=1)
    rise_back = ((ground - end) / (reach - along_m)).max(axis=1)
    reach, start, end = reach[:, 0], start[:, 0], end[:, 0]
    blocked = rise > (end - start) / reach
    both = np.where(blocked, rise + rise_back, 1.0)
    edge_m = np.clip((end - start + rise_back * reach) / both, 1e-3 * reach, (1 - 1e-3) * reach)
    above = start + rise * edge_m - (start + (end - start) * edge_m / reach)
    nu_blocked = above * np.sqrt(2 * reach / (wavelength_m * edge_m * (reach - edge_m)))
    return knife_edge_loss_db(np.where(blocked, nu_blocked, nu_open))


def terrain_loss_db(easting_m, northing_m, height_m, tag_easting_m, tag_northing_m, tag_height_m, terrain,
                    *, points: int = 48, near_m: float = 20.0) -> np.ndarray:
    """Loss from each of n receiver places to the tag over the ground of `terrain` [dB].

    Heights are above the reference of the terrain, not above ground. Ground within near_m of either end is left out:
    what it does to a tag lying on it belongs to the tag's power and the path-loss exponent.
    """
    here = np.column_stack(np.broadcast_arrays(easting_m, northing_m, height_m)).astype(float)
    there = np.column_stack(np.broadcast_arrays(tag_easting_m, tag_northing_m, tag_height_m)).astype(float)
    there = np.broadcast_to(there, here.shape)
    reach_m = np.hypot(here[:, 0] - there[:, 0], here[:, 1] - there[:, 1])
    far = reach_m > 2.5 * near_m
    loss = np.zeros(len(here))
    if far.any():
        here, there, reach_m = here[far], there[far], reach_m[far]
        share = np.linspace(0, 1, points)[None, :]
        along_m = near_m + (reach_m[:, None] - 2 * near_m) * share
        part = along_m / reach_m[:, None]
        east = here[:, :1] + (there[:, :1] - here[:, :1]) * part
        north = here[:, 1:2] + (there[:, 1:2] - here[:, 1:2]) * part
        loss[far] = profile_loss_db(reach_m, along_m, terrain.at(east, north), here[:, 2], there[:, 2])
    return loss
