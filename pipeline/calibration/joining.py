"""Flights of a tag that did not move, located as one: their records in one sequence, in order of time.

At each break the step is infinite, so that shadowing starts anew and the tag's power drifts as it does for beacons from flight to flight
(see radio.evidence); the place and the mean power are shared. The widening is the one found on single flights of beacons.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.calibration.locating import Heard
from pipeline.location import ByHand, Evidence, Located, Posterior, gather_evidence, log_likelihood
from pipeline.location.status import count_passes, effective_records
from pipeline.radio import Listening, SignalModel

BETWEEN = " + "


@dataclass(frozen=True)
class JoinedTerrain:
    """What is known of the ground, or of what grows on it, for every record of several flights: parts as (that of one flight or None where it is not known,
    number of its records)."""

    parts: tuple[tuple[object | None, int], ...]

    def __len__(self) -> int:
        return sum(count for _, count in self.parts)

    def loss_db(self, easting_m, northing_m) -> np.ndarray:
        """Loss behind hills from every record to every place, shape (records, places); 0 where the ground is not known. [dB]"""
        return self._of_parts(lambda part: part.loss_db(easting_m, northing_m), np.size(easting_m))

    def climb_m(self, easting_m, northing_m) -> np.ndarray:
        """Ground under every record above that at every place, shape (records, places); 0 where the ground is not known. [m]"""
        return self._of_parts(lambda part: part.climb_m(easting_m, northing_m), np.size(easting_m))

    def way_m(self, easting_m, northing_m) -> np.ndarray:
        """Way through vegetation from every record to every place, shape (records, places); 0 where none is known. [m]"""
        return self._of_parts(lambda part: part.way_m(easting_m, northing_m), np.size(easting_m))

    def _of_parts(self, known, places: int) -> np.ndarray:
        return np.concatenate([np.zeros((count, places)) if part is None else known(part) for part, count in self.parts])


def join_listenings(parts: list[Listening]) -> Listening:
    """One listening from those of one tag in several flights, in the order given.

    Times are left out: a tag whose flights are joined is taken not to walk. Raises ValueError unless there are two flights or more, each with records.
    """
    if len(parts) < 2 or not all(len(part) for part in parts):
        raise ValueError(f"two flights or more with records are joined, got {[len(part) for part in parts]} records")
    names = ("easting_m", "northing_m", "height_above_ground_m", "azimuth_grid_deg", "strength_db", "threshold_db")
    steps = [np.concatenate([[np.inf], part.step_m[1:]]) for part in parts]
    ground = {}
    for name in ("terrain", "canopy"):
        known = [getattr(part, name) for part in parts]
        if any(each is not None for each in known):
            ground[name] = JoinedTerrain(tuple(zip(known, map(len, parts))))
    return Listening(**{name: np.concatenate([getattr(part, name) for part in parts]) for name in names}, step_m=np.concatenate(steps), **ground)


def join_heard(parts: list[Heard]) -> Heard:
    """One tag in several flights as if heard in one flight, named after all of them.

    The style, by which the widening may be chosen, is that of the flights where they share one, else none.
    Raises ValueError for two tags, or a beacon at two places.
    """
    if len({(part.tag_id, part.place_id) for part in parts}) > 1:
        raise ValueError(f"flights of one tag at one place are joined, got {sorted({(part.tag_id, part.place_id or '') for part in parts})}")
    styles = {part.style for part in parts}
    return replace(parts[0], flight_id=BETWEEN.join(part.flight_id for part in parts), listening=join_listenings([part.listening for part in parts]),
                   by_hand=join_by_hand([part.by_hand for part in parts]), style=styles.pop() if len(styles) == 1 else "")


def join_by_hand(parts: list[ByHand | None]) -> ByHand | None:
    """All bearings and sightings of several flights; None where there are none."""
    some = [part for part in parts if part is not None and part.bearings + part.sightings]
    return ByHand(*(np.concatenate([getattr(part, name) for part in some]) for name in ByHand.__dataclass_fields__)) if some else None


def joined_evidence(parts: list[Heard], joined: Heard, located: Located, model: SignalModel) -> Evidence:
    """The numbers that the gates ask for; passes and independent records are counted flight by flight, since nothing correlates across a break."""
    hand = (joined.by_hand.bearings, joined.by_hand.sightings) if joined.by_hand else (0, 0)
    whole = gather_evidence(joined.listening, located.posterior, model, located.edge_probability, *hand)
    heard = [part.listening for part in parts if part.listening.heard.any()]
    counts = np.array([part.heard.sum() for part in heard], float)
    # n^2 over the sum of all correlations, where those between flights are 0.
    correlated = sum(count**2 / effective_records(part, model) for count, part in zip(counts, heard))
    return replace(whole, passes=sum(count_passes(part.heard) for part in heard), effective_records=float(counts.sum() ** 2 / correlated) if heard else 0.0)


def chance_of_silence(silent: Heard, posterior: Posterior, model: SignalModel) -> float:
    """Probability that a flight hears nothing of a tag that lies where a posterior says. 0 to 1.

    Looks share the tag's power and the shadowing. The power is as uncertain as that of any tag of the type, which makes silence less telling than it is.
    """
    log_silence = log_likelihood(silent.listening.with_nothing_heard(), model, posterior.easting_m, posterior.northing_m, silent.tag_type)
    return float(posterior.probability @ np.exp(log_silence))
