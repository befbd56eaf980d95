"""A small campaign in which everything that carries a name carries an awkward one: markup, quotes, backslashes, letters from right to left."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import yaml

RAN = "window.ran=1;alert(1)"
# of the demo campaign -> awkward
TAGS = {
    "H01": f"<script>{RAN}</script>", "H02": "O'Brien \"the \\hare\\\"", "H05": f"`tick` $& ${{{RAN}}} {{{{ 7*7 }}}}", "G01": "\u05d0\u05e8\u05e0\u05d1 1 \U0001f407", "G08": f"<img src=x onerror={RAN}>",
    "B01": f"</script><script>{RAN}</script>", "B02": "C:\\20190221 <b>bold</b>", "B05": "\u202eevil \u0645\u0631\u062d\u0628\u0627", "D01": f"&lt;i&gt; </style><svg onload={RAN}>",
}
FLIGHTS = {"0421-b": f"<img src=x onerror={RAN}> it's", "0429-a": f"\\b `c` ${{{RAN}}} {{{{ 7*7 }}}} \"d\" \U0001f407 \u05d0"}
SPECIES = {"Lepus timidus": f"Lepus <script>{RAN}</script> \"timidus\" \\n", "Lyrurus tetrix": f"Lyrurus `${{{RAN}}}` \u05d0\u05e8 \U0001f407"}
KINDS = {"hare collar": f"collar <b>'2'</b> \"A\" \\", "grouse backpack": f"</td><script>{RAN}</script>"}
TITLE = f"Hares </title></style></script><script>{RAN}</script>\n\"two\" 'lines' \\d `e` ${{{RAN}}} {{{{ 7*7 }}}} \u05d0\u05e8\u05e0\u05d1 \U0001f407"
PERMITS = {f"wild<script>{RAN}</script>life": f"</dd><img src=x onerror={RAN}>\nsecond line \\ ` ${{x}}"}


def write_awkward_campaign(demo: Path, folder: Path) -> Path:
    """Two flights of the demo over five animals, three beacons and a decoy, renamed; the survey file is returned."""
    (folder / "flights").mkdir(parents=True)
    for flight, name in FLIGHTS.items():
        rows = pd.read_csv(demo / "flights" / f"{flight}.csv", dtype=str, keep_default_na=False)
        rows = rows[rows["tag_id"].isin(TAGS) & (pd.factorize(rows["time_utc"])[0] % 2 == 0)]  # every other record, for speed
        _renamed(rows, tag_id=TAGS).to_csv(folder / "flights" / f"{name}.csv", index=False)
    for name in ("tags", "beacons", "bearings", "sightings"):
        rows = pd.read_csv(demo / f"{name}.csv", dtype=str, keep_default_na=False)
        rows = _renamed(rows[rows["tag_id"].isin(TAGS)], tag_id=TAGS, species=SPECIES, tag_type=KINDS)
        if "animal_id" in rows:
            rows["animal_id"] = "animal " + rows["tag_id"]
        rows.to_csv(folder / f"{name}.csv", index=False)
    survey = {
        "campaign": "awkward", "title": TITLE, "sensitive": False, "receiver_log": {"files": "flights/*.csv", "time_zone": "UTC", "not_heard": "blank", "heard_above_noise_db": 6},
        "tags": "tags.csv", "beacons": "beacons.csv", "bearings": "bearings.csv", "sightings": "sightings.csv", "permits": PERMITS, "publication": {"note": TITLE, "licence": KINDS["grouse backpack"], "citation": TITLE, "availability": TITLE, "field_record": {"capture": TITLE, "drone": KINDS["grouse backpack"], "habitats": TITLE}},
    }
    (folder / "survey.yml").write_text(yaml.safe_dump(survey, allow_unicode=True), encoding="utf-8")
    return folder / "survey.yml"


def _renamed(rows: pd.DataFrame, **names: dict[str, str]) -> pd.DataFrame:
    return rows.assign(**{column: rows[column].map(lambda cell, known=known: known.get(cell, cell)) for column, known in names.items() if column in rows})
