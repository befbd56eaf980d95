"""Random numbers that stay the same from one numpy release to the next.

Only uniform doubles are drawn (a plain bit stream); normals are made from them by the inverse normal distribution,
because numpy may change the way its own normals are drawn.
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri


def stream(seed: int, *path: int) -> np.random.Generator:
    """A generator of its own for each path of whole numbers under one seed, so that adding a draw here moves nothing there."""
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, *path])))


def uniforms(generator: np.random.Generator, low: float, high: float, size=None):
    """Uniform numbers between low and high, a float or an array of the given size."""
    return low + (high - low) * generator.random(size)


def normals(generator: np.random.Generator, size=None):
    """Standard normal numbers, one for each uniform number drawn; bounded at about 8 standard deviations."""
    return ndtri(np.clip(generator.random(size), 1e-15, 1 - 1e-15))


def correlated_along(step, sd: float, length: float, generator: np.random.Generator) -> np.ndarray:
    """Gaussian numbers whose correlation falls as exp(-distance / length) along a way.

    Parameters
    ----------
    step : array (n,)
        Distance (or time) since the previous number, in the unit of length; inf starts afresh. The first is not used.
    sd : float
        Marginal standard deviation, the same everywhere along the way.
    length : float, above 0
        Distance over which the correlation falls to 1/e.

    The exact discrete form of the first-order (Ornstein-Uhlenbeck) process.
    """
    kept = np.exp(-np.asarray(step, float) / length)
    fresh = normals(generator, len(kept))
    values = np.empty(len(kept))
    for index in range(len(kept)):
        carried = kept[index] * values[index - 1] if index else 0.0
        share = np.sqrt(1 - kept[index] ** 2) if index else 1.0
        values[index] = carried + share * fresh[index]
    return sd * values
