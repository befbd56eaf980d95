"""The methods of the appendix that lead from strengths to positions, in words: the signal model, what was corrected, the location and the numbers of its computation."""

from __future__ import annotations

from pipeline.location import search_margins_m
from pipeline.location.grid import Fineness
from pipeline.stages.appendix_limit_words import walking
from pipeline.stages.appendix_words import Material
from pipeline.stages.calibration_numbers import decibel, percent, significant
from pipeline.stages.localisation import DRAWS
from pipeline.wording import counted, listed, number_word, two_figures


def signal(found: Material) -> list[str]:
    """The signal model, what it was fitted to, losses, corrections."""
    value = {row.parameter: row.value for row in found.table("signal_model").itertuples()}
    models = found.models
    said = ("Strength was modelled by the log-distance law (Rappaport 1996): the power of the tag at 1 m, less 10 n log10 of the slant distance, plus an antenna pattern in the direction to the tag relative to the antenna azimuth and below the horizon. "
            "The power varies between tags of a type and between flights of a tag; shadowing is normal and correlated along the track (exponentially), each record has noise of its own, and a small share of records is missed or faulty.")
    fitted = (f"Its numbers were fitted by maximum likelihood with priors (posterior mode; standard errors from the curvature there) to {models['records']:,d} records of {counted(models['beacons'], 'beacon')}, {models['records_heard']:,d} of them heard; "
              f"records not heard entered as strengths below the threshold. Values, standard errors and priors are given{found.cite('signal_model') or ' in signal_model.csv'}; the priors are our choice{_prior_share(found)}."
              if models.get("beacons") else f"No beacon was heard, so that its numbers are those of the priors{found.cite('signal_model')}.")
    if {"exponent", "shadowing_sd_db", "shadowing_length_m", "noise_sd_db"} <= set(value):
        fitted += (f" Path-loss exponent n = {significant(value['exponent'])}, shadowing {significant(value['shadowing_sd_db'])} dB (standard deviation) with a correlation length of {two_figures(value['shadowing_length_m'])} m, "
                   f"noise {significant(value['noise_sd_db'])} dB.")
    ceiling_db = (models.get("whole") or {}).get("ceiling_db")
    if ceiling_db is not None:
        fitted += f" Strengths at the ceiling of the receiver, {decibel(ceiling_db)} dB, counted as that or more."
    cells = f", on cells of {two_figures(found.terrain_cell_m)} m," if found.terrain_cell_m else ""
    terrain = (f"Loss behind hills was computed from the terrain model{cells} by Bullington's construction (ITU-R P.526-15)" + (f" and entered with the share of it that the beacons showed, {value['terrain_share']:.2f}." if "terrain_share" in value else ".")
               if found.survey.terrain else "No terrain model was given: the ground was taken as level between receiver and tag.")
    return [said, fitted, f"{terrain} {_canopy_words(value)}".strip(), correction_words(found, value)]


def _prior_share(found: Material) -> str:
    """How much of what is known of a parameter comes from its prior, at most."""
    shares = found.table("signal_model")["prior_share"].dropna() if "prior_share" in found.table("signal_model") else []
    return f", and supply at most {percent(float(max(shares)))} of what is known of a parameter" if len(shares) else ""


def _canopy_words(value: dict) -> str:
    if "canopy_db_per_m" not in value:
        return "Loss in vegetation was not modelled; where beacons stood in it, it is part of the scatter."
    return f"Loss in vegetation was computed from canopy heights along the straight way between tag and receiver, in the form of ITU-R P.833-9, with {value['canopy_db_per_m']:.2g} dB per metre at first, as fitted on beacons."


def correction_words(found: Material, value: dict) -> str:
    """What was corrected of clocks and azimuths, by which rule. value : of the signal model's parameters."""
    lags = found.table("clock_lags")
    taken = lags[lags["applied_s"] != 0] if len(lags) else lags
    said = (f"Receiver clock against positions: {listed(_lag(row) for row in taken.itertuples())} was found on beacons and taken out." if len(taken)
            else "No clear lag between receiver clock and positions was found on beacons." if len(lags) else "Without beacons nothing tests the receiver's clock.")
    if len(lags):
        said += " A lag corrects all records of a flight by whole seconds, or not at all, and its error is not carried further; it is therefore made only from three standard errors and a gain of four units of log-posterior on."
    bias, error = value.get("azimuth_bias_deg"), {row.parameter: row.standard_error for row in found.table("signal_model").itertuples()}.get("azimuth_bias_deg")
    turned = ""
    if bias is not None and error is not None:
        turned = (f" The direction of the antenna against the azimuth in the log is a parameter of the signal model: its estimate, {abs(bias):.1f} degrees {'clockwise' if bias > 0 else 'counter-clockwise'} "
                  f"(standard error {error:.1f}), enters every fix with its error, whatever its size, so that no rule decides on it.")
    return f"{said}{turned}{_left_in_words(found)}"


def _lag(row) -> str:
    return f"a lag of {row.applied_s:g} s in flight {row.flight_id} (estimate {row.lag_s:.1f} s, standard error {row.standard_error_s:.1f} s, {abs(row.lag_s) / row.standard_error_s:.1f} standard errors)"


def _left_in_words(found: Material) -> str:
    """What was looked for within flights and is not taken out."""
    looked, messages = found.table("instruments"), found.table("messages")
    if not len(looked) or looked[["drift_s", "azimuth_lag_s"]].isna().all(axis=None):
        return ""
    counts = [(name, int((messages["code"] == code).sum()) if len(messages) else 0) for name, code in (("a drift", "clock-drift"), ("an azimuth lag", "azimuth-lag"))]
    clear = [f"{name} in {counted(count, 'flight')}" for name, count in counts if count]
    return (" A drift of the clock within a flight and a lag of the azimuths behind the positions were looked for on beacons, clear from three standard errors on; "
            + (f"{listed(clear)} was clear, and the model does not hold it." if clear else "neither was clear, and the model holds neither."))


def location(found: Material) -> list[str]:
    """Prior, likelihood, grid, averaging, and what had to be met for a position."""
    settings, gates = found.survey.localisation, found.survey.localisation.gates
    walk = (f"An animal was allowed to walk {settings.walk_m:g} m (root mean square) during a flight." if settings.walk_m else f"An animal was taken to stay during a flight. {walking(found)}")
    return [
        "Each tag was located in each flight on its own. The prior was flat over the ground looked at. The likelihood of a place is that of all records of the tag in the flight, heard and not heard, in order along the track: shadowing and "
        "tag power are carried as two correlated normal unknowns and integrated out, records not heard by matching mean and variance (Rasmussen & Williams 2006). Records that share their shadowing thereby count for less than their number. "
        f"{walk}{_by_hand_words(found)}",
        computing(found),
        f"A position was stated only where at least {gates.records_heard} records were heard, worth at least {gates.effective_records:g} independent ones (their number squared over the sum of their correlations), on at least {gates.passes} passes (runs of heard records with three silent ones or more between them) or from directions that spread over at least "
        f"{gates.bearing_spread_deg:g} degrees, and the radius round the middle of the region that holds 95 % was at most {gates.radius_95_m:g} m: our choice. Where one place held at least {gates.main_place:g} of the probability, the position is "
        "the mean of the posterior before widening, and its stated radius is the one round that; where none did, it is the middle of the likeliest place (several places), the radius that holds 95 % round it may be larger, and the tests of movement weigh all its places. Otherwise the region alone was stated. "
        f"What became of each search is counted{found.cite('statuses') or ' in fixes.csv'}.",
    ]


def computing(found: Material) -> str:
    """Extent and cells of the grid, models averaged over, points drawn: the numbers that the computation was run with."""
    fine, margin_m = Fineness(), found.survey.localisation.search_margin_m
    (first_m, _), (near_m, far_m) = search_margins_m(0.0), search_margins_m(float("inf"))
    extent = (f"with a margin of {margin_m:,.0f} m" if margin_m is not None else
              f"with a margin of as far as a strong tag (two standard deviations above the mean power) is heard, {first_m:,.0f} to {near_m:,.0f} m at first, doubled up to {far_m:,.0f} m while probability lay at its edge")
    cells = found.cells_m
    sides = f" In {counted(len(cells), 'fix', 'fixes')}, those of beacons included, the sides of the cells came to {two_figures(cells.min())} to {two_figures(cells.max())} m, {two_figures(cells.median())} m at the median." if len(cells) else ""
    drawn = len(found.models.get("drawn", ()))
    averaged = (f" The posterior was averaged over {drawn} signal models that stand for the uncertainty of the fit, in pairs on both sides of its mean (cubature points; Arasaratnam & Haykin 2009), worked out in one of four cells of the last grid and interpolated between." if drawn else "")
    return (f"Ground looked at was the rectangle round the track of the flight {extent}. The grid began with about {fine.coarse_cells:,d} square cells on it; cells with probability were halved until the 95 % region held {fine.cells_in_region} cells or more, "
            f"none below {fine.finest_m:g} m, at most {fine.most_cells:,d} kept.{sides}{averaged} For the tests of movement {DRAWS} places were drawn from each posterior.")


def _by_hand_words(found: Material) -> str:
    taken = found.table("hand_evidence")
    if not len(taken) or not taken["used"].astype(bool).any():
        return ""
    kinds = taken.loc[taken["used"].astype(bool), "kind"].value_counts()
    counts = listed(f"{number_word(int(count))} {kind}{'s' if count > 1 else ''}" for kind, count in sorted(kinds.items()))
    return f" Bearings taken by hand and sightings had during a flight entered its fixes with their own errors, as the observer stated them (von Mises and normal; Mardia 1972): {counts} were used, in flights or in fixes of their own{found.cite('hand_evidence')}."
