"""What may be said of a tag that only the ground crew found: the gates that apply to bearings and sightings, and the status they give."""

from __future__ import annotations

import numpy as np

from pipeline.location.ground_fix import SMALLEST_P, GroundFix
from pipeline.location.status import Gates

_LARGEST_EDGE_PROBABILITY = 0.05


def failed_ground_gates(fix: GroundFix, gates: Gates) -> list[str]:
    """The gates that a position does not pass, each with what was found and what is needed."""
    failed = []
    if fix.sightings == 0 and fix.bearings < 2:
        failed.append("one bearing tells a direction and no distance: two that cross are needed, or a sighting")
    elif fix.sightings == 0 and not np.isfinite(fix.crossing_deg):
        failed.append(f"no two of the {fix.bearings} bearings cross")
    if fix.agreement.contradicts:
        failed.append(f"they contradict each other (misfit {fix.agreement.misfit:.1f} on {fix.agreement.freedom} degree{'s' if fix.agreement.freedom != 1 else ''} of freedom, "
                      f"p {'under 0.001' if fix.agreement.p < 0.001 else f'{fix.agreement.p:.3f}'}, {SMALLEST_P:g} needed): the tag moved, or a bearing followed a reflection")
    radius_m = fix.posterior.radius_m(0.95)
    if radius_m > gates.radius_95_m:
        failed.append(f"the 95 % radius is {radius_m:.0f} m, {gates.radius_95_m:g} m at most")
    if fix.edge_probability > _LARGEST_EDGE_PROBABILITY:
        failed.append(f"{fix.edge_probability:.2f} of the probability lies at the edge of the ground within reach")
    return failed


def ground_status(fix: GroundFix, gates: Gates, suspect_reason: str = "") -> tuple[str, str]:
    """(status, sentence with the numbers behind it); the status is one of located, several places, area only and suspect."""
    had = _had(fix)
    if suspect_reason:
        return "suspect", f"{had}, but this is doubted: {suspect_reason}."
    failed = failed_ground_gates(fix, gates)
    if failed:
        return "area only", f"{had}; no position because {'; '.join(failed)}."
    rests = f"{had}, 95 % radius {fix.posterior.radius_m(0.95):.0f} m"
    shares = [share for share, _ in fix.posterior.places()]
    if shares and shares[0] < gates.main_place:
        return "several places", f"{rests}; the region has {len(shares)} parts holding {' / '.join(f'{share:.2f}' for share in shares)} of it."
    return "located", f"{rests}."


def _had(fix: GroundFix) -> str:
    crossing = f" crossing at {fix.crossing_deg:.0f} degrees" if np.isfinite(fix.crossing_deg) else ""
    parts = [f"{count} {noun}{'s' if count != 1 else ''}{more}" for count, noun, more in
             ((fix.bearings, "bearing", crossing), (fix.sightings, "sighting", "")) if count]
    return f"From the ground alone: {' and '.join(parts)}"
