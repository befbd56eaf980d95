"""The files of the demo campaign that are written by hand."""

SURVEY = """
# The demo campaign: INVENTED data, made by `python -m pipeline.simulate.demo`.
# Copy this file for a campaign of your own. Every path is relative to it; nothing is ever written to these files.

campaign: demo                       # folder-safe name: the results go to reports/demo
title: "Invented demonstration: mountain hares and black grouse, Glen Tarvennoch, spring 2026"
seed: 1                              # random numbers of the analysis start here

# crs: EPSG:32630                    # a metric CRS; without this line a local one is chosen and named

receiver_log:
  files: flights/*.csv               # one flight per file; the flight is named after its file
  # columns:                         # only where a column has another name in your log, for instance
  #   time_utc: UTC
  #   strength_db: Level
  not_heard: blank                   # how the log writes "listened, not heard"
  time_zone: UTC
  height_reference: ground           # what height_m counts from: ground | takeoff | sea_level | ellipsoid
  azimuth_reference: true            # north of antenna_azimuth_deg: true | magnetic
  heard_above_noise_db: 6            # a tag is heard when it beats noise_db by this much

tags: tags.csv
beacons: beacons.csv
terrain: terrain.tif
study_area: study_area.geojson
bearings: bearings.csv
sightings: sightings.csv

# Free entries, printed in every report. These are invented.
permits:
  wildlife: "INVENTED-W-2026-014, capture and tagging of hares and grouse"
  aviation: "INVENTED-A-2026-203, extended visual line of sight with observers, 120 m above ground at most"
  ethics: "INVENTED-E-2026-07"
  landowner: "Access agreed for March to May 2026 (invented)"

# What the publication appendix says beside the results. Everything under field_record is invented, like the campaign.
publication:
  note: "The campaign, its places, animals, strengths and permits are invented; the appendix shows what that of a real campaign would hold."
  licence: "CC0 1.0"
  citation: "Fixledger contributors, invented demonstration campaign, spring 2026"
  contact: "the Fixledger contributors, for work that the holder of the wildlife permit agrees to"
  availability: "the data that go with this page; the program is Fixledger, open under BSD-3-Clause"
  field_record:
    capture: "Invented. Hares were caught at night in baited cage traps, grouse at dawn with nets at the lek, from 2 March to 3 April 2026; nine female and seven male hares of 2.5 to 3.4 kg, five hens of 0.9 to 1.0 kg and seven cocks of 1.1 to 1.4 kg, all adult; no animal was held longer than 20 minutes."
    tagging: "Invented. Collars of 38 g on hares (1.1 to 1.5 % of body mass), backpacks of 14 g with leg loops on grouse (1.0 to 1.6 %). The collar of H05 was recovered with the carcass on 2026-05-07; no other tag was found."
    mortality_delay: "Invented. A tag changes to the mortality rate after 6 hours without movement."
    drone: "Invented. A quadcopter of 1.6 kg with receiver and antenna of 0.3 kg below it; with motors running the background of the receiver rose by 1 dB, measured on the ground before the first flight."
    receiver: "Invented. Receiver and antenna built for this campaign: all channels received at once, each 6 kHz wide, gain fixed at 20 dB, ceiling at −86 dB; antenna of two elements, horizontally polarised, 0.4 m below the frame, its strong side along the nose of the aircraft."
    field_work: "Invented. One pilot with a certificate for flights in extended visual line of sight, four observers along the track with radio. On 2026-04-21 wind of 2 m/s and 3 degrees Celsius, on 2026-04-29 5 m/s and 6 degrees, on 2026-05-07 3 m/s and 9 degrees; no rain. No incident. Two grouse flushed at a distance of about 90 m during 0429-a; no hare was seen to react."
    ground_models: "Invented. Terrain model made for this campaign in 2026, on cells of 30 m, standard error of a height 2 m; no canopy model."
    habitats: "Invented. Heather moor with scattered birch below 400 m. Seven beacons stood in open heather and two under birch; no map of habitats was made, so that searches without a position were not compared by habitat."
"""

CAMPAIGN_README = """
# The demo campaign (invented)

Nothing here was measured. The valley, the flights, the animals and the permits are invented; the coordinates only say where on Earth
such a valley could lie, and the ground heights are not those of any real place.
Do not quote these data as observations of mountain hares or black grouse.

| file | what |
|---|---|
| survey.yml | the one config file |
| flights/*.csv | six receiver logs: two scouting loops, three line patterns, one mixed; a record every 6 s, all 39 tags listened to |
| tags.csv | 28 animals and 2 decoys (tags that are switched off) |
| beacons.csv | 9 tags at surveyed places |
| bearings.csv, sightings.csv | a few bearings taken by hand, three animals seen |
| terrain.tif, study_area.geojson | ground height (UTM zone 30 N, 30 m), the area asked about |

The logs have the faults that logs have. Where the animals really were is kept outside this folder, in data/demo-truth; no analysis
may read it.

The files of this folder are given to the public domain (CC0 1.0), so that they can be copied for a campaign of your own; the code of the project is under BSD-3-Clause.

Remake everything, byte for byte: `python -m pipeline.simulate.demo`.
"""

TRUTH_README = """
# Where the invented animals of data/demo really were: for scoring only

No stage of the analysis reads this folder.

**positions.csv**, one row per tag and flight. `latitude`, `longitude`, `easting_m`, `northing_m`: mean position over the flight
(local transverse Mercator centred on 57.2000 N 4.1000 W, which is what a run chooses for this campaign); start and end positions beside it.
`moved_m`: from start to end. `present`: in the study area. `mode`: what the tag sent, `live`, `mortality` or `silent`.
`records_heard`: records with a sound, each counted once. `story`: why the tag is in the cast. Decoys have no position.

**tags.csv**: true power of each tag at 1 m; blank = sends nothing.

**flights.csv**, the faults put into each log: gain offset; seconds by which the strengths in a row are older than the position and
azimuth beside them; azimuth bias (logged minus true); seconds from the start without GNSS; records written twice.

How strengths were made (pipeline/simulate): log-distance law over the slant distance with exponent 2.4; loss behind rising ground (one
knife edge); an antenna with side lobes and a back lobe 12 dB down; shadowing of 3 dB over 120 m and 2 dB over 25 m along the track;
tag powers that differ by 3 dB (spread evenly within each type) and flights by 1 dB; 4 % of the records faded by 6 to 15 dB; white noise
of 1 dB; a soft threshold 6 dB above the noise; a ceiling at -86 dB; steps of 0.5 dB.
"""
