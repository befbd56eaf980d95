"""The demo campaign in data/demo: made again byte for byte, and with everything in it that it promises."""

import csv
from datetime import datetime

import numpy as np
import pandas as pd
import pytest
import rasterio

from pipeline.geodesy import distance_azimuth
from pipeline.simulate.demo import DemoCampaign

LOG_COLUMNS = ["time_utc", "latitude", "longitude", "height_m", "antenna_azimuth_deg", "tag_id", "strength_db", "pulse_rate_per_min",
               "noise_db"]


@pytest.fixture(scope="module")
def logs(project):
    """{flight: its log}, rows as written."""
    paths = sorted((project / "data" / "demo" / "flights").glob("*.csv"))
    return {path.stem: pd.read_csv(path, parse_dates=["time_utc"]) for path in paths}


@pytest.fixture(scope="module")
def truth(project):
    """Where every tag was in every flight."""
    return pd.read_csv(project / "data" / "demo-truth" / "positions.csv", keep_default_na=True)


@pytest.fixture(scope="module")
def heard(logs):
    """All rows with a strength, each counted once."""
    rows = pd.concat([log.assign(flight_id=flight_id) for flight_id, log in logs.items()]).drop_duplicates()
    return rows[rows["strength_db"].notna()]


def files_in(folder):
    return {path.relative_to(folder).as_posix(): path for path in sorted(folder.rglob("*")) if path.is_file()}


def test_the_demo_campaign_is_made_again_byte_for_byte(project, tmp_path):
    DemoCampaign().write(tmp_path / "demo", tmp_path / "demo-truth")
    made = files_in(tmp_path)
    kept = {name: path for name, path in files_in(project / "data").items() if name.startswith(("demo/", "demo-truth/"))}
    assert sorted(made) == sorted(kept)
    assert [name for name in made if not name.endswith(".tif") and made[name].read_bytes() != kept[name].read_bytes()] == []
    # Another release of the raster library may write other tags round the same heights.
    with rasterio.open(made["demo/terrain.tif"]) as again, rasterio.open(kept["demo/terrain.tif"]) as first:
        assert np.array_equal(again.read(1), first.read(1)) and again.transform == first.transform and again.crs == first.crs


def test_the_demo_campaign_is_small_and_says_that_it_is_invented(project):
    folder = project / "data" / "demo"
    assert sum(path.stat().st_size for path in files_in(folder).values()) < 8_000_000
    assert "invented" in (folder / "README.md").read_text(encoding="utf-8").lower()
    assert 'title: "Invented' in (folder / "survey.yml").read_text(encoding="utf-8")


def test_six_flights_on_three_days_of_twenty_to_twenty_five_minutes(logs):
    assert len(logs) == 6
    assert len({log["time_utc"].dt.date[0] for log in logs.values()}) == 3
    for log in logs.values():
        assert 20 <= (log["time_utc"].max() - log["time_utc"].min()).total_seconds() / 60 <= 25
        assert log["time_utc"].drop_duplicates().diff().dropna().dt.total_seconds().eq(6).all()


def test_every_record_listens_to_all_39_tags(logs):
    for log in logs.values():
        assert list(log.columns) == LOG_COLUMNS
        assert log.drop_duplicates().groupby("time_utc")["tag_id"].nunique().eq(39).all()


def test_the_registers_name_28_animals_9_beacons_and_2_decoys(project, logs):
    tags = pd.read_csv(project / "data" / "demo" / "tags.csv")
    beacons = pd.read_csv(project / "data" / "demo" / "beacons.csv")
    assert tags["decoy"].value_counts().to_dict() == {False: 28, True: 2}
    assert set(tags.loc[~tags["decoy"], "species"]) == {"Lepus timidus", "Lyrurus tetrix"}
    assert len(beacons) == 9 and set(beacons["tag_type"]) == set(tags["tag_type"])
    assert set(tags["tag_id"]) | set(beacons["tag_id"]) == set(logs["0421-a"]["tag_id"])


def test_beacons_stand_where_the_register_says_within_the_survey_error(project, truth):
    beacons = pd.read_csv(project / "data" / "demo" / "beacons.csv").merge(truth, on="tag_id", suffixes=("", "_true"))
    off_m, _ = distance_azimuth(beacons["latitude"], beacons["longitude"], beacons["latitude_true"], beacons["longitude_true"])
    assert (off_m < 3.5 * beacons["position_sd_m"]).all()


def test_the_faults_are_in_the_logs(logs):
    lost = {flight_id: log.loc[log["latitude"].isna(), "time_utc"].nunique() for flight_id, log in logs.items()}
    doubled = {flight_id: int(log.duplicated().sum()) for flight_id, log in logs.items()}
    assert lost == {"0421-a": 0, "0421-b": 0, "0429-a": 0, "0429-b": 0, "0507-a": 7, "0507-b": 0}
    assert doubled == {"0421-a": 0, "0421-b": 0, "0429-a": 8 * 39, "0429-b": 0, "0507-a": 0, "0507-b": 0}


def test_strengths_and_pulses_are_blank_together(logs):
    for log in logs.values():
        assert log["strength_db"].isna().equals(log["pulse_rate_per_min"].isna())


def test_one_animal_is_heard_once_one_never_and_one_only_on_the_first_day(heard):
    times = heard.groupby("tag_id").size()
    assert times["H12"] == 1
    assert "G03" not in times
    assert set(heard.loc[heard["tag_id"] == "H09", "flight_id"]) == {"0421-a", "0421-b"}


def test_decoys_make_no_sound_but_one_false_hit_at_another_pulse_rate(heard):
    hits = heard[heard["tag_id"].isin(["D01", "D02"])]
    assert hits[["tag_id", "pulse_rate_per_min"]].values.tolist() == [["D01", 61.7]]


def test_two_tags_and_no_other_send_the_mortality_signal(heard, truth):
    assert set(truth.loc[truth["mode"] == "mortality", "tag_id"]) == {"H05", "G08"}
    pulse = heard[heard["tag_id"].str.match("[HG]")].groupby(["tag_id", "flight_id"])["pulse_rate_per_min"].median()
    fast = pulse[pulse > 67].index
    assert {tag_id for tag_id, _ in fast} == {"H05", "G08"}
    assert [flight_id for tag_id, flight_id in fast if tag_id == "G08"] == ["0429-a", "0429-b", "0507-a", "0507-b"]


def test_two_animals_walk_150_to_300_m_during_a_flight_and_no_other_walks_more_than_50(truth):
    walks = truth[truth["moved_m"] > 50]
    assert set(walks["tag_id"]) == {"H02", "G06"}
    assert walks["moved_m"].between(150, 300).all() and len(walks) == 2


def test_the_truth_is_not_in_the_campaign_folder(project):
    assert not [name for name in files_in(project / "data" / "demo") if "truth" in name or "positions" in name]


def test_the_truth_counts_the_records_that_the_logs_hold(heard, truth):
    counted = truth.set_index(["tag_id", "flight_id"])["records_heard"]
    logged = heard.groupby(["tag_id", "flight_id"]).size().reindex(counted.index, fill_value=0)
    assert counted.tolist() == logged.tolist()


def test_the_strongest_record_is_a_poor_fix(heard, truth):
    known = heard[heard["latitude"].notna()].reset_index(drop=True)
    strengths = known.groupby(["tag_id", "flight_id"])["strength_db"]
    strongest = known.loc[strengths.idxmax()[strengths.size() >= 3]]
    fixes = strongest.merge(truth, on=["tag_id", "flight_id"], suffixes=("", "_true"))
    error_m, _ = distance_azimuth(fixes["latitude"], fixes["longitude"], fixes["latitude_true"], fixes["longitude_true"])
    assert 150 < np.median(error_m) < 260


def test_field_notes_fall_within_the_campaign(project):
    for name in ("bearings.csv", "sightings.csv"):
        with open(project / "data" / "demo" / name, encoding="utf-8", newline="") as file:
            times = [datetime.fromisoformat(row["time_utc"]) for row in csv.DictReader(file)]
        assert len(times) >= 3
        first, last = datetime.fromisoformat("2026-04-21T05:00:00Z"), datetime.fromisoformat("2026-05-08T00:00:00Z")
        assert all(first < time < last for time in times)
