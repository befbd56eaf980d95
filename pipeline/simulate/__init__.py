"""Flights and tags with known truth: for tests, benchmarks and the demo campaign.

    terrain                        an invented valley
    flights                        where the drone flew and where its antenna pointed
    antenna, diffraction, physics  what the receiver hears of a tag
    animals, cast                  who carries the tags and where they go
    campaign, field_notes          the files of a campaign folder
    truth                          the answers, kept apart
    demo                           the demo campaign: `python -m pipeline.simulate.demo`
"""

from .animals import Stay, Tag
from .antenna import LobedAntenna, QuadraticAntenna
from .diffraction import knife_edge_loss_db, profile_loss_db, terrain_loss_db
from .draws import correlated_along, normals, stream, uniforms
from .flights import (Path, antenna_along_track, antenna_rotating, antenna_sideways, fly, joined, line_waypoints, loop_waypoints,
                      rounded)
from .physics import Physics, expected_strength_db, matched_physics, rich_physics, simulate_strengths, steps_flown_m
from .terrain import InventedTerrain, invented_valley

__all__ = [
    "InventedTerrain", "LobedAntenna", "Path", "Physics", "QuadraticAntenna", "Stay", "Tag",
    "antenna_along_track", "antenna_rotating", "antenna_sideways", "correlated_along", "expected_strength_db",
    "fly", "invented_valley", "joined", "knife_edge_loss_db", "line_waypoints", "loop_waypoints",
    "matched_physics", "normals", "profile_loss_db", "rich_physics", "rounded", "simulate_strengths",
    "steps_flown_m", "stream", "terrain_loss_db", "uniforms",
]
