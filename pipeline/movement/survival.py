"""Survival over the animals of a campaign: Kaplan-Meier with staggered entry, and the two extreme curves for tags whose fate is not known."""

from __future__ import annotations

import numpy as np
import pandas as pd
from statsmodels.duration.survfunc import SurvfuncRight

from pipeline.columns import conform

FEWEST_ANIMALS = 20

LIVES = {
    "tag_id": "text",
    "animal_id": "text",
    "entry_utc": "time",              # deployed
    "last_certain_utc": "time",       # last certain life; entry when there is none
    "end_utc": "time",                # where it leaves the curve
    "dead_by_utc": "time",            # if it died, it was dead by then: first mortality rate, else the campaign's end
    "flights_silent_since": "int",    # that listened to it after the last one that heard it, and did not hear it
    "ends": "text",                   # alive | dead | tag dropped | mortality rate, not confirmed | lost | not entered
    "reason": "text",
}

SURVIVAL = {
    "days": "float",                  # since the first tag was deployed
    "date_utc": "time",
    "at_risk": "int",
    "deaths": "int",
    "survival": "float",              # of confirmed deaths; lost tags leave at their last certain life
    "survival_low": "float",          # 95 % interval
    "survival_high": "float",
    "if_lost_alive": "float",         # all tags of unknown fate alive to the end
    "if_lost_dead": "float",          # all of them dead, in the middle between their last certain life and the first mortality rate, or the end
}

ENDS = {"Confirmed dead": "dead", "Confirmed dropped tag": "tag dropped", "Retrieve": "mortality rate, not confirmed", "Check soon": "mortality rate, not confirmed",
        "Live mode heard": "alive"}
UNKNOWN = ("lost", "mortality rate, not confirmed")


def lives_table(tags, judged, campaign_end_utc, *, silent_from):
    """When each animal entered, when it was last certain to live, and how it left.

    Parameters
    ----------
    tags : DataFrame with the columns of TAGS
    judged : DataFrame with tag_id, class, last_live_utc, first_mortality_utc, flights_silent_since, as of fate.triage
    campaign_end_utc : Timestamp
    silent_from : int
        An animal heard alive that so many flights or more have listened for since without hearing it is of unknown fate.

    Returns
    -------
    DataFrame with the columns of LIVES. A death is put in the middle between the last certain life and the first mortality rate, or the campaign's end.
    """
    known = judged.set_index("tag_id").to_dict("index")
    animals = tags[tags["role"].fillna("").isin(["animal", ""])].sort_values("tag_id", kind="stable")
    return conform(pd.DataFrame([_life(tag, known.get(tag["tag_id"], {}), campaign_end_utc, silent_from) for tag in animals.to_dict("records")], columns=list(LIVES)), LIVES)


def survival_table(lives, campaign_end_utc):
    """Kaplan-Meier curve with staggered entry and its two extremes, or why there is none.

    Parameters
    ----------
    lives : DataFrame of lives_table
    campaign_end_utc : Timestamp

    Returns
    -------
    (DataFrame with the columns of SURVIVAL, reason). The table is empty when the reason is not "". Animals are at risk from their deployment on.

    References
    ----------
    E. L. Kaplan & P. Meier, J. Am. Stat. Assoc. 53:457 (1958); K. H. Pollock et al., J. Wildl. Manage. 53:7 (1989) for staggered entry,
    which is the left truncation of J. P. Klein & M. L. Moeschberger, Survival analysis, 2nd ed. (2003).
    """
    entered = lives[lives["ends"] != "not entered"]
    if len(entered) < FEWEST_ANIMALS:
        return conform(pd.DataFrame(columns=list(SURVIVAL)), SURVIVAL), f"{len(entered)} animals with a date of deployment; {FEWEST_ANIMALS} are needed for a survival curve."
    start = entered["entry_utc"].min()
    entry, end, last = (_days(entered[name], start) for name in ("entry_utc", "end_utc", "last_certain_utc"))
    final = (campaign_end_utc - start).total_seconds() / 86400
    dead, unknown = (entered["ends"] == "dead").to_numpy(), entered["ends"].isin(UNKNOWN).to_numpy()
    lost_dead = last + (_days(entered["dead_by_utc"], start) - last) / 2
    moments = np.unique(np.concatenate([end[dead], lost_dead[unknown]]))
    moments = moments if len(moments) else end[:1] * 0 + end.min()
    main = kaplan_meier(entry, end, dead, moments)
    alive = kaplan_meier(entry, np.where(unknown, final, end), dead, moments)["survival"]
    lost = kaplan_meier(entry, np.where(unknown, lost_dead, end), dead | unknown, moments)["survival"]
    table = main.assign(date_utc=start + pd.to_timedelta(moments, unit="D"), if_lost_alive=alive, if_lost_dead=lost)
    return conform(table[list(SURVIVAL)], SURVIVAL), ""


def kaplan_meier(entry, end, dead, moments):
    """Survival at moments with its 95 % interval (log-minus-log, Greenwood's variance).

    Parameters
    ----------
    entry, end : arrays of shape (n,), at risk after entry and up to end; dead : flags, shape (n,). moments : array of shape (k,), rising.

    Returns
    -------
    DataFrame days, at_risk, deaths, survival, survival_low, survival_high. Where the survival is 1 (before the first death) or 0 it has no interval.
    """
    entry, end, dead, moments = (np.asarray(values) for values in (entry, end, dead, moments))
    lived = end > entry
    entry, end, dead = entry[lived], end[lived], dead[lived]
    at_risk = [int(((entry < moment) & (end >= moment)).sum()) for moment in moments]
    deaths = [int((dead & (end <= moment)).sum()) for moment in moments]
    if not dead.any():
        return pd.DataFrame({"days": moments, "at_risk": at_risk, "deaths": deaths, "survival": 1.0, "survival_low": np.nan, "survival_high": np.nan})
    curve = SurvfuncRight(end, dead.astype(int), entry=entry)
    place = np.searchsorted(curve.surv_times, moments, side="right") - 1
    value = np.where(place >= 0, curve.surv_prob[place], 1.0)
    error = np.where(place >= 0, curve.surv_prob_se[place], np.nan)
    inner = (value > 0) & (value < 1)
    shift = np.exp(1.959964 * np.divide(error, value * np.log(value, where=inner, out=np.full(len(value), np.nan)), where=inner, out=np.full(len(value), np.nan)))
    return pd.DataFrame({"days": moments, "at_risk": at_risk, "deaths": deaths, "survival": value,
                         "survival_low": np.where(inner, value ** (1 / shift), np.nan), "survival_high": np.where(inner, value ** shift, np.nan)})


def _life(tag, judged, campaign_end_utc, silent_from):
    silent = judged.get("flights_silent_since", 0)
    row = {"tag_id": tag["tag_id"], "animal_id": tag.get("animal_id"), "entry_utc": tag.get("deployed_utc"), "flights_silent_since": silent}
    if pd.isna(row["entry_utc"]) or row["entry_utc"] >= campaign_end_utc:
        return row | {"ends": "not entered", "reason": "No date of deployment before the end of the campaign."}
    ends = ENDS.get(judged.get("class"), "lost")
    ends = "lost" if ends == "alive" and silent >= silent_from else ends
    last = judged.get("last_live_utc")
    last = row["entry_utc"] if last is None or pd.isna(last) else max(last, row["entry_utc"])
    first_dead = judged.get("first_mortality_utc")
    latest = campaign_end_utc if first_dead is None or pd.isna(first_dead) or first_dead < last else first_dead
    end = last + (latest - last) / 2 if ends == "dead" else last
    return row | {"last_certain_utc": last, "end_utc": end, "dead_by_utc": latest, "ends": ends, "reason": _why(ends, last, latest, silent if silent >= silent_from else 0)}


def _why(ends, last, latest, silent):
    return {"dead": f"Dead between {last:%Y-%m-%d} and {latest:%Y-%m-%d}.", "alive": f"Last certain life on {last:%Y-%m-%d}.",
            "tag dropped": f"Followed up to {last:%Y-%m-%d}, then the tag dropped.",
            "lost": f"Fate not known after {last:%Y-%m-%d}{f': {silent} later flights listened for it and did not hear it' if silent else ''}."}.get(ends, f"Mortality rate heard, death not confirmed; last certain life on {last:%Y-%m-%d}.")


def _days(times, start):
    return (times - start).dt.total_seconds().to_numpy(float) / 86400
