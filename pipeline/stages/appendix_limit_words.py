"""The limits of the survey as the appendix states them, and what the tests beside the beacons came to."""

from __future__ import annotations

import pandas as pd
from scipy.stats import binom

from pipeline.calibration import exact_interval
from pipeline.location import HEARD_FOR_A_WALK, SHOWN_FROM
from pipeline.stages.appendix_words import Material, between
from pipeline.stages.calibration_numbers import percent, probability
from pipeline.wording import counted, listed, two_figures

# Fixes of one animal that are closer in time than this are two looks at nearly one place. Our choice. [days]
SHORTLY_AFTER_DAYS = 1.0 / 24.0
LEVEL = 0.05


def limits(found: Material) -> list[str]:
    """What was not tested, as limits and not as excuses."""
    said = [*_beacon_limits(found), *_flight_limits(found), *_terrain_limits(found)]
    return [" ".join(said)] if said else []


def _beacon_limits(found: Material) -> list[str]:
    beacons = found.table("beacon_places")
    if not len(beacons) or not (beacons["flights_heard"] > 0).any():
        return ["No beacon was heard, so that no condition at all was tested."]
    heights = beacons["height_above_ground_m"].dropna()
    where = f"{between(heights, '.1f')} m above ground" if len(heights) else "at heights that are not recorded"
    return [f"The beacons stood still, {where}, and none was on an animal: what a body, its posture, cover or movement does to a signal is in no error given here."]


def _flight_limits(found: Material) -> list[str]:
    flights = found.table("flights")
    if not len(flights):
        return []
    days = pd.to_datetime(flights["start_utc"], utc=True).dt.date.nunique()
    heights = flights["height_median_m"].dropna()
    height = f", flown at {between(heights, '.0f')} m above ground," if len(heights) else ""
    alone = sorted(style for style, count in flights["style"].value_counts().items() if count == 1)
    single = f" Style {listed(alone)} was flown once, so that style and flight cannot be told apart." if alone and len(flights) > 1 else ""
    return [f"{counted(len(flights), 'flight')} on {counted(days, 'day')} over one site{height} are no sample of seasons, weather, heights or ground; the errors are those of this survey.{single}"]


def _terrain_limits(found: Material) -> list[str]:
    seen = found.table("terrain_seen")
    shares = seen["share_without_terrain"].dropna() if len(seen) else pd.Series(dtype=float)
    if found.survey.terrain is None or not len(shares) or shares.max() <= 0.005:
        return []
    return [f"Of the paths between receiver and ground looked at, {' to '.join(dict.fromkeys(percent(value) for value in (shares.min(), shares.max())))} by flight lie in part beyond the terrain model and count as open there, though hills may stand in them."]


def walking(found: Material) -> str:
    """Whether the records of fixes speak for a walk during the flight, and how little they can say; "" where that was not tested."""
    tests = found.table("walking_test")
    own = tests[tests["tag_id"].isin(found.animals["tag_id"]) & ~tests["beacon"].astype(bool)] if len(tests) else tests
    if not len(own):
        return "Whether it stayed was not tested: no fix had records enough."
    beacons, shown = tests[tests["beacon"].astype(bool)], int(own["walk_shown"].astype(bool).sum())
    control = f" and {int(beacons['walk_shown'].astype(bool).sum())} of {counted(len(beacons), 'fix', 'fixes')} of beacons, which cannot walk" if len(beacons) else ""
    return (f"The records spoke for a straight walk (Bayes factor of {SHOWN_FROM:.0f} or more against staying) in {shown} of {counted(len(own), 'fix', 'fixes')} of animals that were heard in {HEARD_FOR_A_WALK} records or more{control}. That sees long walks only: the walk of a typical fix is known "
            f"to {two_figures(own['walk_sd_m'].median())} m each way (standard deviation), so that shorter ones are not excluded.")


def _pairs(found: Material) -> pd.DataFrame:
    """Pairs of consecutive fixes of one animal less than SHORTLY_AFTER_DAYS apart."""
    steps = found.table("movement_steps")
    return steps[(steps["kind"] == "consecutive") & (steps["days"] < SHORTLY_AFTER_DAYS) & steps["p"].notna()] if len(steps) else steps


def pairs_in_short(found: Material) -> str:
    """The same test as shortly_after in one sentence, for the opening; "" where there is no pair."""
    pairs = _pairs(found)
    if not len(pairs):
        return ""
    few = int((pairs["p"] < LEVEL).sum())
    return f"Of {counted(len(pairs), 'pair')} of fixes of one animal less than an hour apart {few} differ at the level {LEVEL:g}, where {LEVEL * len(pairs):.0f} would if all had stayed."


def shortly_after(found: Material) -> str:
    """Pairs of fixes of one animal shortly after each other, as a test of the stated errors; "" where there is no pair."""
    pairs = _pairs(found)
    if not len(pairs):
        return ""
    few = int((pairs["p"] < LEVEL).sum())
    low, high = exact_interval(few, len(pairs))
    chance = float(binom.sf(few - 1, len(pairs), LEVEL))
    more = (f"more than that; so many or more have a probability of {chance:.2g} if pairs are independent. Some animals may have walked, or the stated errors are somewhat too small" if few > LEVEL * len(pairs) else "no more than that")
    found_words = (more if low <= LEVEL <= high else
                   "more than the stated errors explain: they are too small, or animals moved" if low > LEVEL else "fewer than the stated errors allow for: they are rather too large")
    return (f"As a test of the stated errors without beacons: of {counted(len(pairs), 'pair')} of consecutive fixes less than an hour apart, {few} differ with p below {LEVEL:g} before adjustment (share {probability(few / len(pairs))}, exact 95 % interval "
            f"{probability(low)} to {probability(high)}; {LEVEL:g} is expected of animals that stayed), {found_words}. Pairs of the same two flights, and of one animal, share what these have in common.")
