"""The error of a faulty record is chosen by beacons that the model has not seen."""

from dataclasses import replace

import numpy as np

from pipeline.radio import fit_with_chosen_tails
from tests.test_radio_fitting import beacons


def with_fades(known, share, depth_db, seed):
    """The same beacons with some heard records faded."""
    generator = np.random.default_rng(seed)

    def faded(listening):
        hit = generator.random(len(listening)) < share
        return replace(listening, strength_db=np.where(hit, listening.strength_db - depth_db * generator.random(len(listening)) ** 0.5, listening.strength_db))

    return [replace(tag, listenings=tuple(faded(listening) for listening in tag.listenings)) for tag in known]


def chosen(known):
    table = fit_with_chosen_tails(known, sorted({tag.place_id for tag in known})).scores
    return table[table["chosen"]].iloc[0]["fault_sd_db"], table


def test_fades_call_for_faulty_records_and_held_out_beacons_say_by_how_much():
    best, table = chosen(with_fades(beacons(6), 0.08, 20.0, seed=2))
    assert np.isfinite(best)
    scores = table.set_index("fault_sd_db")["log_score"]
    assert scores.drop(np.nan, errors="ignore").max() - scores[scores.index.isna()].iloc[0] > 10.0


def test_with_three_places_nothing_is_tried():
    best, table = chosen(beacons(3))
    assert best == 10.0 and len(table) == 1
