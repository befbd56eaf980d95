"""The box of cautions that closes every report, and the words for the status of a report."""

from __future__ import annotations

from html import escape

CAUTIONS = (
    ("Flying", "The licensed pilot and the aviation authority decide about every flight: height, line of sight, people and protected airspace. "
     "What a report says of a next flight tells the pilot where information lies; it is no flight plan."),
    ("Handling", "Catching, tagging and handling follow the animal-ethics approval and the wildlife permit, carried out by the people named in them."),
    ("Disturbing", "Launch and land away from animals, stop when they react, and write the reaction down. Birds and nursing animals need the widest berth."),
    ("Retrieving", "A 95 % region is an area to search, not a point. Go in pairs with an agreed time to check in, gloves, and a plan for weather and terrain; "
     "where a crime is suspected, touch nothing and call the authority."),
    ("Publishing", "Exact positions of rare or persecuted animals stay inside the project. Share them only on a coarse grid, after asking the permit holder, "
     "the landowners and the communities whose land it is."),
)

DEFERENCE = "Where this report and a permit, an authority or the licensed pilot disagree, the report gives way."

STATUSES = {
    "draft": "Draft: nobody has checked this yet.",
    "checked": "Checked by a second person.",
    "final": "Final.",
}


def cautions_html() -> str:
    """The cautions as a section of a page."""
    items = "".join(f"<div><dt>{escape(head)}</dt><dd>{escape(text)}</dd></div>" for head, text in CAUTIONS)
    return f'<section class="cautions" aria-labelledby="cautions"><h2 id="cautions">Before anyone acts on this</h2><dl>{items}</dl><p>{escape(DEFERENCE)}</p></section>'
