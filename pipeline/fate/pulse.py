"""What the pulse rates of one tag say: live mode, mortality mode, or neither clearly.

A receiver that misses every second pulse reports half the rate. The model therefore lets every record stand for the full rate,
a half or a third of it, or for nothing at all (a stray value), and asks which mode explains all records of a flight together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

MODES = ("live", "mortality", "other")

# Shares and jitters are assumptions of this project about receivers at work, no source; flights with 3 records or more are tested in simulation.
MISSED_SHARES = (0.017, 0.058, 0.109, 0.182, 0.319)  # five equal parts of Beta(1, 6): one record in seven on average
DOUBLED_OF_MISSED = 0.75                             # the rest lost two pulses in a row and show a third of the rate
JITTERS_PER_MIN = (0.7, 1.5, 3.0)
JITTER_WEIGHTS = (0.4, 0.4, 0.2)
STRAY_SHARE = 0.02
HIGHEST_RATE_PER_MIN = 300.0
DRIFT = 0.04                                         # sd of a tag's rate about its register value: cold, age
RATES_PER_MIN = np.arange(10.0, 240.5, 0.5)
FITTING_SHARE = 0.6                                  # of the records, at least, must be explained by the rate of the verdict
OTHER_WEIGHT = 0.02                                  # prior probability that neither register rate is the sender's

# Fewer records with a rate are no verdict, nor is a mode less probable than this. Our choice.
RECORDS_FOR_A_VERDICT, CERTAINTY = 3, 0.95

@dataclass(frozen=True)
class PulseVerdict:
    """What the pulse rates of one tag in one flight say.

    state : "live", "mortality", "unclear", or "" when no record carries a pulse rate.
    reason : one sentence with the numbers behind it.
    records : heard records that carry a rate.
    records_live, records_mortality : of these, at the tag's live and at its mortality rate.
    rate_per_min : median of the records at the rate of the state; NaN when unclear.
    probability_live, probability_mortality : under equal prior weight of the two modes.
    """

    state: str
    reason: str
    records: int
    records_live: int = 0
    records_mortality: int = 0
    rate_per_min: float = np.nan
    probability_live: float = np.nan
    probability_mortality: float = np.nan


def mode_probabilities(rates_per_min, *, live_per_min, mortality_per_min):
    """Probability of each mode given the pulse rates of one flight.

    Every record is the tag's rate R, R/2 or R/3 (missed pulses) with normal jitter, or a stray value. The share of missed
    pulses, the jitter and R itself (about the register's value) are unknown and summed over.

    Parameters
    ----------
    rates_per_min : array of shape (n,), n >= 1
        Rates of the heard records. [1/min]
    live_per_min, mortality_per_min : float
        Register values; NaN where the register has none. [1/min]

    Returns
    -------
    dict of "live", "mortality", "other" -> probability. A mode without a register value gets 0.

    Derived here from Bayes' rule; adequate for rates between 10 and 240 per minute.
    """
    rates = np.asarray(rates_per_min, dtype=float)
    evidence = _log_evidence(rates)
    values = np.array([_log_sum(evidence + log_prior) for log_prior in _log_priors(live_per_min, mortality_per_min)])
    shares = np.exp(values - values.max())
    return dict(zip(MODES, (float(share) for share in shares / shares.sum())))


def read_pulses(rates_per_min, *, live_per_min, mortality_per_min, records_needed=RECORDS_FOR_A_VERDICT, certainty=CERTAINTY):
    """Verdict on the pulse rates of one tag in one flight.

    Parameters
    ----------
    rates_per_min : array of shape (n,)
        Rates of the heard records; NaN where the record has none. [1/min]
    live_per_min, mortality_per_min : float
        Register values, NaN for none. [1/min]
    records_needed : int
        Fewer records than this are never a verdict.
    certainty : float
        Probability a mode must reach, between 0.5 and 1.

    Returns
    -------
    PulseVerdict
    """
    rates = np.asarray(rates_per_min, dtype=float)
    rates = rates[np.isfinite(rates) & (rates > 0)]
    if len(rates) == 0:
        return PulseVerdict("", "No record carries a pulse rate.", 0)
    live_per_min, mortality_per_min = (_in_range(value) for value in (live_per_min, mortality_per_min))
    known = {"live": live_per_min, "mortality": mortality_per_min}
    at_mode = {mode: _at_rate(rates, known[mode], known[other]) for mode, other in (("live", "mortality"), ("mortality", "live"))}
    counts = {f"records_{mode}": int(at.sum()) for mode, at in at_mode.items()}
    if not any(np.isfinite(value) for value in known.values()):
        return PulseVerdict("unclear", f"Median {np.median(rates):.0f} per minute in {len(rates)} {_records(len(rates))}; "
                            "the register has no pulse rates between 10 and 240 for this tag.", len(rates))
    chances = mode_probabilities(rates, live_per_min=live_per_min, mortality_per_min=mortality_per_min)
    facts = dict(records=len(rates), probability_live=chances["live"], probability_mortality=chances["mortality"])
    doubt = _doubt(rates, chances, known, records_needed, certainty)
    if doubt:
        return PulseVerdict("unclear", doubt, **facts, **counts)
    state = max(("live", "mortality"), key=chances.get)
    return _clear_verdict(rates, state, known, at_mode, facts)


def count_passes(times_s, gap_s=60.0):
    """Number of separate passes among times at which a tag was heard.

    Parameters
    ----------
    times_s : array of shape (n,), any order
        [s]
    gap_s : float
        A silence longer than this starts a new pass. [s]
    """
    times = np.sort(np.asarray(times_s, dtype=float))
    return int(len(times) > 0) + int((np.diff(times) > gap_s).sum())


def _log_priors(live_per_min, mortality_per_min):
    """Log prior weight of each rate of RATES_PER_MIN under each mode. One grid for all modes, so that its coarseness favours none."""
    priors = []
    for centre in (live_per_min, mortality_per_min):
        if np.isfinite(centre):
            density = np.exp(-0.5 * ((RATES_PER_MIN - centre) / (DRIFT * centre)) ** 2)
            priors.append(np.log(density / density.sum() + 1e-300) + np.log((1 - OTHER_WEIGHT) / 2))
        else:
            priors.append(np.full(len(RATES_PER_MIN), -np.inf))
    return [*priors, np.full(len(RATES_PER_MIN), np.log(OTHER_WEIGHT / len(RATES_PER_MIN)))]


def _log_evidence(rates):
    """Log probability of all records at each rate of RATES_PER_MIN, summed over jitter and share of missed pulses."""
    terms = []
    for jitter, jitter_weight in zip(JITTERS_PER_MIN, JITTER_WEIGHTS):
        full, half, third = (_normal(rates[:, None], RATES_PER_MIN[None, :] / lost, jitter) for lost in (1, 2, 3))
        for missed in MISSED_SHARES:
            density = (1 - missed) * full + missed * (DOUBLED_OF_MISSED * half + (1 - DOUBLED_OF_MISSED) * third)
            density = (1 - STRAY_SHARE) * density + STRAY_SHARE / HIGHEST_RATE_PER_MIN
            terms.append(np.log(density).sum(axis=0) + np.log(jitter_weight / len(MISSED_SHARES)))
    return np.logaddexp.reduce(terms, axis=0)


def _log_sum(values):
    """Log of a sum of exponentials; minus infinity for nothing at all."""
    return float(np.logaddexp.reduce(values))


def _normal(values, centre, sd):
    return np.exp(-0.5 * ((values - centre) / sd) ** 2) / (sd * np.sqrt(2 * np.pi))


def _in_range(rate_per_min):
    """A register rate the model covers; NaN for none and for those it does not."""
    rate = float(rate_per_min)
    return rate if RATES_PER_MIN[0] <= rate <= RATES_PER_MIN[-1] else np.nan


def _near(rates, rate_per_min):
    """Within a tenth of the rate, the tolerance of the evidence ladder, and never less than 3 per minute."""
    return np.abs(rates - rate_per_min) <= max(0.1 * rate_per_min, 3.0)


def _at_rate(rates, own, other):
    """Records at the rate of one mode and nearer to it than to the other's."""
    if not np.isfinite(own):
        return np.zeros(len(rates), dtype=bool)
    nearer = np.abs(rates - own) < np.abs(rates - other) if np.isfinite(other) else True
    return _near(rates, own) & nearer


def _fits(rates, rate_per_min):
    """Records explained by a rate, missed pulses included."""
    return np.any([_near(rates, rate_per_min / lost) for lost in (1, 2, 3)], axis=0)


def _doubt(rates, chances, known, records_needed, certainty):
    """Why there is no verdict; "" when there is one."""
    if len(rates) < records_needed:
        return f"{len(rates)} {_records(len(rates))} with a pulse rate; {records_needed} needed, not counted."
    live, mortality = known["live"], known["mortality"]
    if np.isfinite(live) and np.isfinite(mortality) and abs(live - mortality) < 3.0:
        return f"Live and mortality rate ({live:.0f} and {mortality:.0f} per minute) cannot be told apart."
    best = max(MODES, key=chances.get)
    clear = best != "other" and chances[best] >= certainty
    if clear and _fits(rates, known[best]).mean() >= FITTING_SHARE:
        return _doubt_of_mortality(rates, live, mortality) if best == "mortality" else ""
    at_live, at_mortality = int(_at_rate(rates, live, mortality).sum()), int(_at_rate(rates, mortality, live).sum())
    if min(at_live, at_mortality) >= records_needed:
        return f"Two rates in one flight: {at_live} records at the live and {at_mortality} at the mortality rate, of {len(rates)}."
    return (f"Median {np.median(rates):.0f} per minute in {len(rates)} records; live would be {_rate(live)}, mortality {_rate(mortality)}; "
            f"neither is clear.")


def _doubt_of_mortality(rates, live, mortality):
    """Where missed pulses of a live tag look like its mortality rate, records at the full live rate speak against it: missed pulses never add one."""
    full = _near(rates, live)
    if not is_part(live, mortality) or full.mean() <= STRAY_SHARE:
        return ""
    return (f"{int(full.sum())} of {len(rates)} records at the live rate of {live:.0f} per minute, the others at the mortality rate of {mortality:.0f}, "
            "which is also what missed pulses make of the live rate; mortality is not shown.")


def is_part(live, mortality):
    """Whether the mortality rate is about a half or a third of the live rate, so that missed pulses look like it. [1/min]"""
    return bool(np.isfinite(live) and np.isfinite(mortality) and any(_near(live / lost, mortality) for lost in (2, 3)))


def _clear_verdict(rates, state, known, at_mode, facts):
    other = "mortality" if state == "live" else "live"
    missed = _fits(rates, known[state]) & ~at_mode[state]
    counts = {f"records_{state}": int(at_mode[state].sum()), f"records_{other}": int((at_mode[other] & ~missed).sum())}
    own = rates[at_mode[state]] if at_mode[state].any() else rates
    reason = f"{counts[f'records_{state}']} of {facts['records']} records at {np.median(own):.0f} per minute, the {state} rate is {known[state]:.0f}"
    if missed.any():
        reason += f"; {int(missed.sum())} at a half or a third of it, as when pulses are missed"
    if counts[f"records_{other}"]:
        reason += f"; {counts[f'records_{other}']} at the {other} rate"
    return PulseVerdict(state, reason + ".", rate_per_min=float(np.median(own)), **facts, **counts)


def _records(count):
    return "record" if count == 1 else "records"


def _rate(rate_per_min):
    return f"{rate_per_min:.0f}" if np.isfinite(rate_per_min) else "unknown"
