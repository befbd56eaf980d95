"""Animals not found: how well the ground where each could be was searched, and what its silence can mean."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

NOT_HEARD, NOT_SEARCHED = "not heard", "not searched"
CAUTION = "This does not show that the animal has left or died."
NO_ABSENCE = "This is not an absence."


@dataclass(frozen=True)
class StatedPrior:
    """What is held before the flights: in_area = P(in the area | tag works), silent = P(tag gives no signal). Both 0 to 1."""

    name: str
    in_area: float
    silent: float


PRIORS = (
    StatedPrior("stays, tag fresh", 0.9, 0.05),
    StatedPrior("as likely gone", 0.5, 0.05),
    StatedPrior("stays, tag old", 0.9, 0.3),
)


@dataclass(frozen=True)
class MissingTag:
    """One tag that no flight heard.

    prior : array (cells,) over the grid, sums to 1: where it would be if in the area; prior_text says what it rests on.
    independent, expected, cautious : detection by the flights that listened to it, arrays (cells,). records_listened : 0 = not searched.
    cells_m : centres of the cells of the prior, array (cells, 2), survey CRS; None where every cell is alike. [m]
    battery_used : share of the expected life used up at the last flight, blank when unknown. days_since_heard : blank when never heard before.
    """

    tag_id: str
    animal_id: str
    species: str
    records_listened: int
    prior: np.ndarray
    prior_text: str
    independent: np.ndarray
    expected: np.ndarray
    cautious: np.ndarray
    days_since_heard: float = np.nan
    battery_used: float = np.nan
    cells_m: np.ndarray | None = None


def prior_over_area(cells: int) -> np.ndarray:
    """Every cell alike: for an animal whose last place is not known. Shape (cells,)."""
    return np.full(cells, 1.0 / cells)


def movement_sd_m(days: float, movement_m_per_day: float) -> float:
    """Standard deviation per axis of where a random walker is after some days: root-mean-square net displacement of one day x sqrt(days) / sqrt(2). [m]"""
    return float(movement_m_per_day * np.sqrt(max(days, 0.0)) / np.sqrt(2.0))


def prior_from_last_fix(easting_m, northing_m, cell_m: float, draws_m, days: float, movement_m_per_day: float) -> tuple[np.ndarray, float]:
    """Where an animal may be, from draws of its last fix spread by its species' movement.

    Each draw becomes a normal cloud with the per-axis sd of `movement_sd_m`, at least half a cell. Adequate for a few times the tracking interval; a home range
    would hold the animal back, so for long intervals the prior is too wide, which lowers the adequacy and not the honesty.

    Parameters
    ----------
    easting_m, northing_m : cell centres, arrays (cells,). cell_m : side. [m]
    draws_m : array (n, 2) from the calibrated posterior of the last fix. [m]

    Returns
    -------
    (array (cells,) that sums to 1 over the cells, share of the whole prior that lies within the cells). With no prior mass on the cells the array is even.
    """
    draws = np.atleast_2d(np.asarray(draws_m, float))[:200]
    sd = max(movement_sd_m(days, movement_m_per_day), 0.5 * cell_m)
    density = np.zeros(len(easting_m))
    for east, north in draws:
        density += np.exp(-0.5 * ((easting_m - east) ** 2 + (northing_m - north) ** 2) / sd ** 2)
    mass = density * cell_m ** 2 / (2.0 * np.pi * sd ** 2 * len(draws))
    inside = float(min(1.0, mass.sum()))
    return (mass / mass.sum(), inside) if mass.sum() > 0 else (prior_over_area(len(easting_m)), 0.0)


def search_adequacy(prior, detection) -> float:
    """Sum over cells of prior x detection: how much of the ground where the animal could be was really searched, 0 to 1."""
    return float(np.dot(np.asarray(prior, float), np.asarray(detection, float)))


def explain_silence(in_area: float, silent: float, detection: float) -> dict[str, float]:
    """Bayes for a tag not heard: missed (in the area), outside, silent (battery or damage). The three sum to 1.

    in_area : P(in the area | tag works). silent : P(tag gives no signal). detection : search adequacy. All 0 to 1.
    """
    weights = {"missed": (1 - silent) * in_area * (1 - detection), "outside": (1 - silent) * (1 - in_area), "silent": silent}
    total = sum(weights.values())
    if total <= 0:
        raise ValueError(f"with in_area {in_area}, silent {silent} and detection {detection} silence is impossible: no explanation has weight")
    return {name: weight / total for name, weight in weights.items()}


def _explained(prior: StatedPrior, detection: float) -> dict[str, float]:
    """explain_silence; blank under a belief that leaves silence no explanation at all (surely there, surely sending, surely heard)."""
    if (1 - prior.silent) * (1 - prior.in_area * detection) + prior.silent <= 0:
        return dict.fromkeys(("missed", "outside", "silent"), float("nan"))
    return explain_silence(prior.in_area, prior.silent, detection)


def stated_probability(value: float) -> str:
    """Two decimals, never 0 or 1: nothing here is certain; a dash where there is no value."""
    if np.isnan(value):
        return "–"
    return "under 0.01" if value < 0.005 else "over 0.99" if value >= 0.995 else f"{value:.2f}"


def silence_sentence(records_listened: int, adequacy_cautious: float) -> str:
    """What may be said of a tag that was not heard."""
    if records_listened == 0:
        return f"Not listened to in this campaign. {NO_ABSENCE}"
    return f"Not heard; the ground was searched to {stated_probability(adequacy_cautious)} (cautious). {CAUTION}"


def not_found_table(missing: list[MissingTag]) -> pd.DataFrame:
    """One row per animal not found.

    Columns: tag_id, animal_id, species, class ("not heard" or "not searched"), records_listened, days_since_heard, prior_used, adequacy_independent, adequacy_expected,
    adequacy_cautious (blank when not searched), battery_used, statement.
    """
    rows = []
    for tag in missing:
        searched = tag.records_listened > 0
        independent, expected, cautious = (search_adequacy(tag.prior, view) if searched else np.nan for view in (tag.independent, tag.expected, tag.cautious))
        rows.append((tag.tag_id, tag.animal_id, tag.species, NOT_HEARD if searched else NOT_SEARCHED, tag.records_listened, tag.days_since_heard, tag.prior_text,
                     independent, expected, cautious, tag.battery_used, silence_sentence(tag.records_listened, cautious)))
    return pd.DataFrame(rows, columns=["tag_id", "animal_id", "species", "class", "records_listened", "days_since_heard", "prior_used", "adequacy_independent",
                                       "adequacy_expected", "adequacy_cautious", "battery_used", "statement"])


def explanation_table(not_found: pd.DataFrame, priors=PRIORS) -> pd.DataFrame:
    """What the silence of every tag not heard may mean under each stated prior.

    Columns: tag_id, prior, prior_in_area, prior_silent, adequacy_expected, missed, outside, silent (with the expected adequacy, which is the calibrated one),
    missed_cautious (with the cautious adequacy). Tags not searched have no row: their silence means nothing. Blank where a belief rules silence out altogether.
    """
    rows = []
    for tag in not_found[not_found["class"] == NOT_HEARD].to_dict("records"):
        for prior in priors:
            said, careful = (_explained(prior, tag[f"adequacy_{version}"]) for version in ("expected", "cautious"))
            rows.append((tag["tag_id"], prior.name, prior.in_area, prior.silent, tag["adequacy_expected"], said["missed"], said["outside"], said["silent"], careful["missed"]))
    return pd.DataFrame(rows, columns=["tag_id", "prior", "prior_in_area", "prior_silent", "adequacy_expected", "missed", "outside", "silent", "missed_cautious"])
