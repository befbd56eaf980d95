"""How alike the residuals of neighbouring records are, beside what the signal model would show on the same flights.

Only heard records have a residual, and hearing selects, so that no formula gives the correlation to be expected. The model is
therefore asked to sound the same beacons along the same tracks many times over, and its residuals are treated like the real ones.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.radio import SignalModel, own_strengths

CORRELATION = ["lag_from_m", "lag_to_m", "pairs", "correlation", "model_correlation", "model_low_95", "model_high_95"]
_FEWEST_PAIRS = 20


def residual_correlation(residuals: pd.DataFrame, models: dict[str, SignalModel], tag_types: dict[str, str], *, width_m: float, bins: int = 12, simulations: int = 100,
                         seed: int = 1) -> pd.DataFrame:
    """Correlation of two residuals of one beacon in one flight, by the metres flown between them; columns of CORRELATION.

    Parameters
    ----------
    residuals : columns of calibration.residuals.RESIDUALS, every record listened to, heard or not.
    models, tag_types : by place_id; the model that never saw the place.
    width_m : of a bin; the first begins at half a width. [m]

    A correlation is 1 - (half the mean squared difference of pairs) / (the same for pairs beyond the last bin): no mean is
    subtracted and no power need be known. model_correlation is the mean over simulations, with the range of 95 % of them.
    Bins with fewer than 20 pairs are left out; empty when no pair lies beyond the last bin.
    """
    edges = width_m * (np.arange(bins + 1) + 0.5)
    generator = np.random.default_rng(seed)
    real, simulated = np.zeros((2, bins + 1)), np.zeros((simulations, 2, bins + 1))
    for (place_id, _), rows in residuals.groupby(["place_id", "flight_id"], sort=True):
        rows = rows.sort_values("record_in_flight", kind="stable")
        flown = rows["flown_m"].to_numpy(float)
        real += _half_squares(flown, rows["residual_db"].to_numpy(float), edges)
        for number, drawn in enumerate(simulated_residuals(rows, models[place_id], tag_types[place_id], simulations, generator)):
            simulated[number] += _half_squares(flown, drawn, edges)
    if real[1, -1] < _FEWEST_PAIRS:
        return pd.DataFrame(columns=CORRELATION)
    with np.errstate(divide="ignore", invalid="ignore"):
        found, expected = _correlations(real[None])[0], _correlations(simulated)
    low, high = np.nanquantile(expected, [0.025, 0.975], axis=0)
    table = pd.DataFrame(zip(edges[:-1], edges[1:], real[1, :-1].astype(int), found, np.nanmean(expected, axis=0), low, high), columns=CORRELATION)
    return table[table["pairs"] >= _FEWEST_PAIRS].reset_index(drop=True)


def _correlations(sums: np.ndarray) -> np.ndarray:
    """(..., 2, bins + 1) sums and counts of half squares -> (..., bins) correlations."""
    mean = sums[:, 0] / sums[:, 1]
    return 1.0 - mean[:, :-1] / mean[:, -1:]


def _half_squares(flown_m: np.ndarray, residual_db: np.ndarray, edges: np.ndarray) -> np.ndarray:
    """Sum and number of half squared differences of all pairs, by bin of the metres between them; the last bin is all beyond."""
    heard = np.flatnonzero(~np.isnan(residual_db))
    first, second = np.triu_indices(len(heard), 1)
    lag = np.abs(flown_m[heard[first]] - flown_m[heard[second]])
    half = 0.5 * (residual_db[heard[first]] - residual_db[heard[second]]) ** 2
    number = np.digitize(lag, edges)
    sums, counts = (np.bincount(number, weights=weights, minlength=len(edges) + 1) for weights in (half, np.ones(len(half))))
    return np.stack([sums[1:], counts[1:]])


def simulated_residuals(rows: pd.DataFrame, model: SignalModel, tag_type: str, simulations: int, generator: np.random.Generator) -> np.ndarray:
    """Residuals as the model itself would show them in these records, shape (simulations, records), NaN where it does not hear.

    rows : of one beacon and flight in the order flown: flown_m, expected_db, expected_when_heard_db, threshold_db.
    """
    expected = np.broadcast_to(rows["expected_db"].to_numpy(float), (simulations, len(rows)))
    steps = np.diff(rows["flown_m"].to_numpy(float), prepend=0.0)
    strength = own_strengths(expected, rows["threshold_db"].to_numpy(float), steps, model.scatter(tag_type), generator)
    return strength - rows["expected_when_heard_db"].to_numpy(float)
