"""The sentences of the movement report on the errors that it rests on, how movement was tested, and what that does not mean."""

from __future__ import annotations

import pandas as pd

from pipeline.movement import unmoved_step_m
from pipeline.stages.movement_words import tested_steps
from pipeline.wording import counted, two_figures


def errors_caption(tables) -> str:
    beacons = " Beacons were located by models that had not seen their own data." if tables.errors["of"].notna().any() else ""
    return f"Errors of the fixes that movement rests on.{beacons}"


def inside(errors) -> list:
    """"51 of 54", for the rows that have a truth."""
    return [None if pd.isna(of) else f"{held} of {of}" for held, of in zip(errors["inside"], errors["of"])]


def errors_heading(errors) -> str:
    used = errors.iloc[0]
    if not used["count"]:
        return "No position was good enough to be used"
    return f"The {used['count']} positions used have a 95 % radius of {two_figures(used['median_m'])} m in the median"


def errors_paragraphs(errors) -> list[str]:
    truth = errors[errors["of"].notna()]
    if not len(truth):
        return ["There are no beacons to test these radii on; they are what the model itself states."]
    row = truth.iloc[0]
    mean, high = unmoved_step_m(row["median_m"])
    return [f"The stated 95 % regions held {row['inside']} of {row['of']} beacon positions that the model had not seen. With errors like the beacons' (median "
            f"{two_figures(row['median_m'])} m) an animal that never moves seems to step {two_figures(mean)} m on average, and more than {two_figures(high)} m once in twenty."]


def tails_sentence(tails) -> str:
    """On what the small p-values rest."""
    if tails.levels < 10:
        return (f"Beyond the 95 % regions errors are taken as normal: {counted(tails.levels, 'held-out beacon fix', 'held-out beacon fixes')} cannot show more. With heavier tails, more animals that "
                "stayed would be called moved.")
    return (f"How far errors reach beyond the 95 % regions was taken from {tails.levels} held-out beacon fixes: normal tails have a weight of {tails.weights[0]:.2f}, heavier ones (Student t) the rest. "
            "That makes small p-values larger and the detectable movements longer.")


def limits(tables) -> list[str]:
    """Methods and limits."""
    return [
        "The test of a step asks whether the errors of two positions alone could make the distance between them: how much of the distribution of the displacement, from the calibrated posteriors of both flights, "
        "is less likely than no displacement at all; by chi-square with 2 degrees of freedom on D'(S1 + S2)⁻¹D where both regions together look normal, on a grid with the shape they have otherwise. P-values are "
        f"adjusted by Holm's rule over all {counted(len(tested_steps(tables)), 'step')} of the campaign, so that a campaign in which nothing moves names a mover at most once in "
        f"{1 / tables.significance:.0f} times, as far as the errors are what their regions say. {tails_sentence(tables.tails)}",
        "The 95 % interval of a distance goes from the shortest displacement inside the 95 % region to the 97.5 % point of the distance between draws. Errors of two flights "
        f"are taken as independent; a bias that both share cancels, which makes the test cautious. {tables.shared.reason}",
        "Extents and areas come from the true places behind the positions: each position is drawn from its region again, weighted by where the animal's places lie as a whole, so that errors are "
        "counted once and not twice. Intervals hold location error and number of positions; places close in time that are alike hold less than their number says. The extent of fixes is given from "
        "5 positions on, areas of ranges from 10, as sketches below 30; neither where location error is more than half the scatter of the places, and areas of ranges not where it may well be. Where the positions may lie on a line (their distances from their longest axis, squared and over the error variances, "
        "against chi-square with two degrees of freedom fewer than positions, at the level 0.05) the intervals of extent and areas begin at 0.",
        "Tracks take the animal to walk at random between its positions, with the regions of all places as they are; the rate of the walk is found for each animal by itself and not from fewer than 5 positions.",
        "Not given, because so few positions with such errors do not support it: core areas, daily distances or speeds, turning angles, habitat selection, means of extents over animals"
        + ("." if (tables.ranges["verdict"] == "given").any() else ", home ranges."),
    ]
