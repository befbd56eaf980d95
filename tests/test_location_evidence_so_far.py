"""How a posterior tightens: the same as a fix made from the first so many records, and moments that follow what is heard."""

import re

import numpy as np
import pytest

from pipeline.location import Fineness, Task, adaptive_posterior, locate, moments, posteriors_so_far
from pipeline.location.grid import SearchArea
from pipeline.location.likelihood import log_likelihood, mean_log_likelihood
from tests.radio_sample import heard_along, line_path, listening, signal_model

PLACE = (180.0, -90.0)
MODELS = tuple(signal_model(exponent=exponent, shadowing_sd_db=sd) for exponent, sd in ((2.3, 3.5), (2.7, 3.5), (2.3, 4.5), (2.7, 4.5)))


@pytest.fixture(scope="module")
def task():
    path = line_path(700.0)
    strength = heard_along(path, PLACE, signal_model(), np.random.default_rng(4), -18.0)
    return Task(listening(*path, strength), signal_model(), MODELS, "collar", margin_m=1500.0, farthest_m=1500.0, widening=0.8)


@pytest.fixture(scope="module")
def counts(task):
    return moments(task.listening.heard, 6)


@pytest.fixture(scope="module")
def looks(task, counts):
    return [found.posterior for found in posteriors_so_far(task, counts)]


def test_every_moment_is_the_fix_of_the_records_until_then(task, counts, looks):
    """Against the grid of a fix, two and a half times as fine, on the cut listening over the same ground."""
    area = SearchArea.around(task.listening.easting_m, task.listening.northing_m, task.margin_m)
    for count, look in zip(counts, looks):
        cut = task.listening.first_records(count)
        alone = adaptive_posterior(lambda east, north: log_likelihood(cut, signal_model(), east, north, "collar"), area, Fineness(widening=0.8),
                                   lambda east, north: mean_log_likelihood(cut, list(MODELS), east, north, "collar"))
        # 60 cells against 150 in the 95 % region: the areas differ by about a cell's width along the edge
        assert look.region_area_ha(0.95) == pytest.approx(alone.region_area_ha(0.95), rel=0.08)
        assert look.radius_m(0.95) == pytest.approx(alone.radius_m(0.95), rel=0.05)
        assert np.hypot(*(look.mean() - alone.mean())) < 0.06 * alone.radius_m(0.95)


def test_the_last_moment_is_the_fix(task, looks):
    fix = locate(task).posterior
    assert looks[-1].region_area_ha(0.95) == pytest.approx(fix.region_area_ha(0.95), rel=0.06)
    assert np.hypot(*(looks[-1].mean() - fix.mean())) < 0.05 * fix.radius_m(0.95)


def test_evidence_tightens_the_region(looks):
    assert looks[0].region_area_ha(0.95) > 5 * looks[-1].region_area_ha(0.95)
    assert looks[-1].level_at(*PLACE) <= 0.99


def test_moments_begin_with_the_first_record_heard_and_end_with_the_last_record():
    heard = np.zeros(100, bool)
    heard[20:40] = True
    chosen = moments(heard, 6)
    assert chosen[0] == 21 and chosen[-1] == 100 and chosen == sorted(set(chosen)) and len(chosen) <= 6
    assert sum(count <= 40 for count in chosen) == 4       # even steps of records alone would put two there


def test_moments_of_a_silent_flight_are_none_and_of_one_record_one():
    assert moments(np.zeros(30, bool), 12) == []
    assert moments(np.array([True]), 12) == [1]


def test_counts_that_do_not_rise_or_run_beyond_the_records_are_refused(task):
    for counts in ([], [0, 4], [4, 4], [9, 3], [81]):
        with pytest.raises(ValueError, match=re.escape(f"from 1 to at most 80, got {counts}")):
            posteriors_so_far(task, counts)
