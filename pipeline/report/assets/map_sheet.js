/* Opens a map: folium has made the Leaflet map, rasters and polygons; the marks and tools are added here. */
(function () {
  "use strict";
  const fixledger = (window.fixledger = window.fixledger || {});
  const opened = (fixledger.opened = []), say = fixledger.say;

  fixledger.openSheet = function (map, layers, told) {
    const root = map.getContainer().closest(".sheet"), sheet = new Sheet(map, layers, told, root), began = performance.now();
    sheet.draw();
    sheet.addTools();
    opened.push(sheet);
    root.classList.add("drawn");
    performance.measure("map drawn", { start: began });
    return sheet;
  };

  class Sheet {
    constructor(map, layers, told, root) {
      Object.assign(this, { map: map, layers: layers, told: told, root: root, chosen: -1, fields: [] });
      this.grid = new fixledger.Grid(told.projection);
      root.classList.toggle("regions-wait", told.regionsWait);
    }

    /* The whole sheet in view. */
    fitAll() {
      this.map.fitBounds(this.told.bounds, { animate: false });
      this.home = { zoom: this.map.getZoom(), center: this.map.getCenter() };
    }

    /* After a change of size the whole sheet is shown again, unless the reader has moved the map. */
    fitSize() {
      /* Leaflet keeps the middle itself when the window changes, but rounds it to whole pixels. */
      const map = this.map, shift = map.project(map.getCenter()).distanceTo(map.project(this.home.center));
      const untouched = map.getZoom() === this.home.zoom && shift < 2;
      this.map.invalidateSize({ pan: false });
      if (untouched) this.fitAll();
    }

    /* One kind of marks on the map. */
    marks(marks, className, closed) {
      const layer = new fixledger.Marks(marks, closed !== false, { className: className });
      this.fields.push(layer);
      return layer;
    }

    draw() {
      const told = this.told, map = this.map;
      this.hatch();
      this.words = new fixledger.Words(this.labels());
      this.words.obstacles = this.words.words.map(function (word) { return word.place; });
      const found = this.points(told.found, this.foundKinds());
      const records = this.records(), beacons = this.beacons(), fixes = this.points(told.fixes, this.fixKinds()), fetch = this.searchCircles().concat(this.points(told.fetch, this.fetchKinds()));
      const regions = this.regions();
      const tracks = this.trackLines = told.tracks.map(function (track) {
        const line = L.polyline(track.parts.map(fixledger.places), { className: "track", interactive: false, smoothFactor: 0.7 });
        line.flight = track.flight;
        return line;
      });
      this.gridLayer = fixledger.tools.gridLines(map, this.grid);
      this.themes = [
        { words: say.relief, layers: this.layers.relief ? [this.layers.relief].concat(this.heights()) : [] },
        { words: say.metricGrid, layers: [this.gridLayer] },
        { words: say.searched, layers: this.layers.searched ? [this.layers.searched].concat(this.levels()) : [] },
        { words: say.area, layers: this.layers.area ? [this.layers.area] : [] },
        { words: say.tracks, layers: tracks },
        { words: say.records, layers: records },
        { words: say.regions, layers: regions.concat(fixes) },
        { words: say.beacons, layers: beacons },
        { words: say.fetch, layers: fetch },
        { words: say.found, layers: found },
        { words: say.names, layers: [this.words] },
      ].filter(function (theme) { return theme.layers.length; });
      this.themes.forEach(function (theme) { theme.shown = true; });
    }

    fixKinds() {
      const shape = this.told.shapes.cross;
      return [
        { className: "mark-fix", shape: shape, radius: 6.5, closed: false, when: function (place) { return !place; } },
        { className: "mark-second", shape: shape, radius: 6, closed: false, when: function (place) { return place > 0; } },
      ];
    }

    fetchKinds() {
      const shapes = this.told.shapes;
      return [
        { className: "mark-fetch", shape: shapes.hexagon, radius: 10, closed: true, words: true },
        { className: "mark-letter", shape: shapes["letter M"], radius: 10, closed: false },
      ];
    }

    foundKinds() {
      const shapes = this.told.shapes;
      return [
        { className: "mark-found", shape: shapes.hexagon, radius: 9, closed: true },
      ];
    }

    /* The circles to search on foot. */
    searchCircles() {
      return (this.circles = this.told.searchCircles.map(function (circle) {
        const shape = L.polygon(fixledger.places(circle.at), { className: "search-circle", interactive: false, smoothFactor: 0 });
        shape.tag = circle.tag;
        return shape;
      }));
    }

    labels() {
      const told = this.told.labels, tags = this.told.tags;
      return fixledger.places(told.at).map(function (place, index) {
        return { place: place, text: withDate(told.text[index], tags[told.tag[index]]), clearance: told.kind[index] === "fetch" ? 13 : 9.5, tag: told.tag[index] };
      });
    }

    /* Point marks of one layer: one field of marks for each kind. */
    points(points, kinds) {
      if (!points) return [];
      const places = fixledger.places(points.at);
      return kinds.map(function (kind) {
        const chosen = places.map(function (place, index) {
          const notes = [beforeDate(points.label[index], points.note[index]), points.note[index]].filter(Boolean);
          return { place: place, shape: kind.shape, radius: kind.radius, tag: points.tag[index], words: notes.length ? notes : null, second: points.place ? points.place[index] : 0 };
        }).filter(function (mark) { return !kind.when || kind.when(mark.second); });
        return this.marks(chosen, kind.className, kind.closed);
      }, this);
    }

    beacons() {
      const told = this.told.beacons;
      if (!told) return [];
      const truth = fixledger.places(told.at), estimates = fixledger.places(told.estimate || []);
      const lines = estimates.map(function (place, index) {
        const line = L.polyline([truth[told.estimateOf[index]], place], { className: "beacon-line", interactive: false, smoothFactor: 0 });
        line.tag = told.tag[told.estimateOf[index]];
        return line;
      });
      this.beaconLines = lines;
      return lines.concat(this.points(told, [{ className: "mark-beacon", shape: this.told.shapes.diamond, radius: 6.5, closed: true }]));
    }

    records() {
      const told = this.told.records;
      if (!told) return [];
      let seconds = 0;
      this.spots = fixledger.places(told.at);
      this.times = told.time.map(function (step) { return (seconds += step); });
      this.recordFields = [this.marks([], "mark-silent"), this.marks([], "mark-heard")];
      this.showRecords();
      return this.recordFields;
    }

    /* The records of the chosen tag; of all tags, unless there are several and none is chosen. */
    showRecords() {
      if (!this.recordFields) return;
      const chosen = this.chosen, wait = this.told.recordsWait, sheet = this;
      const groups = this.told.records.groups.filter(function (group) { return chosen < 0 ? !wait : group.tag === chosen; });
      this.recordFields[0].replace(groups.flatMap(function (group) { return sheet.silentMarks(group); }));
      this.recordFields[1].replace(groups.flatMap(function (group) { return sheet.heardMarks(group); }));
    }

    heardMarks(group) {
      const sheet = this, shapes = this.told.shapes, radii = this.told.radii.heard, barred = new Set(group.saturated);
      return group.heard.map(function (spot, index) {
        const strength = say.heard(group.db[index], barred.has(index));
        return { place: sheet.spots[spot], tag: group.tag, radius: radii[group.size[index]], shape: barred.has(index) ? shapes["barred triangle"] : shapes.triangle, words: function () { return sheet.recordWords(group, spot, strength); } };
      });
    }

    silentMarks(group) {
      const sheet = this, marks = [];
      for (let run = 0; run < group.silent.length; run += 2) {
        for (let spot = group.silent[run]; spot < group.silent[run] + group.silent[run + 1]; spot++) {
          marks.push({ place: this.spots[spot], tag: group.tag, radius: this.told.radii.silent, shape: this.told.shapes.square, words: function () { return sheet.recordWords(group, spot, say.notHeard); } });
        }
      }
      return marks;
    }

    recordWords(group, spot, what) {
      const seconds = this.times[spot], time = seconds ? new Date(seconds * 1000).toISOString().replace("T", " ").slice(0, 19) + " UTC" : "";
      return [this.told.tags[group.tag] || "", what, time].filter(Boolean);
    }

    /* Regions as polygons, the widest below; what is known of each comes up under the pointer. */
    regions() {
      const sheet = this, tags = this.told.tags;
      this.regionShapes = this.told.regions.map(function (region) {
        const rings = region.rings.map(function (polygon) { return polygon.map(fixledger.places); });
        const shape = L.polygon(rings, { className: "region p" + Math.round(100 * region.probability) + (region.second ? " second" : ""), smoothFactor: 0.6 });
        const words = [tags[region.tag], say.inside(region.probability), region.flight && say.flight(region.flight), region.note].filter(Boolean);
        shape.tag = region.tag;
        shape.flight = region.flight;
        shape.on("mouseover", function () { sheet.under = words; });
        shape.on("mouseout", function () { sheet.under = null; });
        return shape;
      });
      return this.regionShapes;
    }

    levels() {
      return this.told.levels.map(function (level) {
        const lines = level.lines.map(fixledger.places);
        if (lines.length) {
          const longest = lines.reduce(function (a, b) { return b.length > a.length ? b : a; });
          this.words.words.unshift({ place: longest[Math.floor(longest.length / 3)], text: level.level, clearance: 1, tag: -2 });
        }
        return L.polyline(lines, { className: level.level === "0.9" ? "level deep" : "level", interactive: false });
      }, this);
    }

    heights() {
      return this.told.heights.map(function (height) { return L.polyline(height.lines.map(fixledger.places), { className: "height", interactive: false, smoothFactor: 1 }); });
    }

    addTools() {
      const map = this.map, root = this.root, tools = fixledger.tools, status = root.querySelector(".said"), sheet = this;
      /* What is measured stands beside what is said of the tag. */
      let standing = "", measured = "";
      function show() { status.textContent = measured && standing ? say.both(measured, standing) : measured || standing; }
      const tell = this.tell = function (words) { standing = words; show(); };
      tools.layers(map, this.themes, root.querySelector(".themes"));
      tools.scaleAndNorth(map, this.grid);
      tools.coordinates(map, this.grid, root.querySelector(".pointer"));
      const measure = tools.measure(map, this.grid, root.querySelector(".measure"), function (words) { measured = words; show(); });
      const field = root.querySelector(".find input");
      if (field) this.chooseByName = tools.find(this.told.tags, this.told.offMap, field, function (tag) { sheet.choose(tag, tell); }, tell);
      root.querySelector(".whole").addEventListener("click", function () { sheet.fitAll(); });
      root.querySelector(".closer").addEventListener("click", function () { map.zoomIn(); });
      root.querySelector(".wider").addEventListener("click", function () { map.zoomOut(); });
      if (this.told.retrace) this.retrace = new fixledger.Retrace(this, this.told.retrace, root.querySelector(".retrace"));
      this.tips(measure);
      this.fitAll();
      this.gridLayer.redraw();
    }

    /* What lies under the pointer, in words. */
    tips(measure) {
      const map = this.map, sheet = this, tip = this.tip = L.tooltip({ direction: "top", offset: [0, -8], className: "map-tip" });
      function look(event) {
        let best = null;
        if (!measure.isOn()) sheet.fields.forEach(function (field) {
          const near = field.nearest(event.layerPoint, 11);
          if (near && (!best || near.far < best.far)) best = near;
        });
        const said = best && best.mark.words, words = said ? (typeof said === "function" ? said() : said) : measure.isOn() ? null : sheet.under;
        if (!words) return tip.remove();
        const box = document.createElement("div");
        words.forEach(function (line) { L.DomUtil.create("div", "", box).textContent = line; });
        tip.setContent(box).setLatLng(best ? best.mark.place : event.latlng).addTo(map);
      }
      map.on("mousemove click", look);
      map.on("mouseout", function () { tip.remove(); });
    }

    /* Bring one tag to the front and fade the others; -1 shows all alike. */
    choose(tag, tell) {
      if (tag === this.chosen) return;
      this.chosen = tag;
      if (this.tip) this.tip.remove();
      this.under = null;
      this.root.classList.toggle("tag-chosen", tag >= 0);
      if (this.retrace) this.retrace.offer(tag);
      const places = [], notes = [], own = function (mark) { return tag < 0 || mark.tag === tag || mark.tag === -2; };
      this.regionShapes.forEach(function (shape) {
        const mine = shape.tag === tag;
        if (shape.getElement()) shape.getElement().classList.toggle("faded", tag >= 0 && !mine);
        if (mine) places.push(shape.getBounds());
        if (mine && shape._map) shape.bringToFront();
      });
      this.circles.forEach(function (circle) {
        if (circle.getElement()) circle.getElement().classList.toggle("faded", !own(circle));
        if (circle.tag === tag) places.push(circle.getBounds());
      });
      (this.beaconLines || []).forEach(function (line) { if (line.getElement()) line.getElement().classList.toggle("faded", !own(line)); });
      this.fields.forEach(function (field) {
        if ((this.recordFields || []).includes(field)) return;
        if (field._map) field.show(own);
        field.marks.forEach(function (mark) {
          if (mark.tag !== tag || tag < 0) return;
          places.push(L.latLngBounds([mark.place, mark.place]));
          if (mark.words && mark.words[1] && !notes.includes(mark.words[1])) notes.push(mark.words[1]);
        });
      }, this);
      this.showRecords();
      (this.recordFields || []).slice(1).forEach(function (field) {
        field.marks.forEach(function (mark) { if (mark.tag === tag) places.push(L.latLngBounds([mark.place, mark.place])); });
      });
      this.words.show(own);
      this.chosenWords = "";
      if (tag < 0) return this.fitAll();
      const bounds = places.reduce(function (sum, one) { return sum.extend(one); }, L.latLngBounds([]));
      if (bounds.isValid()) this.map.fitBounds(bounds.pad(0.25), { maxZoom: 17, animate: false });
      const name = this.told.tags[tag], known = this.told.offMap.find(function (one) { return one[0] === name; }), place = this.placeWords(tag);
      /* A card that names the place already is not told it twice. */
      const said = place.filter(function (words) { return !notes.some(function (note) { return note.includes(words.slice(words.search(/\d/))); }); }).concat(notes);
      this.chosenWords = known && !said.length ? say.offMap(known[0], known[1]) : say.chosen(name, said);
      tell(this.chosenWords);
    }

    /* Where a tag is stated to be, when the map shows one such place of it. */
    placeWords(tag) {
      const sheet = this, of = function (points, say) {
        if (!points) return [];
        const places = fixledger.places(points.at).filter(function (_, index) { return points.tag[index] === tag && !(points.place && points.place[index]); });
        return places.length === 1 ? [say(fixledger.tools.position(places[0], sheet.grid).replace(/ {2,}/g, " "))] : places.length ? [""] : [];
      };
      const told = this.told, found = [of(told.fixes, told.fixesAreNewest ? say.newestPlace : say.bestPlace), of(told.fetch, say.bestPlace), of(told.beacons, say.surveyedPlace)].find(function (words) { return words.length; });
      return (found || []).filter(Boolean);
    }

    /* While a run is gone over, what the sheet itself shows of its tag gives way; null shows it again. */
    setAside(run) {
      const chosen = this.chosen, own = function (mark) { return (chosen < 0 || mark.tag === chosen || mark.tag === -2) && !(run && mark.tag === run.run.tag); };
      const toggle = function (layer, on) { if (layer.getElement()) layer.getElement().classList.toggle("aside", on); };
      const over = run && run.headline();
      if (over || this.saidOver) this.tell(over || this.chosenWords || "");
      this.saidOver = !!over;
      this.circles.forEach(function (circle) { toggle(circle, !!run && run.hides(circle.tag)); });
      this.regionShapes.forEach(function (shape) { toggle(shape, !!run && run.hides(shape.tag)); });
      this.trackLines.forEach(function (line) { toggle(line, !!run && run.hidesTrack(line.flight)); });
      this.fields.forEach(function (field) {
        if (field._map) field.show((this.recordFields || []).includes(field) ? function () { return !run; } : own);
      }, this);
      this.words.show(own);
    }

    /* The pattern of the 0.8 regions, once per page. */
    hatch() {
      if (document.getElementById("hatch-fix")) return;
      const svg = L.SVG.create("svg"), pattern = L.SVG.create("pattern"), line = L.SVG.create("path");
      const set = function (element, values) { Object.keys(values).forEach(function (key) { element.setAttribute(key, values[key]); }); return element; };
      set(svg, { width: 0, height: 0, "aria-hidden": "true", focusable: "false", class: "hatch-holder" });
      set(pattern, { id: "hatch-fix", width: 5, height: 5, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" });
      set(line, { d: "M0 0V5", class: "hatch-line" });
      pattern.appendChild(line);
      svg.appendChild(pattern);
      document.body.appendChild(svg);
    }
  }

  /* A label that is longer than the name it begins with, as by a date: letters of the name from right to left leave the rest in its place. */
  function withDate(label, name) { return name && label !== name && label.startsWith(name) ? fixledger.directed(name) + label.slice(name.length) : label; }

  /* The label without the date at its end where the note beside it begins with that date, so that none is told twice. */
  function beforeDate(label, note) {
    const date = /^\d{4}-\d\d-\d\d/.exec(note || "");
    return date && label.endsWith(" " + date[0]) ? label.slice(0, -1 - date[0].length) : label;
  }

  /* A tag's name in a table brings it to the front of the nearest map above that shows it. */
  document.addEventListener("click", function (event) {
    const button = event.target.closest && event.target.closest(".find-tag");
    if (!button) return;
    const able = opened.filter(function (sheet) { return sheet.chooseByName && sheet.told.tags.includes(button.textContent); });
    const above = able.filter(function (sheet) { return sheet.root.compareDocumentPosition(button) & Node.DOCUMENT_POSITION_FOLLOWING; });
    const sheet = above.pop() || able[0];
    if (!sheet) return;
    sheet.chooseByName(button.textContent);
    sheet.root.scrollIntoView({ block: "start" });
    sheet.root.querySelector(".find input").focus({ preventScroll: true });
  });

  /* Maps that were hidden or resized must measure themselves again. */
  if (window.ResizeObserver) {
    const watcher = new ResizeObserver(function (entries) {
      entries.forEach(function (entry) { opened.forEach(function (sheet) { if (sheet.map.getContainer() === entry.target) sheet.fitSize(); }); });
    });
    document.addEventListener("DOMContentLoaded", function () { opened.forEach(function (sheet) { watcher.observe(sheet.map.getContainer()); }); });
  }
})();
