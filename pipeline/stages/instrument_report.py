"""What beacons say of clocks, antenna, hills and receiver, and what each correction is worth: parts of the calibration report."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.intake.declination import declination, decimal_year
from pipeline.radio.parameters import USUAL_FAULT_SD_DB
from pipeline.wording import as_given, counted, listed, printed, two_figures

# GPS time is ahead of UTC by this since 2017-01-01 (IERS); a receiver left on GPS time stamps so much late.
GPS_AHEAD_S = 18.0
_NEAR_GPS_S = 2.0
# An estimate this many standard errors from nothing is called clear.
_CLEAR = 2.0
# From so many on a lag is taken out; fewer prove no turned antenna either.
_PROOF = 3.0
# With more of its prior variance left a parameter is called hardly learned. Our choice.
_MOSTLY_PRIOR = 0.5
NOT_CLEAR = "not clear; carried with its error into every fix"
BIAS_USED = "a parameter of the model, which enters every fix with its error"
FINDINGS = ["what", "where", "estimate", "standard_error", "unit", "said"]


def findings_table(workspace) -> pd.DataFrame:
    """One row per finding, columns FINDINGS: clock lag and level of strengths of each flight, azimuth bias, share of the loss behind hills, loss in canopy, ceiling, faulty records."""
    lags, parameters, seen = (workspace.read_table(name) for name in ("clock_lags", "signal_model", "terrain_seen"))
    model = workspace.read_json("signal_models")["whole"]
    rows = [("clock lag", f"flight {lag.flight_id}", lag.lag_s, lag.standard_error_s, "s", lag_words(lag)) for lag in lags.itertuples()]
    rows += [("level of strengths", f"flight {row.flight_id}", row.level_db, row.standard_error_db, "dB", level_words(row)) for row in workspace.read_table("flight_levels").itertuples()]
    bias = parameters[parameters["parameter"] == "azimuth_bias_deg"]
    rows += [("azimuth bias", "all flights", row.value, row.standard_error, "degrees", bias_words(row.value, row.standard_error, declination_here_deg(workspace))) for row in bias.itertuples()]
    hills = parameters[parameters["parameter"] == "terrain_share"]
    rows += [("loss behind hills", "all flights", row.value, row.standard_error, "share", hills_words(row.value, row.standard_error, seen)) for row in hills.itertuples()]
    woods = parameters[parameters["parameter"] == "canopy_db_per_m"]
    rows += [("loss in canopy", "all flights", row.value, row.standard_error, "dB/m", canopy_words(row.prior_low_95, row.prior_high_95, row.prior_share, model["canopy_most_db"])) for row in woods.itertuples()]
    ceiling = model.get("ceiling_db")
    if ceiling is not None:
        rows.append(("receiver ceiling", "all flights", ceiling, np.nan, "dB", "strengths at it count as that or more"))
    faults = parameters[parameters["parameter"] == "fault_share"]
    rows += [("faulty records", "all flights", row.value, row.standard_error, "share of heard", fault_words(workspace.read_table("record_faults"))) for row in faults.itertuples()]
    return pd.DataFrame(rows, columns=FINDINGS)


def crude_bias_sentence(parameters: pd.DataFrame, checked: pd.DataFrame) -> str:
    """The quality check's own estimate of the azimuth bias beside that of the signal model, where both are there; rows of signal_model and instruments."""
    mine = parameters[parameters["parameter"] == "azimuth_bias_deg"]
    # a file does not say of a column without a value that it held numbers
    crude = checked[["azimuth_bias_deg", "azimuth_bias_se_deg"]].apply(pd.to_numeric, errors="coerce").dropna() if len(checked) else checked
    if mine.empty or crude.empty:
        return ""
    row, check = mine.iloc[0], crude.iloc[0]
    estimates = ((row["value"], row["standard_error"]), (check["azimuth_bias_deg"], check["azimuth_bias_se_deg"]))
    model, look = (f"{value:.1f} degrees (standard error {error:.1f})".replace("-", "−") for value, error in estimates)
    aside = ", not clear by itself," if abs(estimates[1][0]) < _CLEAR * estimates[1][1] else ""
    weak = f"; {abs(row['value']) / row['standard_error']:.1f} standard errors are no proof that the antenna is turned" if abs(row["value"]) < _PROOF * row["standard_error"] else ""
    return f"The azimuth bias is {model} in the signal model and {look}{aside} in the quicker look of the quality check, which estimates the clock lags beside it. It is a parameter of the model, whatever its size{weak}."


def fault_words(tried: pd.DataFrame) -> str:
    """Where the error of a faulty record comes from; tried : rows of record_faults."""
    if len(tried) < 2:
        return f"their error is taken to be {USUAL_FAULT_SD_DB:.0f} dB (common practice, no source): too few beacons to compare others"
    best = tried.loc[tried["chosen"].astype(bool), "fault_sd_db"].iloc[0]
    return f"of {len(tried)} errors tried, {best:.0f} dB foretold left-out beacons best (record_faults.csv); the beacons that chose it are those that test the fixes"


def level_words(row) -> str:
    """What a row of flight_levels comes to."""
    if not row.clear:
        return f"as in the other flights, within what {counted(row.beacons, 'beacon')} can show"
    return (f"{counted(row.beacons, 'beacon')} read {abs(row.level_db):.0f} dB {'stronger' if row.level_db > 0 else 'weaker'} than in the other flights: gain, antenna or cable may have differed; "
            "not taken out, powers scatter the more for it and ground searched is off")


def lag_words(lag, done: str = "taken out") -> str:
    """What a clock lag comes to; lag : row of clock_lags. done : what is done about it."""
    if lag.applied_s == 0:
        return f"not clear ({counted(int(lag.beacons), 'beacon')}), nothing done"
    late = "after" if lag.applied_s > 0 else "before"
    named = "; this is the difference of GPS time and UTC" if abs(abs(lag.lag_s) - GPS_AHEAD_S) <= _NEAR_GPS_S else ""
    return f"strengths were stamped {abs(lag.applied_s):.0f} s {late} the positions: {done}{named}"


def bias_words(bias_deg: float, error_deg: float, declination_deg: float | None, done: str = BIAS_USED) -> str:
    """What an azimuth bias comes to and what is done about it, beside the declination of place and date where azimuths are said to be true."""
    if abs(bias_deg) < _CLEAR * error_deg:
        return NOT_CLEAR
    named = ""
    if declination_deg is not None and abs(declination_deg) > _CLEAR * error_deg and abs(bias_deg - declination_deg) <= _CLEAR * error_deg:
        named = f"; of the size of the magnetic declination ({declination_deg:.1f} degrees): are these azimuths magnetic?"
    return f"the antenna seems to point {abs(bias_deg):.0f} degrees {'right' if bias_deg > 0 else 'left'} of the azimuth in the log: {done}{named}"


def crude_lag_sentence(lags: pd.DataFrame, checked: pd.DataFrame) -> str:
    """Why a lag that is taken out has another figure in the quality check, where it has one; rows of clock_lags and instruments."""
    if not len(lags) or not len(checked):
        return ""
    crude = dict(zip(checked["flight_id"], pd.to_numeric(checked["lag_s"], errors="coerce")))
    pairs = [(row.flight_id, printed(row.lag_s, ".1f"), printed(crude.get(row.flight_id, np.nan), ".1f")) for row in lags[lags["applied_s"] != 0].itertuples()]
    differing = [f"{mine} s here and {look} s there in {flight}" for flight, mine, look in pairs if look not in (mine, "nan")]
    return f"A lag is estimated twice, here by the signal model and in the quality check beside the azimuth bias by a quicker fit ({listed(differing)}); whole seconds of the first are taken out." if differing else ""


def declination_here_deg(workspace) -> float | None:
    """Declination in the middle of the tracks where azimuths are taken as true; None where they are magnetic or no model covers the date."""
    if workspace.survey.receiver_log.azimuth_reference != "true":
        return None
    track = workspace.read_work("track").dropna(subset=["latitude", "longitude"])
    if track.empty:
        return None
    middle = track.iloc[len(track) // 2]
    try:
        return declination(float(middle["latitude"]), float(middle["longitude"]), decimal_year(middle["time_utc"])).declination_deg
    except ValueError:
        return None


def hills_words(share: float, error: float, seen: pd.DataFrame) -> str:
    """How much of the computed loss is found, and where no ground is known."""
    blind = float(seen["share_without_terrain"].max()) if len(seen) else 0.0
    holes = f"; up to {blind:.0%} of the paths of a flight lie beyond the terrain model and count as open".replace("%", " %") if blind > 0.005 else ""
    found = "a terrain model that fits badly would show as a share near 0" if share > _CLEAR * error else "nothing of it is found: is the terrain model in the right place?"
    return f"{share:.2f} of the computed loss is found at beacons; {found}{holes}"


def canopy_words(low: float, high: float, prior_share: float, most_db: float) -> str:
    """Whether beacons speak of the loss per metre of canopy; low, high : its prior [dB/m], prior_share : what of it is not learned, most_db : what no way exceeds."""
    most = f"a way through canopy takes at most {most_db:.0f} dB"
    if prior_share > _MOSTLY_PRIOR:
        return f"beacons say little of it: nearly the prior, {two_figures(low)} to {two_figures(high)} dB/m; {most}"
    return f"found at beacons; the prior was {two_figures(low)} to {two_figures(high)} dB/m (ITU-R P.833); {most}"


def instruments_part(workspace, book):
    """Findings on the instruments with what was done about each."""
    table = findings_table(workspace)
    if table.empty:
        return book.words(None)
    workspace.write_table("instrument_findings", table)
    frame = table.assign(value=[two_figures(value).replace("-", "−") if unit != "share" and unit != "share of heard" else f"{value:.2f}" for value, unit in zip(table["estimate"], table["unit"])],
                         error=["–" if np.isnan(error) else f"{error:.2g}" for error in table["standard_error"]])
    shown = book.table("instrument_findings", frame, "What beacons say of clocks, antenna, hills and receiver.", {
        "what": ("Finding", "", "text"), "where": ("Where", "", "text"), "value": ("Estimate", "", as_given), "error": ("SE", "", as_given), "unit": ("Unit", "", "text"), "said": ("What it comes to", "", "text")},
        saved_as="instrument_findings.csv", notes="SE: standard error. A lag is taken out when it is three standard errors from nothing and gains four units of log-posterior: it is a correction in whole seconds of all records of a flight, made or not made, without its error. A lag found without a beacon serves that beacon. Azimuth bias and loss behind hills are parameters of the signal model: their estimates enter every fix with their errors, whatever their size; they are called clear from two standard errors on, which decides words only. Level of strengths: mean over the beacons of how much stronger they read than in the other flights; clear when it is 3 dB or more and chance does not explain it (p below 0.05, adjusted for the flights).")
    return book.together(book.words(instruments_heading(table), crude_lag_sentence(workspace.read_table("clock_lags"), _checked(workspace)), crude_bias_sentence(workspace.read_table("signal_model"), _checked(workspace))), shown)


def _checked(workspace) -> pd.DataFrame:
    """What the quality check found of clocks and antenna; empty where it did not look."""
    try:
        return workspace.read_table("instruments")
    except FileNotFoundError:
        return pd.DataFrame()


def instruments_heading(table: pd.DataFrame) -> str:
    """Which clocks and azimuths were off."""
    lagging = [row.where.removeprefix("flight ") for row in table.itertuples() if row.what == "clock lag" and "taken out" in row.said]
    turned = any(row.what == "azimuth bias" and row.said != NOT_CLEAR for row in table.itertuples())
    parts = [f"clocks disagreed in {listed(lagging)}"] if lagging else []
    louder = [row.where.removeprefix("flight ") for row in table.itertuples() if row.what == "level of strengths" and "than in the other flights" in row.said]
    taken_out = " and ".join(parts)
    aside = "the antenna seems to point beside its azimuth, a parameter of the model"
    told = f"{taken_out[0].upper()}{taken_out[1:]}; this is taken out" if parts else "Clocks agree, as far as beacons can tell" if turned else "Clocks and azimuths agree, as far as beacons can tell"
    told += f"; {aside}" if turned else ""
    return f"{told}; strengths of {listed(louder)} lie apart from those of the other flights, which is not taken out" if louder else told


def worth_part(workspace, book):
    """The beacons with and without each correction."""
    table = workspace.read_table("worth_of_corrections")
    if table.empty:
        return book.words(None)
    frame = table.assign(held=[f"{row.held_95} of {row.fixes}" for row in table.itertuples()], without=["– (as used)" if name == "nothing" else name for name in table["left_out"]])
    shown = book.table("worth_of_corrections", frame, "Beacon fixes with everything, and with one thing left out at a time.", {
        "without": ("Left out", "", as_given), "median_m": ("Median error", "m", two_figures), "p90_m": ("90 % within", "m", two_figures), "held": ("Inside", "95 % region", as_given), "median_region_95_ha": ("95 % region", "median, ha", two_figures)},
        saved_as="worth_of_corrections.csv", notes="Each beacon by models that never saw it; hills, lags and bias are left out of the fit too. All rows with the widening that is used, so that areas and what they held can be compared.")
    return book.together(book.words(worth_heading(table), worth_paragraph(table), level=3), shown)


def worth_heading(table: pd.DataFrame) -> str:
    """What matters most to the error."""
    full, rest = table[table["left_out"] == "nothing"].iloc[0], table[table["left_out"] != "nothing"]
    worst = rest.sort_values("median_m", kind="stable").iloc[-1]
    if worst["median_m"] <= 1.05 * full["median_m"]:
        return "No single correction matters much to the median error of these beacons"
    return f"Without {article(worst['left_out'])} the median error would be {two_figures(worst['median_m'])} m instead of {two_figures(full['median_m'])} m"


def worth_paragraph(table: pd.DataFrame) -> str:
    """What leaving things out does to what the regions hold."""
    full, rest = table[table["left_out"] == "nothing"].iloc[0], table[table["left_out"] != "nothing"]
    least = rest.sort_values("held_95", kind="stable").iloc[0]
    if least["held_95"] >= full["held_95"]:
        return f"With everything the 95 % regions held {full['held_95']} of {full['fixes']}; with one thing left out they held no fewer."
    return f"With everything the 95 % regions held {full['held_95']} of {full['fixes']}; without {article(least['left_out'])} they held {least['held_95']}, with a median of {two_figures(least['median_region_95_ha'])} instead of {two_figures(full['median_region_95_ha'])} ha."


def article(name: str) -> str:
    """The name of what is left out, as it stands in a sentence."""
    return {"hills": "the loss behind hills", "canopy": "the loss in canopy"}.get(name, f"the {name}")
