"""docs/accuracy.md with its figure, made from the measured tables: `python -m tests.benchmarks.document`.

Reads tests/benchmarks/accuracy.csv, terrain.csv and field.csv; writes docs/accuracy.md, accuracy.svg and accuracy.png. Every number in the
document comes from these files; a test compares.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, NullFormatter, NullLocator

from pipeline.figures.style import LIGHT, SHAPES, figure_as_png, figure_as_svg, in_style, new_figure, settle
from pipeline.wording import listed
from tests.benchmarks import accuracy, field, terrain

DOCS = Path(__file__).resolve().parents[2] / "docs"
# column of accuracy.csv -> (words, colour, shape, filled), in the order of the table and the legend
MEDIANS = {
    "median_ours_m": ("our fixes", "fix", "diamond", True), "median_true_parameters_m": ("true parameters", "ink", "hexagon", False),
    "median_least_squares_m": ("least squares", "heard", "triangle", True), "median_centroid_m": ("power-weighted centroid", "beacon", "square", True),
    "median_strongest_m": ("strongest record", "fetch", "cross", True), "median_bound_m": ("bound", "silent", "bar", True),
}
HELD = {"held_50": (0.5, "triangle", "heard"), "held_80": (0.8, "square", "beacon"), "held_95": (0.95, "diamond", "fix")}
FIELD_METHODS = {"ours": "our fixes", "least_squares": "least squares", "centroid": "power-weighted centroid", "strongest": "strongest record"}


@in_style()
def draw(worlds: pd.DataFrame) -> Figure:
    """Median errors of every method and the share held by the regions, one line of marks for each world.

    worlds : rows of accuracy.csv.
    """
    figure, (errors, held) = new_figure(1, 2, height_in=3.3, width_ratios=[1.7, 1], sharey=True)
    at = range(len(worlds))
    for column, (words, colour, shape, filled) in MEDIANS.items():
        mark = "|" if shape == "bar" else SHAPES[shape].as_matplotlib()
        # The open mark is the larger one, so that it is seen where both agree.
        errors.plot(worlds[column], at, linestyle="", marker=mark, markersize=7 if filled and shape != "bar" else 11, color=LIGHT[colour],
                    markerfacecolor=LIGHT[colour] if filled else "none", markeredgewidth=1.8 if shape == "bar" else 1.2, label=words)
    errors.set_xscale("log")
    errors.xaxis.set_major_locator(FixedLocator([20, 30, 50, 70, 100, 150, 200, 300, 500, 700, 1000]))
    errors.xaxis.set_minor_locator(NullLocator())
    errors.xaxis.set_major_formatter("{x:.0f}")
    errors.xaxis.set_minor_formatter(NullFormatter())
    errors.set(xlabel="median error (m, logarithmic)", yticks=at, yticklabels=worlds["world"], ylim=(len(worlds) - 0.5, -0.5))
    for column, (nominal, shape, colour) in HELD.items():
        held.axvline(nominal, color=LIGHT["ink"], linewidth=0.8, linestyle=":")
        held.plot(worlds[column], at, linestyle="", marker=SHAPES[shape].as_matplotlib(), markersize=7, color=LIGHT[colour], label=f"{100 * nominal:.0f} %")
    held.set(xlabel="share of truths held by the region", xlim=(min(0.44, worlds[list(HELD)].to_numpy().min()) - 0.06, 1.02), xticks=[0.5, 0.8, 0.95])
    for axes, title in ((errors, "Errors"), (held, "Regions")):
        axes.set_title(title)
        axes.tick_params(axis="y", length=0)
        axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.1), ncols=3, columnspacing=1.0, handletextpad=0.3)
    return figure


def alt_text(worlds: pd.DataFrame) -> str:
    """The finding of the figure, to a reader who cannot see it."""
    return (f"Marks for {len(worlds)} worlds. Median errors: our fixes {_range(worlds['median_ours_m'])} m, close to those under the true parameters ({_range(worlds['median_true_parameters_m'])} m); "
            f"power-weighted centroid {_range(worlds['median_centroid_m'])} m, strongest record {_range(worlds['median_strongest_m'])} m, least squares {_range(worlds['median_least_squares_m'])} m. "
            f"Regions of 50, 80 and 95 % held {_shares(worlds['held_50'])}, {_shares(worlds['held_80'])} and {_shares(worlds['held_95'])} of the truths.")


def _range(values: pd.Series) -> str:
    return f"{values.min():.0f} to {values.max():.0f}"


def _shares(values: pd.Series) -> str:
    return f"{values.min():.2f} to {values.max():.2f}"


def markdown_table(heads: list[str], rows: list[list[str]]) -> str:
    """A table in Markdown; the first column is text, the others figures."""
    lines = [heads, ["---", *["---:"] * (len(heads) - 1)], *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def worlds_tables(worlds: pd.DataFrame) -> tuple[str, str]:
    """(median errors, what the regions held) of every world."""
    medians = markdown_table(["world", "fixes", *(words for words, *_ in MEDIANS.values())],
                             [[row["world"], f"{row['fixes']:d}", *(f"{row[column]:.0f}" for column in MEDIANS)] for _, row in worlds.iterrows()])
    regions = markdown_table(["world", "50 % regions", "80 % regions", "95 % regions", "95 % under the true parameters", "area to that under the true parameters"],
                             [[row["world"], *(f"{row[column]:.2f}" for column in (*HELD, "held_95_true_parameters", "region_to_true_parameters"))] for _, row in worlds.iterrows()])
    return medians, regions


def terrain_table(ways: pd.DataFrame) -> str:
    """What a terrain model is worth at each height of flight. ways : rows of terrain.csv."""
    return markdown_table(["hills", "flown at", "fixes", "median error", "to that without", "95 % held", "median 95 % region", "share believed"],
                          [[row["way"], f"{row['flown_m']:.0f} m", f"{row['fixes']:d}", f"{row['median_m']:.0f} m", f"{row['to_without']:.2f}", f"{row['held_95']:d} of {row['fixes']:d}", f"{row['median_region_95_ha']:.2g} ha",
                            f"{row['terrain_share']:.2f}"] for _, row in ways.iterrows()])


def terrain_finding(ways: pd.DataFrame) -> str:
    """What the terrain model takes off the median error, and what there is to take off at all. ways : rows of terrain.csv."""
    off = {(row["flown_m"], row["way"]): f"{100 * (1 - row['to_without']):.0f} %" for _, row in ways.iterrows()}
    said = [f"flown at {height_m:.0f} m, {off[height_m, 'with the terrain model']} of the {off[height_m, terrain.AT_BEST]} that the true parameters and the true loss would take off"
            for height_m in ways["flown_m"].drop_duplicates()]
    return f"The terrain model takes off the median error: {'; '.join(said)}. No analysis of the same flights can take off more than the latter on average."


def field_tables(roles: pd.DataFrame) -> tuple[str, str, str]:
    """(errors of every method, what the regions held, aims) for each role and together."""
    errors = markdown_table(["method", *(f"{row['role']}: median" if what == "median" else f"{row['role']}: 90 % within" for _, row in roles.iterrows() for what in ("median", "p90"))],
                            [[words, *(f"{row[f'{what}_{method}_m']:.0f}" for _, row in roles.iterrows() for what in ("median", "p90"))] for method, words in FIELD_METHODS.items()])
    regions = markdown_table(["role", "cases", "50 % held", "80 % held", "95 % held", "median 95 % region"],
                             [[row["role"], f"{row['cases']:d}", *(f"{row[column]:d} of {row['cases']:d}" for column in HELD), f"{row['median_region_95_ha']:.3g} ha"] for _, row in roles.iterrows()])
    aims = [field.aims_reached(row) for _, row in roles.iterrows()]
    reached = markdown_table(["aim", "bound", *roles["role"]],
                             [[lines[0][0], f"{lines[0][1]:g}", *(f"{value:.3g}: {'reached' if yes else 'not reached'}" for _, _, value, yes in lines)] for lines in zip(*aims)])
    return errors, regions, reached


def field_finding(roles: pd.DataFrame) -> str:
    """What both roles together say of our fixes and of the best of the methods by hand, for better or worse."""
    row = roles.set_index("role").loc[field.TOGETHER]
    best = min(field.BY_HAND, key=lambda method: row[f"median_{method}_m"])
    than = "farther off" if row["median_ours_m"] > row[f"median_{best}_m"] else "nearer"
    return (f"Taken together, half of our errors are below {row['median_ours_m']:.0f} m and nine in ten below {row['p90_ours_m']:.0f} m. Of the methods by hand {FIELD_METHODS[best]} does best, with {row[f'median_{best}_m']:.0f} m and "
            f"{row[f'p90_{best}_m']:.0f} m: at the median our fixes are {than}. None of them gives a region.")


def text(worlds: pd.DataFrame, ways: pd.DataFrame, roles: pd.DataFrame) -> str:
    """The document."""
    medians, held = worlds_tables(worlds)
    errors, regions, aims = field_tables(roles)
    low, lowest = worlds["held_95"].min(), worlds.loc[worlds["held_95"] == worlds["held_95"].min(), "world"]
    return f"""# Accuracy

Made by `python -m tests.benchmarks.document` from the tables that `python -m tests.benchmarks.accuracy`, `python -m tests.benchmarks.terrain` and `python -m tests.benchmarks.field` measured. Do not edit it by hand.

## In worlds with known truth

[![{alt_text(worlds)}](accuracy.png)](accuracy.svg)

Our fixes are {worlds['to_true_parameters'].min():.2f} to {worlds['to_true_parameters'].max():.2f} times as far off as fixes of the same posterior under the true parameters, {worlds['to_strongest'].min():.2f} to {worlds['to_strongest'].max():.2f} times
as far as the strongest record and {worlds['to_centroid'].min():.2f} to {worlds['to_centroid'].max():.2f} times as far as the power-weighted centroid. The 95 % regions held {_shares(worlds['held_95'])} of the truths, fewest ({low:.2f}) in the world {listed(f'"{name}"' for name in lowest)}.

Median error in metres:

{medians}

Share of truths held:

{held}

- **World**: what its name says sets a world apart from "matched", in which the strengths follow the signal model. Each has a scouting loop and lines in two directions over a square of 2.5 km, 20 animals and 10 beacons unless the name says otherwise, in several campaigns.
- **Fixes**: animals and flights with at least three heard records. Those of one campaign share beacons and model, so that they are not independent: read the second decimal of a share with care.
- **Our fixes**: the posterior mean, with a signal model fitted on that campaign's beacons.
- **True parameters**: the same posterior with the numbers of the signal model that made the strengths, and no widening.
- **Least squares**: on the log-distance law with exponent 2.5, power and place free, over the heard records.
- **Power-weighted centroid**: mean of the positions where the tag was heard, weighted by received power.
- **Strongest record**: where the receiver was when it heard most.
- **Bound**: root of the trace of the inverse Fisher information of the heard records; it is a bound on the root mean square error of an unbiased estimate, and a median error may lie below it.

## What a terrain model is worth

In a simulated valley of 300 m relief with ten beacons, located with the terrain model, without it, and with it shifted by 200 m to the east and the north as a wrong one; and by the posterior under the true parameters with the loss as it was simulated. The lower the drone, the more the hills take. "Share believed" is how much of the computed loss the beacons let the analysis believe.

{terrain_finding(ways)}

{terrain_table(ways)}

## On real measurements

Twenty-four fixed radios at surveyed sites, a radio carried over a hilly campus with buildings, at ground level and without an antenna pattern: harder than what the method is meant for. Thirteen radios are beacons and eleven unknown, then the roles are swapped. Counted are walks and unknown radios inside the box of the walk. The measurements are not part of the project
(University of Utah, FRS localisation data set, Zenodo record 10962857, MIT licence).

{field_finding(roles)}

Errors in metres:

{errors}

Regions of our fixes:

{regions}

Aims set beforehand, and what is reached:

{aims}
"""


def main() -> None:
    worlds, ways, roles = (pd.read_csv(measured.RESULT) for measured in (accuracy, terrain, field))
    figure = draw(worlds)
    settle(figure)
    DOCS.mkdir(exist_ok=True)
    (DOCS / "accuracy.svg").write_text(figure_as_svg(figure), encoding="utf-8", newline="\n")
    (DOCS / "accuracy.png").write_bytes(figure_as_png(figure))
    (DOCS / "accuracy.md").write_text(text(worlds, ways, roles), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
