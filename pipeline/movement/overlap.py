"""How much the space of two animals is the same: Bhattacharyya's affinity of their distributions, 0 for none and 1 for the same."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd

from pipeline.columns import conform
from pipeline.movement.kernel import kernel_density, reference_bandwidth_m
from pipeline.movement.ranges import range_refusal

OVERLAPS = {
    "tag_id": "text",
    "animal_id": "text",
    "other_tag_id": "text",
    "other_animal_id": "text",
    "affinity": "float",                 # of bivariate normal ranges, median, freed of location error
    "affinity_low": "float",             # 95 % interval: location error and number of fixes
    "affinity_high": "float",
    "kernel_affinity": "float",          # of kernel distributions with the reference width
    "reason": "text",
}

CELLS = 100


def normal_affinity(centre_a_m, covariance_a_m2, centre_b_m, covariance_b_m2):
    """Bhattacharyya's affinity of two bivariate normal distributions, for many at once.

    Parameters
    ----------
    centre_a_m, centre_b_m : arrays of shape (..., 2). covariance_a_m2, covariance_b_m2 : arrays of shape (..., 2, 2).

    Returns
    -------
    array of shape (...): |A|^(1/4) |B|^(1/4) |M|^(-1/2) exp(-D'M^-1 D / 8), M the mean of both covariances, D the difference of the centres.

    References
    ----------
    A. Bhattacharyya, On a measure of divergence between two statistical populations, Bull. Calcutta Math. Soc. 35:99 (1943).
    """
    covariance_a, covariance_b = np.asarray(covariance_a_m2, dtype=float), np.asarray(covariance_b_m2, dtype=float)
    middle, apart = (covariance_a + covariance_b) / 2, np.asarray(centre_a_m, dtype=float) - np.asarray(centre_b_m, dtype=float)
    squared = np.einsum("...i,...ij,...j->...", apart, np.linalg.inv(middle), apart)
    return np.exp(-squared / 8) * (np.linalg.det(covariance_a) * np.linalg.det(covariance_b)) ** 0.25 / np.sqrt(np.linalg.det(middle))


def kernel_affinity(places_a_m, places_b_m, cells=CELLS):
    """Affinity of two kernel distributions with reference widths, summed over cells that hold both.

    Parameters
    ----------
    places_a_m, places_b_m : arrays of shape (n, 2) and (m, 2), not on a line. [m]
    """
    both = [np.asarray(places, dtype=float) for places in (places_a_m, places_b_m)]
    kernels = [_kernel_m2(places) for places in both]
    margin = 4 * max(np.sqrt(np.linalg.eigvalsh(kernel)[-1]) for kernel in kernels)
    low, high = np.vstack(both).min(axis=0) - margin, np.vstack(both).max(axis=0) + margin
    east, north = np.meshgrid(*(np.linspace(a, b, cells) for a, b in zip(low, high)))
    densities = [kernel_density(places, np.column_stack([east.ravel(), north.ravel()]), kernel) for places, kernel in zip(both, kernels)]
    return float(np.sqrt(densities[0] / densities[0].sum() * densities[1] / densities[1].sum()).sum())


def overlap_table(animals, places):
    """Affinity of every two animals that may both have a range or a sketch of one; an animal without a pair has one row with the reason.

    Parameters
    ----------
    animals : list of AnimalFixes
    places : dict of tag_id -> TruePlaces
        Of extent.places_of_animals.

    Returns
    -------
    DataFrame with the columns of OVERLAPS, the largest first. Ranges of different times may overlap without the animals ever having met.
    """
    refused = {animal.tag_id: range_refusal(animal) for animal in animals}
    allowed = [animal for animal in animals if not refused[animal.tag_id]]
    rows = [_row(*pair, places) for pair in itertools.combinations(allowed, 2)]
    rows.sort(key=lambda row: (-row["affinity"], row["tag_id"], row["other_tag_id"]))
    alone = animals if len(allowed) < 2 else [animal for animal in animals if refused[animal.tag_id]]
    rows += [animal.identity | {"other_tag_id": "", "reason": refused[animal.tag_id] or "No other animal has a range or a sketch of one."} for animal in alone]
    return conform(pd.DataFrame(rows, columns=list(OVERLAPS)), OVERLAPS)


def affinity_draws(one, other):
    """Affinity of the normal ranges of two animals, over draws of both laws, freed of what few fixes take from it.

    Centres and covariances that are off by chance make two ranges look less alike than they are; a draw is off twice, by the sample and by the draw. What the draws
    lose against the middle of the laws, on the logarithmic scale, is therefore given back twice; above 1 it is 1.

    Parameters
    ----------
    one, other : TruePlaces, with as many draws

    Returns
    -------
    array of shape (draws,)
    """
    lost = -np.log(normal_affinity(one.centres_m, one.covariances_m2, other.centres_m, other.covariances_m2))
    middle = [(each.centres_m.mean(axis=0), each.covariances_m2.mean(axis=0)) for each in (one, other)]
    return np.exp(-np.maximum(lost - 2 * (lost.mean() + np.log(normal_affinity(*middle[0], *middle[1]))), 0.0))


def _row(one, other, places):
    a, b = places[one.tag_id], places[other.tag_id]
    low, middle, high = np.quantile(affinity_draws(a, b), [0.025, 0.5, 0.975])
    return one.identity | {"other_tag_id": other.tag_id, "other_animal_id": other.animal_id, "affinity": middle, "affinity_low": low, "affinity_high": high,
                           "kernel_affinity": kernel_affinity(a.places_m.mean(axis=0), b.places_m.mean(axis=0)), "reason": ""}


def _kernel_m2(places):
    covariance = np.cov(places.T)
    return covariance * reference_bandwidth_m(places) ** 2 / (np.trace(covariance) / 2)
