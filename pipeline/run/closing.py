"""The last section of every report, "What this run used", as HTML that needs nothing from outside."""

from __future__ import annotations

from html import escape

from pipeline.run.plan import Stage
from pipeline.run.provenance import Facts, revision_text

# As in the tables of the reports: longer heads of rows may be broken into lines.
_LONG_NAME = 24


def closing_section(facts: Facts, stages: list[Stage], present: Stage, *, durations_s: dict[str, float],
                    changed: list[tuple[str, int]] | None) -> str:
    """The section as HTML, from its h2 on.

    present : the stage whose report it closes. durations_s : of the stages done so far.
    changed : rule of intake and number of rows it changed, marked or left out; None when that is not known yet.
    """
    parts = [
        '<h2 id="what-this-run-used">What this run used</h2>',
        _stages_drawing(facts, stages, present, durations_s),
        _table("inputs", "Inputs, with the first 16 digits of their SHA-256", ("file", "kB", "SHA-256"),
               [(name, f"{found['bytes'] / 1000:,.1f}", found["sha256"][:16]) for name, found in facts.inputs.items()], figures={1}),
        _changed_rows(changed),
        _table("times", "Time taken by the stages up to this one", ("stage", "seconds"),
               [(stage.label, f"{durations_s[stage.name]:.1f}") for stage in stages if stage.name in durations_s], figures={1}),
        f"<p>Code revision: {escape(revision_text(facts.revision))}. Platform: {escape(facts.platform)}. "
        f"Seed: {escape(str(facts.seed))}. Started {escape(facts.started_utc)}. All of this is also in run.json.</p>",
        _folded("Versions of the packages", _table(
            "packages", "Packages", ("package", "version"), [item for item in facts.packages.items() if item[0] != "python"])),
        _folded("The survey file as it was used", f'<pre tabindex="0">{escape(facts.config_text)}</pre>'),
        _folded("Every setting with its value, defaults filled in", _table("settings", "Settings", ("setting", "value"), list(_flat(facts.config)))),
    ]
    return '<section class="closing">\n' + "\n".join(part for part in parts if part) + "\n</section>\n"


def _changed_rows(changed: list[tuple[str, int]] | None) -> str:
    if changed is None:
        return ""
    if not changed:
        return "<p>No row of any input was changed, marked or left out on reading.</p>"
    return _table("rows", "Rows changed, marked or left out on reading, by rule", ("rule", "rows"),
                  [(rule, f"{rows:,d}") for rule, rows in changed], figures={1})


def _table(name: str, caption: str, heads: tuple[str, ...], rows: list[tuple], figures: set[int] = frozenset()) -> str:
    """A table: first column as row heads, the columns numbered in `figures` set to the right. name : for its element id."""
    def cell(position: int, value) -> str:
        long = ' class="long-name"' if len(str(value)) > _LONG_NAME else ""
        tag = f'th scope="row"{long}' if position == 0 else f"td{_figure_class(position, figures)}"
        return f"<{tag}>{escape(str(value))}</{tag[:2]}>"

    caption_id = f"used-{name}"
    head = "".join(f'<th scope="col"{_figure_class(position, figures)}>{escape(text)}</th>' for position, text in enumerate(heads))
    body = "".join("<tr>" + "".join(cell(position, value) for position, value in enumerate(row)) + "</tr>\n" for row in rows)
    return (f'<figure class="table"><figcaption id="{caption_id}">{escape(caption)}</figcaption>'
            f'<div class="table-scroll" role="region" tabindex="0" aria-labelledby="{caption_id}"><table aria-labelledby="{caption_id}">\n'
            f"<thead><tr>{head}</tr></thead>\n<tbody>\n{body}</tbody></table></div></figure>")


def _figure_class(position: int, figures: set[int]) -> str:
    return ' class="figure-cell"' if position in figures else ""


def _folded(summary: str, content: str) -> str:
    return f"<details><summary>{escape(summary)}</summary>\n{content}\n</details>"


def _flat(settings: dict, before: str = ""):
    """Nested settings as rows ("receiver_log.time_zone", "UTC")."""
    for name, value in settings.items():
        if isinstance(value, dict) and value:
            yield from _flat(value, f"{before}{name}.")
        else:
            text = ", ".join(map(str, value)) if isinstance(value, list) else value
            yield f"{before}{name}", "" if text is None else str(text).lower() if isinstance(text, bool) else str(text)


# The drawing: inputs, then one box a stage, the present one with a heavy edge

_BOX_WIDTH, _BOX_HEIGHT, _GAP = 176, 54, 26


def _stages_drawing(facts: Facts, stages: list[Stage], present: Stage, durations_s: dict[str, float]) -> str:
    boxes = [(f"{len(facts.inputs)} input file{'' if len(facts.inputs) == 1 else 's'}", facts.survey_file, False)]
    for stage in stages:
        note = f"{durations_s[stage.name]:.1f} s" if stage.name in durations_s else "after this report"
        boxes.append((stage.label, note, stage == present))
    per_row = 2  # narrow enough for a telephone
    rows = -(-len(boxes) // per_row)
    width, height = per_row * (_BOX_WIDTH + _GAP), rows * (_BOX_HEIGHT + _GAP)
    drawn = "".join(_box(position, per_row, *box) for position, box in enumerate(boxes))
    arrows = "".join(_arrow(position, per_row) for position in range(len(boxes) - 1))
    told = "; then ".join(f"{name} ({note})" for name, note, _ in boxes)
    return (f'<svg class="stages" viewBox="0 0 {width} {height}" width="{width}" height="{height}" style="max-width:100%;height:auto" role="img" '
            f'aria-label="The stages of this run" aria-describedby="stages-told" font-family="inherit" font-size="13">'
            f'<title>The stages of this run</title><desc id="stages-told">{escape(told)}.</desc>{arrows}{drawn}</svg>')


def _corner(position: int, per_row: int) -> tuple[int, int]:
    row, place = divmod(position, per_row)
    return 2 + place * (_BOX_WIDTH + _GAP), 2 + row * (_BOX_HEIGHT + _GAP)


def _box(position: int, per_row: int, name: str, note: str, is_present: bool) -> str:
    left, top = _corner(position, per_row)
    edge = 'stroke-width="3"' if is_present else 'stroke-width="1"'
    return (f'<rect x="{left}" y="{top}" width="{_BOX_WIDTH}" height="{_BOX_HEIGHT}" rx="4" fill="none" stroke="currentColor" {edge}/>'
            f'<text x="{left + 10}" y="{top + 23}" fill="currentColor">{escape(name)}</text>'
            f'<text x="{left + 10}" y="{top + 42}" fill="currentColor">{escape(note)}</text>')


def _arrow(position: int, per_row: int) -> str:
    (left, top), (next_left, next_top) = _corner(position, per_row), _corner(position + 1, per_row)
    middle = top + _BOX_HEIGHT // 2
    if next_top == top:
        path = f"M{left + _BOX_WIDTH} {middle}H{next_left - 2}m-6 -4l6 4l-6 4"
    else:  # to the start of the next row, between the rows
        between = next_top - _GAP // 2
        path = (f"M{left + _BOX_WIDTH // 2} {top + _BOX_HEIGHT}V{between}H{next_left + _BOX_WIDTH // 2}V{next_top - 2}"
                "m-4 -6l4 6l4 -6")
    return f'<path d="{path}" fill="none" stroke="currentColor"/>'
