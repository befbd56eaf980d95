"""What the movement report shows, in the order in which it is read; every heading is made from the results."""

from __future__ import annotations

from pipeline.figures import MapSheet
from pipeline.figures import movement as draw
from pipeline.figures import movement_places as draw_places
from pipeline.report.book import Book
from pipeline.stages import movement_limits_words as rest
from pipeline.stages import movement_space_words as also
from pipeline.stages import movement_words as say
from pipeline.stages.movement_numbers import probability, ratio, time_apart
from pipeline.stages.movement_sheet import movement_sheet
from pipeline.stages.movement_summaries import TABLE_FILES, MovementTables
from pipeline.stages.workspace import Workspace
from pipeline.wording import as_given, rounded_up, two_figures

FIGURE = as_given           # a text cell set like a figure


class MovementReport:
    """The parts of the report, one method a cell."""

    def __init__(self, workspace: Workspace, tables: MovementTables):
        self.workspace = workspace
        self.tables = tables
        self.book = Book(workspace.tables, workspace.figures)

    def answer(self):
        """The paragraph that answers the question of this report."""
        return self.book.answer(*say.answer(self.tables))

    def map(self):
        """Positions and regions by date."""
        sheet: MapSheet = movement_sheet(self.workspace, self.tables)
        return self.book.map("movement-map", sheet, say.map_caption(self.tables))

    def what_moved(self):
        """Which animals moved, net distances and every step."""
        tables = self.tables
        words = self.book.words(say.moved_heading(tables), *say.moved_paragraphs(tables))
        parts = [words]
        net = say.net_frame(tables)
        if len(net):
            parts.append(self.book.figure("net-distance", draw.net_distances(net), say.net_caption(tables), say.net_alt(net)))
        paths = say.path_frame(tables)
        if len(paths):
            parts.append(self.book.figure("paths", draw_places.path_panels(paths), say.path_caption(tables), say.path_alt(paths)))
        return self.book.together(*parts, self._steps())

    def animals(self):
        """What there is to go on for each animal."""
        frame = say.animal_frame(self.tables.summary, self.tables.silent)
        table = self._table("animals", "summary", frame, "Animals: the data of each, and the most that may be said of it.", {
            "tag_id": ("tag", "", "text"), "animal_id": ("animal", "", "text"), "usable_of_total": ("usable fixes", "of all", FIGURE), "first_to_last": ("first – last", "usable fix, UTC", FIGURE),
            "span_days": ("span", "days", ".0f"), "heard_of_searched": ("heard", "flights", FIGURE), "radius": ("95 % radius", "median, m", FIGURE), "allowed": ("may be said", "at most", "text")},
            notes="A fix is a position with its region. It is usable when it is located, or has several places that are all weighed; an area without a position is a fix that is not usable. Two flights on one day give two fixes. "
                  "95 % radius: a circle of this radius about the position holds the animal in 95 of 100 cases. This is one campaign; in how many an animal was searched for and heard is not recorded.")
        return self.book.together(self.book.words(say.animals_heading(self.tables), *say.animals_paragraphs(self.tables)), table)

    def tracks(self):
        """Tracks with their bands, and how far from its first position each animal was."""
        tables, parts = self.tables, [self.book.words(also.track_heading(self.tables), *also.track_paragraphs(self.tables))]
        tracks, net = also.track_frame(tables), also.net_displacement_frame(tables)
        # The table first: it can be parted between two sheets of paper, where a figure leaves a gap below the heading.
        parts.append(self._table("walks", "walks", also.walk_frame(tables), "How fast each animal spreads, and what its track knows.", {
            "tag_id": ("tag", "", "text"), "fixes": ("fixes", "", "d"), "span_days": ("span", "days", ".0f"), "rate": ("spread after a day", "m (95 % interval)", FIGURE),
            "radius_95_of_fixes_m": ("fix alone", "95 % radius, m", two_figures), "radius_95_at_fixes_m": ("on the track", "95 % radius, m", two_figures),
            "radius_95_between_m": ("between", "largest, m", two_figures), "said": ("errors alone", "explain the fixes?", "text")}, notes=also.walk_notes(tables, say.movers(tables)["tag_id"])))
        if len(net):
            parts.append(self.book.figure("net-displacement", draw.net_displacement(net), also.NET_CAPTION, also.net_displacement_alt(net)))
        if len(tracks):
            parts.append(self.book.figure("tracks", draw_places.track_panels(tracks), also.TRACK_CAPTION, also.track_alt(tracks)))
        return self.book.together(*parts)

    def space_use(self):
        """Extent of fixes; ranges, their overlap and how extents grow where positions allow it, and why not where they do not."""
        frame = say.extent_frame(self.tables)
        table = self._table("extents", "extents", frame, "Extent of fixes: area of the smallest convex polygon, which has no bandwidth.", {
            "tag_id": ("tag", "", "text"), "fixes": ("fixes", "", "d"), "span_days": ("span", "days", ".0f"), "extent": ("extent", "ha (95 % interval)", FIGURE),
            "largest": ("largest distance", "m (95 % interval)", FIGURE), "error_range_ratio": ("error / range", "", ratio), "short": ("extent", "given?", "text")},
            notes="Median and interval of the true places behind the fixes, location error taken out. Error / range: location error over the scatter of the places; an extent is given up to 0.5. Near a line: no width is shown. "
                  "Extents grow with the number of fixes: do not compare animals with unequal numbers. How an extent grows is found from 10 fixes on. Ranges by method, with the reason for each animal, are in ranges.csv.")
        return self.book.together(self.book.words(say.space_heading(self.tables), *say.space_paragraphs(self.tables)), table, *self._ranges())

    def _ranges(self):
        tables, shown = self.tables, also.range_frame(self.tables)
        if not (shown["verdict"] != "refused").any():
            return []
        growth = tables.growth.assign(label=tables.growth["tag_id"])
        parts = [self.book.words(None, *also.range_paragraphs(tables)), self._table("ranges", "ranges", shown[shown["verdict"] != "refused"], "Areas used, by method.", {
            "tag_id": ("tag", "", "text"), "fixes_in_days": ("fixes", "in days", FIGURE), "method_width": ("method", "bandwidth", "text"), "area_50": ("half of the places", "ha (95 % interval)", FIGURE),
            "area_95": ("95 % of the places", "ha (95 % interval)", FIGURE), "error_range_ratio": ("error / range", "", ratio), "slope": ("extent grows", "% with the last fix", FIGURE),
            "verdict": ("verdict", "", "text")}, notes="A sketch shows where an animal was found; its area is not to be quoted. Animals that are not listed are refused, with the reason in ranges.csv."),
            *self._range_map(), self.book.figure("extent-growth", draw.extent_growth(growth), "How the extent grows with the number of positions taken, in random orders; the shade holds 95 of 100 orders "
                             "and draws of the errors.", also.growth_alt(growth))]
        pairs = also.overlap_frame(tables)
        if len(pairs):
            parts.append(self._table("range-overlaps", "overlaps", pairs, "How much the ranges of two animals are the same: 0 nothing, 1 everything.", {
                "pair": ("pair", "", "text"), "shared": ("normal ranges", "0 to 1 (95 % interval)", FIGURE), "kernel_affinity": ("kernels", "0 to 1", probability)},
                notes="Bhattacharyya's affinity: 1 when both use the same ground alike. Ranges may overlap without the animals ever having met.", most_rows=15))
        return parts

    def _range_map(self):
        outlines = also.outline_frame(self.tables)
        if not len(outlines):
            return []
        return [self.book.figure("range-map", draw_places.range_panels(outlines, self.tables.places), also.outline_caption(outlines), also.outline_alt(outlines))]

    def survival(self):
        """Share alive over time, with the two extremes for lost tags."""
        tables, parts = self.tables, [self.book.words(also.survival_heading(self.tables), *also.survival_paragraphs(self.tables))]
        if not tables.no_survival:
            parts.append(self.book.figure("survival", draw.survival(tables.survival), "Share of the tagged animals alive.", also.survival_alt(tables.survival)))
        lives = also.lives_frame(tables)
        parts.append(self._table("survival-animals", "lives", lives[lives["ends"] != "alive"], "Animals that do not simply live on.", {
            "tag_id": ("tag", "", "text"), "animal_id": ("animal", "", "text"), "tagged": ("tagged", "UTC", FIGURE), "ends": ("counted as", "", "text"), "why": ("why", "", "text")},
            notes="All animals are in the file."))
        return self.book.together(*parts)

    def neighbours(self):
        """Animals near each other in one flight."""
        frame = say.pair_frame(self.tables.proximity)
        parts = [self.book.words(say.pair_heading(self.tables.proximity), *say.pair_paragraphs(self.tables))]
        if len(frame):
            nearest = frame.head(15)
            parts.append(self.book.figure("pair-distance", draw.pair_distances(nearest), "The nearest pairs of animals in one flight: distance with 95 % interval.",
                                          say.pair_alt(nearest)))
            parts.append(self._table("proximity", "proximity", frame, "Pairs of animals in one flight, the nearest first.", {
                "pair": ("pair", "", "text"), "flight_id": ("flight", "", "text"), "distance": ("distance", "m (95 % interval)", FIGURE),
                "probability_50_m": ("within 50 m", "probability", probability), "probability_100_m": ("within 100 m", "probability", probability)},
                notes="Both were heard in the same flight, not at the same second.", most_rows=15))
        return self.book.together(*parts)

    def fidelity(self):
        """Who stayed, as far as can be told."""
        frame = self.tables.fidelity
        table = self._table("site-fidelity", "fidelity", frame, "Pairs of an animal's fixes that could be one place.", {
            "tag_id": ("tag", "", "text"), "animal_id": ("animal", "", "text"), "fixes": ("fixes", "", "d"), "pairs": ("pairs", "", "d"),
            "pairs_same_place": ("could be one place", "pairs", "d"), "share_same_place": ("share", "", "share"), "minimum_detectable_m": ("one pair shows", "median, m", two_figures)},
            notes="One pair shows: the middle pair, looked at by itself, would have shown a movement of this length in 8 of 10 cases; with all tests allowed for it takes more. Pairs share fixes, so the share has no interval; it does not say that an animal stays more than one that roams at random.")
        moved = say.movers(self.tables)["tag_id"]
        return self.book.together(self.book.words(say.fidelity_heading(frame, moved, self.tables.summary), *say.fidelity_paragraphs(frame, moved, self.tables.summary)), table)

    def effort(self):
        """When each animal was searched for and heard: the report's share of survey effort."""
        tables = self.tables
        states = tables.timeline.assign(label=tables.timeline["tag_id"])
        parts = [self.book.words(say.effort_heading(tables), *say.effort_paragraphs(tables))]
        if len(states):
            parts.append(self.book.figure("timeline", draw.timeline(states), say.timeline_caption(tables),
                                          say.timeline_alt(tables)))
        parts.append(self._table("effort-per-animal", "summary", tables.summary, "Search effort per animal.", {
            "tag_id": ("tag", "", "text"), "animal_id": ("animal", "", "text"), "flights_searched": ("searched", "flights", "d"), "minutes_searched": ("searched", "min", ".0f"),
            "flights_heard": ("heard", "flights", "d"), "minutes_heard": ("in flights that heard it", "min", ".0f"), "fixes_usable": ("usable fixes", "", "d")},
            notes="Minutes are listening minutes of the flights, shared by all tags listened to in turn."))
        return self.book.together(*parts)

    def errors(self):
        """The errors that all of this rests on."""
        frame = self.tables.errors.assign(inside=rest.inside(self.tables.errors))
        table = self._table("fix-errors", "errors", frame, rest.errors_caption(self.tables), {
            "what": ("what", "", "text"), "count": ("fixes", "", "d"), "median_m": ("median", "m", two_figures), "p90_m": ("9 in 10 below", "m", rounded_up),
            "largest_m": ("largest", "m", two_figures), "inside": ("inside", "95 % region", FIGURE)})
        return self.book.together(self.book.words(rest.errors_heading(self.tables.errors), *rest.errors_paragraphs(self.tables.errors)), table)

    def limits(self):
        """How it was done and what it does not mean."""
        return self.book.words("How movement was tested, and what this does not mean", *rest.limits(self.tables))

    def _steps(self):
        steps = self.tables.steps
        shown = say.shown_steps(steps)
        net = say.net_frame(self.tables)
        return self._table("steps", "steps", say.step_frame(shown, self.tables.silent), say.steps_caption(steps, shown), {
            "tag_id": ("tag", "", "text"), "said": ("movement", "", "text"), "between": ("from – to", "flight", FIGURE), "days": ("apart", "days", time_apart), "distance": ("distance", "m (95 % interval)", FIGURE),
            "minimum_detectable_m": ("detectable", "m", two_figures), "chance": ("p", "alone, adjusted", FIGURE),
            "rate_low_m_per_day": ("at least", "m per day", two_figures)},
            notes=f"Detectable: a movement of this length between these two flights would have shown in 8 of 10 cases; a shorter one shows less often. {say.other_detectable(net)} "
                  f"p: how often errors alone would put two positions of an animal that stayed this far apart; adjusted for all tests, below "
                  f"{self.tables.significance:g} it moved. At least: straight line, shortest distance of the interval; the way walked is longer.{say.SILENT_NOTE * bool(len(shown) and shown['tag_id'].isin(list(self.tables.silent)).any())}{say.steps_left_out(steps, shown)}", most_rows=max(1, len(shown)))

    def _table(self, name, attribute, frame, caption, columns, **more):
        return self.book.table(name, frame, caption, columns, saved_as=f"{TABLE_FILES[attribute]}.csv", **more)
