"""What was thrown away, what was assumed, permits, and what may leave the office: sentences of the index page."""

from __future__ import annotations

import pandas as pd

from pipeline.location import PLACED
from pipeline.stages.check import unnamed_permits
from pipeline.stages.index_found import Found
from pipeline.wording import counted, listed


def thrown_away(found: Found) -> list[str]:
    """Rows and flights left out by the software, positions withheld, hits not believed."""
    changes = found.changes[found.changes["rows"] > 0] if len(found.changes) else found.changes
    said = [f"{row.rule} ({counted(int(row.rows), 'row')})" for row in changes.itertuples()]
    unfit = int((found.flights["verdict"] != "fit for location").sum())
    rows = f"By rules of the software: {listed(said, most=6)}." if said else "Nothing was changed or left out on reading."
    flights = f"{unfit} of {counted(len(found.flights), 'flight')} {'was' if unfit == 1 else 'were'} not fit for location." if unfit else "Every flight was fit for location."
    return [f"{rows} {flights} No record was dropped for being weak.", " ".join([*_withheld(found.animals), *_disbelieved(found)])]


def _withheld(animals: pd.DataFrame) -> list[str]:
    withheld = int(animals["status"].isin(["area only", "heard once"]).sum())
    if not withheld:
        return []
    return [f"In {withheld} of {counted(len(animals), 'search', 'searches')} for animals, one animal in one flight each, something was heard, but less than the survey file asks of a position (localisation.gates: records heard, passes, "
            "radius), so that none is stated; the regions are kept."]


def _disbelieved(found: Found) -> list[str]:
    doubted = int((found.animals["status"] == "suspect").sum())
    single = f", and on such hits rest{'s' if len(found.single) == 1 else ''} {listed(found.single)}" if found.single else ""
    words = [f"{counted(doubted, 'search', 'searches')} of animals gave hits that are doubted by rule." if doubted else f"No rule of doubt caught a hit of an animal. A single hit may be false all the same{single}."]
    for row in found.false.itertuples():
        placed = found.decoys.loc[found.decoys["status"].isin(PLACED), "tag_id"].nunique()
        listened = f"Of {counted(int(row.decoys), 'decoy')}, known to be switched off, {int(row.decoys_heard) or 'none'} seemed to be heard"
        words.append(f"{listened}, in {int(row.records_heard)} of {int(row.records_listened):,d} usable records that listened to them{_with_unusable(found, int(row.records_listened))}, and {placed or 'none'} got a position." if row.decoys_heard else
                     f"{listened} in {int(row.records_listened):,d} usable records that listened to them{_with_unusable(found, int(row.records_listened))}.")
    return words


def _with_unusable(found: Found, usable: int) -> str:
    """The other count of the same records, which the messages give."""
    every = int(found.tags_heard.loc[found.tags_heard["role"] == "decoy", "records_listened"].sum())
    return f" ({every:,d} with those without a usable position, as the messages count them)" if every > usable else ""


def levels(table: pd.DataFrame) -> str:
    """What beacons say of the level of strengths in each flight; rows of flight_levels."""
    if table.empty:
        return "too few beacons were heard in two flights to test it."
    off = [f"{row.flight_id} read them {abs(row.level_db):.0f} dB {'stronger' if row.level_db > 0 else 'weaker'}" for row in table[table["clear"]].itertuples()]
    if off:
        return f"beacons say that something was changed, since flight {listed(off)} than the other flights did."
    return f"beacons show no clear change; the largest difference of a flight from the others is {table['level_db'].abs().max():.1f} dB."


def assumptions(found: Found) -> str:
    """What rests on what."""
    if found.errors.empty:
        return "All of them: without a beacon heard every radius rests on the priors of the signal model, on the heights and azimuths as logged, and on clocks that agree."
    return ("Clocks were held against the beacons and lags that are clear taken out; a bias of the antenna's azimuth is a parameter of the signal model, clear or not. The report on error calibration lists both. Heights are taken as the survey file says. Every animal is taken to have stayed where it was during a flight, unless the survey file says how far it may walk. "
            f"If the gain was changed between flights, neither strengths nor the threshold of hearing mean the same in each, and positions and ground searched fall together: {levels(found.levels)} "
            "The detection figures fall if animals hide where tags cannot be heard; the fates fall if the register's pulse rates are wrong.")


def permits(found: Found) -> str:
    """Which permits the survey file names."""
    unnamed = unnamed_permits(found.permits)
    gentle = "Whether the work was gentle the logs do not tell: reactions of animals and incidents are to be added by those who were there."
    if not unnamed:
        return f"Permits are named under \"Before you sign\". {gentle}"
    final = " The status says final; it should not, until they are, and a message marked look says so." if found.status == "final" else ""
    return f"Permits not recorded in the survey file: {listed(unnamed)}.{final} Whether the work was legal is for the authority, the licensed pilot and the permit holder to say. {gentle}"


def leaving(found: Found) -> str:
    """Whether the page may be shared."""
    if found.sensitive:
        return "No: exact positions are inside, and a campaign counts as sensitive unless its survey file says otherwise. Generalise to a grid before anything is shared, and never by random shifts. Of people on foot, those who look for a tag take its circle and its printed section, and nothing else."
    return "Exact positions and flight tracks are inside. The survey file does not call them sensitive; ask the permit holder before sharing."
