/* Going back over a flight record by record, or over the positions of an animal date by date.
   A run is what can be gone over: it has a length, stops (where what is said changes), show(index), clear(), clock(index) and words(index). */
(function () {
  "use strict";
  const fixledger = (window.fixledger = window.fixledger || {});
  const FLIGHT_LASTS_MS = 15000, DATE_LASTS_MS = 1800, STOP_LASTS_MS = 1400;
  const say = fixledger.say;

  /* Whole numbers from text, see figures/sheet_retrace.py. */
  fixledger.unpacked = function (text, digits) {
    const value = new Map(Array.from(digits, function (digit, index) { return [digit, index]; })), numbers = [];
    let rest = 0, shift = 1;
    for (const letter of text) {
      const five = value.get(letter);
      rest += (five & 31) * shift;
      shift *= 32;
      if (five & 32) continue;
      numbers.push(rest % 2 ? -(rest + 1) / 2 : rest / 2);
      rest = 0;
      shift = 1;
    }
    return numbers;
  };

  function summed(steps) {
    let sum = 0;
    return steps.map(function (step) { return (sum += step); });
  }

  /* A length or area to the two figures it has. */
  function twoFigures(value) {
    const rounded = Number(value.toPrecision(2));
    return Math.abs(rounded) >= 10 || rounded === 0 ? rounded.toFixed(0).replace(/\B(?=(\d{3})+$)/g, ",") : String(rounded);
  }

  function clockTime(seconds) { return new Date(seconds * 1000).toISOString().slice(11, 19) + " UTC"; }

  /* A ring with a point in it, in a circle of radius 1. */
  function ringAndPoint() {
    const ring = function (radius) {
      return Array.from({ length: 20 }, function (_, at) { return [radius * Math.cos(at * Math.PI / 10), radius * Math.sin(at * Math.PI / 10)]; });
    };
    return [ring(1), ring(0.28)];
  }

  /* One tag in one flight. */
  class FlightRun {
    constructor(sheet, told, run) {
      Object.assign(this, { sheet: sheet, told: told, run: run, name: told.flights[run.flight].flight, at: -1 });
    }

    /* The numbers are unpacked when the run is first gone over. */
    open() {
      if (this.spots) return;
      const told = this.told, flight = told.flights[this.run.flight], unpacked = function (text) { return fixledger.unpacked(text, told.digits); };
      this.spots = this.line(unpacked(flight.at), 0, Infinity).places;
      this.times = summed(unpacked(flight.time));
      this.heard = summed(unpacked(this.run.heard));
      this.silent = [];
      unpacked(this.run.silent).reduce(function (end, number, index, all) {
        if (index % 2) return end;
        for (let spot = end + number; spot < end + number + all[index + 1]; spot++) this.silent.push(spot);
        return end + number + all[index + 1];
      }.bind(this), 0);
      this.readMoments(unpacked(this.run.moments));
      this.stops = Array.from(new Set([0].concat(this.moments.map(function (moment) { return moment.spot; }), [this.length - 1])));
      this.beat_ms = Math.max(40, FLIGHT_LASTS_MS / this.length);
    }

    get length() { return this.spots.length; }

    line(numbers, from, corners) {
      const places = [], fineness = this.told.fineness;
      let latitude = this.told.origin[0], longitude = this.told.origin[1], at = from;
      for (; at < numbers.length && places.length < corners; at += 2) {
        latitude += numbers[at];
        longitude += numbers[at + 1];
        places.push(L.latLng(latitude / fineness, longitude / fineness));
      }
      return { places: places, next: at };
    }

    readMoments(numbers) {
      const run = this;
      let at = 1;
      function outline() {
        return Array.from({ length: numbers[at++] }, function () {
          return Array.from({ length: numbers[at++] }, function () {
            const ring = run.line(numbers, at + 1, numbers[at]);
            at = ring.next;
            return ring.places;
          });
        });
      }
      this.moments = Array.from({ length: numbers[0] }, function () {
        const moment = { spot: numbers[at], listened: numbers[at + 1], heard: numbers[at + 2], hectares: numbers[at + 3] / 100, radius: numbers[at + 4], cut: numbers[at + 5] > 0 };
        at += 6;
        moment.wide = outline();
        moment.narrow = outline();
        return moment;
      });
    }

    /* The last moment that is not later than a record; null before the tag was heard. */
    moment(index) {
      return this.moments.filter(function (moment) { return moment.spot <= index; }).pop() || null;
    }

    draw() {
      const sheet = this.sheet, map = sheet.map, shapes = sheet.told.shapes, radii = sheet.told.radii, spots = this.spots, sizes = this.run.size;
      const plain = { interactive: false, smoothFactor: 0 }, mark = function (spot, shape, radius) { return { place: spots[spot], shape: shape, radius: radius, spot: spot }; };
      this.wide = L.polygon([], Object.assign({ className: "region p95 retraced" }, plain));
      this.narrow = L.polygon([], Object.assign({ className: "region p50 retraced" }, plain));
      this.flown = L.polyline([], Object.assign({ className: "track flown" }, plain));
      this.fields = [
        new fixledger.Marks(this.silent.map(function (spot) { return mark(spot, shapes.square, radii.silent); }), true, { className: "mark-silent retraced" }),
        new fixledger.Marks(this.heard.map(function (spot, index) { return mark(spot, shapes.triangle, radii.heard[Number(sizes[index])]); }), true, { className: "mark-heard retraced" }),
      ];
      this.receiver = new fixledger.Marks([], true, { className: "mark-receiver" });
      this.layers = [this.wide, this.narrow, this.flown].concat(this.fields, [this.receiver]);
      this.layers.forEach(function (layer) { layer.addTo(map); });
      map.fitBounds(L.latLngBounds(spots).pad(0.08), { animate: false });
    }

    show(index) {
      this.open();
      if (!this.layers) this.draw();
      const moment = this.moment(index), spots = this.spots;
      this.flown.setLatLngs(spots.slice(0, index + 1));
      this.fields.forEach(function (field) { field.show(function (mark) { return mark.spot <= index; }); });
      this.receiver.replace([{ place: spots[index], shape: ringAndPoint(), radius: 7 }]);
      if (moment !== this.shownMoment) {
        this.wide.setLatLngs(moment ? moment.wide : []);
        this.narrow.setLatLngs(moment ? moment.narrow : []);
        this.shownMoment = moment;
      }
    }

    clear() {
      (this.layers || []).forEach(function (layer) { layer.remove(); });
      this.layers = null;
      this.shownMoment = undefined;
    }

    /* Marks and regions of the sheet that would give away the end, or belong to another flight. */
    hides(tag) { return tag === this.run.tag; }
    hidesTrack(flight) { return flight !== this.name; }
    /* What the line about the tag says meanwhile. */
    headline() { return say.goneOver(this.sheet.told.tags[this.run.tag], this.name, this.run.place); }

    clock(index) {
      const minute = (this.times[index] - this.times[0]) / 60;
      return say.moment(clockTime(this.times[index]), minute.toFixed(1), index + 1, this.length);
    }

    words(index) {
      const moment = this.moment(index), tag = this.sheet.told.tags[this.run.tag];
      if (!moment) return say.notYet(tag, this.name);
      return say.soFar(tag, moment.heard, moment.listened, twoFigures(moment.hectares), twoFigures(moment.radius), moment.cut);
    }
  }

  /* The positions of one animal in order of time. */
  class DatesRun {
    constructor(sheet, told, run) {
      Object.assign(this, { sheet: sheet, run: run, name: say.allDates, beat_ms: DATE_LASTS_MS });
    }

    open() {
      this.places = this.places || fixledger.places(this.run.at);
      this.stops = this.places.map(function (_, index) { return index; });
    }

    get length() { return this.run.at.length; }

    show(index) {
      this.open();
      const run = this.run, sheet = this.sheet, shape = sheet.told.shapes.cross, earlier = run.flight.slice(0, index);
      const marks = this.places.slice(0, index).map(function (place) { return { place: place, shape: shape, radius: 5.5 }; });
      if (!this.layers) {
        this.before = new fixledger.Marks([], false, { className: "mark-fix earlier" });
        this.now = new fixledger.Marks([], false, { className: "mark-fix retraced" });
        this.layers = [this.before, this.now];
        this.layers.forEach(function (layer) { layer.addTo(sheet.map); });
      }
      this.before.replace(marks);
      this.now.replace([{ place: this.places[index], shape: shape, radius: 7.5 }]);
      sheet.regionShapes.forEach(function (region) {
        if (region.tag !== run.tag || !region.getElement()) return;
        region.getElement().classList.toggle("earlier", earlier.includes(region.flight));
        region.getElement().classList.toggle("aside", region.flight !== run.flight[index] && !earlier.includes(region.flight));
      });
      sheet.words.show(function (word) { return word.tag === run.tag && run.label.slice(0, index + 1).includes(word.text); });
    }

    clear() {
      const run = this.run;
      (this.layers || []).forEach(function (layer) { layer.remove(); });
      this.layers = null;
      this.sheet.regionShapes.forEach(function (region) {
        if (region.tag === run.tag && region.getElement()) region.getElement().classList.remove("earlier", "aside");
      });
    }

    hides() { return false; }
    hidesTrack() { return false; }
    headline() { return ""; }
    clock(index) { return say.position(index + 1, this.length); }
    words(index) { return this.run.words[index]; }
  }

  /* The control under a map: which run, play and pause, the moment, and what it shows in words. */
  fixledger.Retrace = class {
    constructor(sheet, told, box) {
      const part = function (name) { return box.querySelector(".retrace-" + name); };
      Object.assign(this, { sheet: sheet, box: box, hint: part("hint"), bar: part("bar"), choice: box.querySelector("select"), play: part("play"), range: box.querySelector("input[type=range]"),
        clock: part("clock"), leave: part("leave"), said: part("said"), active: false, timer: 0, run: null, plainHint: part("hint").textContent });
      const Kind = told.kind === "flight" ? FlightRun : DatesRun;
      this.runs = told.runs.map(function (run) { return new Kind(sheet, told, run); });
      this.listen();
      this.offer(-1);
    }

    listen() {
      const retrace = this;
      this.range.addEventListener("input", function () { retrace.pause(); retrace.go(Number(retrace.range.value)); });
      this.play.addEventListener("click", function () { retrace.timer ? retrace.pause() : retrace.start(); });
      this.leave.addEventListener("click", function () { retrace.leaveRun(); });
      if (this.choice) this.choice.addEventListener("change", function () {
        /* The regions of the sheet are those of one flight; of the one that was chosen the last moment stands in their place. */
        retrace.take(retrace.offered[retrace.choice.selectedIndex]);
        retrace.go(retrace.run.length - 1);
      });
      this.box.addEventListener("keydown", function (event) { if (event.key === "Escape" && retrace.active) retrace.leaveRun(); });
    }

    /* Back to the map as it was, and the control to the flight that the map shows. */
    leaveRun() {
      if (this.choice) this.choice.selectedIndex = this.offered.indexOf(this.first);
      this.take(this.first);
      this.range.focus();
    }

    /* What there is of a tag; -1 = none is chosen. */
    offer(tag) {
      const sheet = this.sheet, choice = this.choice;
      this.end();
      this.offered = this.runs.filter(function (run) { return run.run.tag === tag; });
      const any = this.offered.length > 0;
      this.bar.hidden = !any;
      this.hint.hidden = any;
      this.hint.textContent = tag < 0 ? this.plainHint : this.box.dataset.none.split("\u2026").join(fixledger.directed(sheet.told.tags[tag]));
      this.run = null;
      if (!any) return;
      const shown = sheet.told.regions.filter(function (region) { return region.tag === tag; }).map(function (region) { return region.flight; });
      const first = this.first = this.offered.find(function (run) { return shown.includes(run.name); }) || this.offered[0];
      if (choice) {
        choice.textContent = "";
        this.offered.forEach(function (run) { choice.appendChild(document.createElement("option")).textContent = run.name; });
        choice.selectedIndex = this.offered.indexOf(first);
      }
      this.take(first);
    }

    take(run) {
      this.end();
      this.run = run;
      run.open();
      this.range.max = String(run.length - 1);
      this.range.value = this.range.max;
      this.tell(run.length - 1);
    }

    tell(index) {
      const clock = this.run.clock(index);
      this.clock.textContent = this.active ? clock : "";      // no moment is shown before a run is gone over
      this.range.setAttribute("aria-valuetext", clock);
      const words = this.active ? this.run.words(index) : "";
      // said anew only where it changes, so that a screen reader is not kept talking
      if (this.said.textContent !== words) this.said.textContent = words;
    }

    go(index) {
      const first = !this.active, map = this.sheet.map;
      if (first) {
        this.view = { center: map.getCenter(), zoom: map.getZoom() };
        this.active = true;
        this.leave.disabled = false;
        this.sheet.setAside(this.run);
      }
      this.range.value = String(index);
      this.run.show(index);
      this.tell(index);
    }

    /* Playing is gliding; for those who asked for less motion it goes from stop to stop. */
    start() {
      const retrace = this, run = this.run, last = run.length - 1, still = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
      const dates = run.stops.length === run.length, beat = still && !dates ? STOP_LASTS_MS : run.beat_ms;
      if (!this.active || Number(this.range.value) >= last) this.go(0);
      this.timer = window.setInterval(function () {
        const at = Number(retrace.range.value), next = still ? run.stops.find(function (stop) { return stop > at; }) : at + 1;
        if (next === undefined || next > last) return retrace.pause();
        retrace.go(next);
        if (next === last) retrace.pause();
      }, beat);
      this.play.textContent = say.pause;
      this.play.setAttribute("aria-pressed", "true");
    }

    pause() {
      window.clearInterval(this.timer);
      this.timer = 0;
      this.play.textContent = say.play;
      this.play.setAttribute("aria-pressed", "false");
    }

    /* Back to the map as it was. */
    end() {
      this.pause();
      if (!this.active) return;
      this.active = false;
      this.leave.disabled = true;
      this.run.clear();
      this.sheet.setAside(null);
      this.range.value = this.range.max;
      this.tell(this.run.length - 1);
      this.sheet.map.setView(this.view.center, this.view.zoom, { animate: false });
    }
  };
})();
