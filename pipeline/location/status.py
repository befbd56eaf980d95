"""What may be said of a tag in a flight: the evidence in numbers, and the gates that decide its status.

The gates are defaults that the survey file can change; each status names the gate that failed, with its numbers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.location.posterior import Posterior
from pipeline.radio import Listening, SignalModel

# This many records in a row without hearing the tag end a pass. Common practice, no source.
_SILENT_RECORDS_BETWEEN_PASSES = 3


@dataclass(frozen=True)
class Gates:
    """Least evidence for a position. Common practice, no source; shown in the report and set in the survey file."""

    records_heard: int = 8
    effective_records: float = 3.0
    passes: int = 2
    bearing_spread_deg: float = 60.0
    main_place: float = 0.9
    radius_95_m: float = 300.0


@dataclass(frozen=True)
class Evidence:
    """What a fix rests on."""

    records_listened: int
    records_heard: int
    effective_records: float
    passes: int
    bearing_spread_deg: float
    place_shares: tuple[float, ...]
    radius_95_m: float
    edge_probability: float
    bearings: int = 0
    sightings: int = 0

    @property
    def fixed_by_hand(self) -> bool:
        """Whether bearings cross or the tag was seen, so that a position does not hang on the records alone."""
        return self.bearings >= 2 or self.sightings >= 1


def count_passes(heard: np.ndarray) -> int:
    """Number of separate approaches within hearing: runs of heard records with at least three silent ones between."""
    at = np.flatnonzero(heard)
    return 0 if len(at) == 0 else 1 + int((np.diff(at) > _SILENT_RECORDS_BETWEEN_PASSES).sum())


def bearing_spread_deg(listening: Listening, easting_m: float, northing_m: float) -> float:
    """Smallest arc that holds the bearings from a place to the receiver at every heard record. [degrees, 0 to 360]"""
    heard = listening.heard
    if heard.sum() < 2:
        return 0.0
    bearings = np.sort(np.degrees(np.arctan2(listening.easting_m[heard] - easting_m, listening.northing_m[heard] - northing_m)) % 360.0)
    gaps = np.diff(np.concatenate([bearings, bearings[:1] + 360.0]))
    return float(360.0 - gaps.max())


def effective_records(listening: Listening, model: SignalModel) -> float:
    """Number of independent records that the heard ones are worth.

    n / (1 + 2 sum of autocorrelations), as n^2 over the sum of all correlations between heard records, which are
    exp(-metres flown / shadowing length) times the share of shadowing in the scatter.
    """
    heard = listening.heard
    count = int(heard.sum())
    if count == 0:
        return 0.0
    flown = np.cumsum(np.where(np.isinf(listening.step_m), 0.0, listening.step_m))[heard]
    share = model.shadowing_sd_db**2 / (model.shadowing_sd_db**2 + model.noise_sd_db**2)
    correlation = share * np.exp(-np.abs(flown[:, None] - flown[None, :]) / model.shadowing_length_m)
    np.fill_diagonal(correlation, 1.0)
    return float(count**2 / correlation.sum())


def gather_evidence(listening: Listening, posterior: Posterior, model: SignalModel, edge_probability: float, bearings: int = 0, sightings: int = 0) -> Evidence:
    """The numbers that the gates ask for, from the calibrated posterior; bearings and sightings are those that entered it."""
    east, north = posterior.mean()
    return Evidence(
        records_listened=len(listening),
        records_heard=int(listening.heard.sum()),
        effective_records=effective_records(listening, model),
        passes=count_passes(listening.heard),
        bearing_spread_deg=bearing_spread_deg(listening, east, north),
        place_shares=tuple(share for share, _ in posterior.places()),
        radius_95_m=posterior.radius_m(0.95),
        edge_probability=edge_probability,
        bearings=bearings,
        sightings=sightings,
    )


def failed_gates(evidence: Evidence, gates: Gates) -> list[str]:
    """The gates that a position does not pass, each with what was found and what is needed.

    Crossing bearings and sightings stand for the gates on records, not for those on the region.
    """
    failed = [] if evidence.fixed_by_hand else _failed_on_records(evidence, gates)
    if evidence.radius_95_m > gates.radius_95_m:
        failed.append(f"the 95 % radius round the middle of the region is {evidence.radius_95_m:.0f} m, {gates.radius_95_m:g} m at most")
    if evidence.edge_probability > 0.05:
        failed.append(f"{evidence.edge_probability:.2f} of the probability lies at the edge of the searched area")
    return failed


def _failed_on_records(evidence: Evidence, gates: Gates) -> list[str]:
    failed = []
    if evidence.records_heard < gates.records_heard:
        failed.append(f"heard in {evidence.records_heard} records, {gates.records_heard} needed")
    if evidence.effective_records < gates.effective_records:
        failed.append(f"these are worth {evidence.effective_records:.1f} independent records, {gates.effective_records:g} needed")
    if evidence.passes < gates.passes and evidence.bearing_spread_deg < gates.bearing_spread_deg:
        failed.append(f"heard on {evidence.passes} pass with bearings spanning {evidence.bearing_spread_deg:.0f} degrees, "
                      f"{gates.passes} passes or {gates.bearing_spread_deg:g} degrees needed")
    return failed


def _counted_by_hand(evidence: Evidence) -> str:
    parts = [f"{count} {noun}{'s' if count != 1 else ''}" for count, noun in ((evidence.bearings, "hand bearing"), (evidence.sightings, "sighting")) if count]
    return f", with {' and '.join(parts)}" if parts else ""


def status_of(evidence: Evidence | None, gates: Gates, suspect_reason: str = "", records_listened: int = 0) -> tuple[str, str]:
    """(status, sentence with the numbers behind it). evidence is None when nothing was heard."""
    if evidence is None:
        if records_listened == 0:
            return "not searched", "No usable record listened for this tag; this is not an absence."
        return "not heard", f"Listened in {records_listened} records and heard in none. This does not show that it has left or died."
    heard = f"Heard in {evidence.records_heard} of {evidence.records_listened} records{_counted_by_hand(evidence)}"
    if suspect_reason:
        return "suspect", f"{heard}, but this is doubted: {suspect_reason.strip().rstrip('.')}."
    if evidence.records_heard == 1 and not evidence.bearings + evidence.sightings:
        return "heard once", f"{heard}: if that hit was this tag, it was within hearing of the track at that time. One hit alone may be false."
    failed = failed_gates(evidence, gates)
    if failed:
        return "area only", f"{heard}; no position because " + "; ".join(failed) + "."
    # no radius: the one round the stated place stands in a column of its own, the one that the gate asks for is that round the middle of the region
    rests = f"{heard} on {evidence.passes} passes, bearings spanning {evidence.bearing_spread_deg:.0f} degrees"
    main = evidence.place_shares[0] if evidence.place_shares else 1.0
    if main < gates.main_place:
        shares = " / ".join(f"{share:.2f}" for share in evidence.place_shares)
        return "several places", f"{rests}; the region has {len(evidence.place_shares)} parts holding {shares} of it."
    return "located", f"{rests}."
