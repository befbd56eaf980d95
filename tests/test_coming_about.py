"""The printed twin of going over a flight: what the figure draws, what its caption says, and what is said where there is none."""

import re
import xml.etree.ElementTree as ElementTree
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from pipeline.figures.radius_so_far import RadiusSoFar, radius_so_far
from pipeline.report import Book
from pipeline.stages.coming_about import alternative_text, caption, coming_about_figure, why_none
from pipeline.stages.evidence_frames import REGION_FRAMES


def row(status="located", method="strength", heard=12):
    return SimpleNamespace(tag_id="H 1 <b>", flight_id="a", status=status, method=method, records_heard=heard)


def frames(*radii_m, flight_id="a", edge=0.0):
    count = len(radii_m)
    return pd.DataFrame({"tag_id": "H 1 <b>", "flight_id": flight_id, "frame": range(1, count + 1), "minutes_flown": 2.0 * np.arange(1, count + 1), "error_radius_95_m": radii_m,
                         "records_listened": 20 * np.arange(1, count + 1), "edge_probability": [edge] + [0.0] * (count - 1)})


def strokes(drawing):
    """Path data of every ink in the order drawn."""
    return [(path.get("style"), path.get("d")) for path in ElementTree.fromstring(drawing.as_svg()).iter("{http://www.w3.org/2000/svg}path")]


def test_the_caption_says_how_wide_it_began_how_it_ended_and_since_when_it_was_as_good():
    said = caption(row(), frames(3200.0, 900.0, 140.0, 110.0, 100.0))
    assert said == ("How the 95\u00a0% radius of H 1 <b> came about in flight a: 3,200 m at minute 2.0 when it was first heard, 100 m at minute 10.0 with all 100 records. "
                    "From minute 6.0 on it stayed within 1.5 times its last value.")


def test_a_radius_that_rose_again_is_as_good_only_after_that():
    assert "From minute 8.0 on" in caption(row(), frames(3000.0, 110.0, 400.0, 120.0, 100.0))
    assert "still coming down" in caption(row(), frames(3000.0, 900.0, 400.0, 100.0))


def test_one_record_and_what_was_taken_by_hand_are_said():
    assert caption(row(), frames(800.0)).endswith("800 m at minute 2.0 when it was first heard, which is all that was heard.")
    assert "The last step also has what was taken by hand." in caption(row(method="strength+bearing"), frames(800.0, 90.0))
    assert alternative_text(row(), frames(800.0, 90.0)) == "95\u00a0% radius of H 1 <b> against minutes of flight a: 800 m at minute 2.0; 90 m at minute 4.0."


def test_the_line_falls_as_the_radius_does_and_equal_ratios_are_equal_heights():
    first = RadiusSoFar("a", np.array([0.0, 4.0, 8.0]), np.array([4000.0, 400.0, 40.0]), np.array([True, False, False]))
    drawn = strokes(radius_so_far([first, RadiusSoFar("b", np.array([1.0, 6.0]), np.array([900.0, 90.0]), np.array([False, False]))]))
    own = [d for style, d in drawn if "stroke-width: 17" in style]
    dotted = [d for style, d in drawn if "stroke-width: 17" in style and "dasharray" in style]
    assert len(dotted) == 1 and len(own) == 2
    # down and right only; 4,000 to 400 is as far down as 400 to 40
    falls = [int(step) for d in (dotted[0], own[1]) for step in re.findall(r"l\d+ 0 0 (\d+)", d)]
    assert len(falls) == 2 and abs(falls[0] - falls[1]) <= 1 and falls[0] > 100


def test_the_figure_is_of_the_flight_that_tells_most_and_none_is_made_without_its_moments(tmp_path):
    book = Book(tmp_path / "tables", tmp_path / "figures")
    html = coming_about_figure(book, "tag-h1_radius", row(), pd.concat([frames(900.0, 100.0), frames(800.0, flight_id="b")])).report_html()
    assert "H 1 &lt;b&gt;" in html and "<b>" not in html and 'role="img" aria-label="95' in html
    assert (tmp_path / "figures" / "tag-h1_radius.svg").exists()
    assert coming_about_figure(book, "x", row(), frames(900.0, flight_id="b")) is None
    assert coming_about_figure(book, "x", row(), pd.DataFrame(columns=list(REGION_FRAMES))) is None


@pytest.mark.parametrize("fix, walk_m, said", [
    (row("area only"), 0.0, "there is no position"), (row(), 150.0, "may walk up to 150 m"), (row(), 0.0, "240 fixes of a campaign at most"),
    (row("not heard", heard=0), 0.0, ""), (row("suspect"), 0.0, "")])
def test_why_there_is_none_is_said_for_every_fix_and_not_where_there_is_no_fix(fix, walk_m, said):
    words = why_none(fix, walk_m)
    assert said in words and bool(words) == bool(said)
