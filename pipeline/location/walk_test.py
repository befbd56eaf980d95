"""Did the animal walk during the flight? The records of one fix, explained by an animal that stayed and by one that may have walked."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from pipeline.location.likelihood import log_likelihood, walking_likelihood
from pipeline.location.posterior import Posterior
from pipeline.radio import Listening, SignalModel

# Walk tried, sd along each axis: shorter ones change strengths by less than shadowing does.
TRIED_WALK_SD_M = 300.0
# An animal that stayed gives a Bayes factor of 100 or more at most once in a hundred fixes, whatever the flight: the mean of the
# factor under the hypothesis in its denominator is 1 (Markov's inequality).
SHOWN_FROM = 100.0
# Sums over this many cells, evenly taken, differ from those over all of them by less than the records can tell.
_CELLS_ENOUGH = 400


@dataclass(frozen=True)
class WalkTest:
    """bayes_factor : of walking against staying. east_m, north_m : mean of the walk if it walked. sd_m : its spread, mean of both axes. [m]"""

    bayes_factor: float
    east_m: float
    north_m: float
    sd_m: float

    @property
    def shown(self) -> bool:
        """Whether the records speak clearly for a walk."""
        return self.bayes_factor >= SHOWN_FROM

    @property
    def length_m(self) -> float:
        """Length of the mean walk. [m]"""
        return float(np.hypot(self.east_m, self.north_m))


def walk_test(listening: Listening, model: SignalModel, tag_type: str, posterior: Posterior, walk_sd_m: float = TRIED_WALK_SD_M) -> WalkTest:
    """Bayes factor of a straight, even walk against staying, both over the cells of the posterior with equal prior.

    walk_sd_m : sd of the walk tried, along each axis. [m]
    """
    every = max(1, -(-len(posterior.column) // _CELLS_ENOUGH))
    east, north = posterior.easting_m[::every], posterior.northing_m[::every]
    stayed = log_likelihood(listening, model, east, north, tag_type)
    walked = walking_likelihood(listening, [model], east, north, tag_type, walk_sd_m)
    log_walked = walked.log_evidence[0]
    weight = np.exp(log_walked - logsumexp(log_walked))
    mean_east, mean_north = float(weight @ walked.east_m[0]), float(weight @ walked.north_m[0])
    variances = [float(weight @ (np.square(sd[0]) + np.square(middle[0] - mean)))
                 for sd, middle, mean in ((walked.sd_east_m, walked.east_m, mean_east), (walked.sd_north_m, walked.north_m, mean_north))]
    log_factor = float(logsumexp(log_walked) - logsumexp(stayed))
    return WalkTest(float(np.exp(min(log_factor, 700.0))), mean_east, mean_north, float(np.sqrt(np.mean(variances))))
