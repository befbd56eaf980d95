/* Marks and grid coordinates of a map. Leaflet is the only library; everything else is ours.
   All text reaches the page as text nodes, never as HTML. */
(function () {
  "use strict";
  const fixledger = (window.fixledger = window.fixledger || {});

  /* Positions arrive as whole millionths of a degree, each as the step from the one before. */
  fixledger.places = function (steps) {
    let latitude = 0, longitude = 0;
    return steps.map(function (step) {
      latitude += step[0];
      longitude += step[1];
      return L.latLng(latitude / 1e6, longitude / 1e6);
    });
  };

  /* A name as it stands inside a sentence: one with letters from right to left, or with marks that turn the direction, is confined by
     invisible marks, so that figures after it stay where they belong. */
  fixledger.directed = function (name) {
    return /[\u0590-\u08ff\u202a-\u202e\u2066-\u2069\ufb1d-\ufdff\ufe70-\ufefc]|[\ud802\ud803\ud83a\ud83b]/.test(name) ? "\u2068" + name.replace(/[\u202a-\u202e\u2066-\u2069]/g, "") + "\u2069" : name;
  };

  /* The survey projection near this map, as polynomials fitted when the report was made. */
  fixledger.Grid = class {
    constructor(told) {
      [this.middleE, this.middleN, this.middleLat, this.middleLng] = told.middle;
      [this.halfM, this.halfLat, this.halfLng] = told.half;
      Object.assign(this, { degree: told.degree, forward: told.forward, inverse: told.inverse });
    }
    value(coefficients, first, second) {
      let sum = 0, at = 0, firstPower = 1;
      for (let i = 0; i <= this.degree; i++, firstPower *= first) {
        for (let j = 0, secondPower = 1; j <= this.degree - i; j++, secondPower *= second) sum += coefficients[at++] * firstPower * secondPower;
      }
      return sum;
    }
    metres(place) {
      const first = (place.lat - this.middleLat) / this.halfLat, second = (place.lng - this.middleLng) / this.halfLng;
      return [this.middleE + this.value(this.forward[0], first, second), this.middleN + this.value(this.forward[1], first, second)];
    }
    place(east, north) {
      const first = (east - this.middleE) / this.halfM, second = (north - this.middleN) / this.halfM;
      return L.latLng(this.middleLat + this.value(this.inverse[0], first, second), this.middleLng + this.value(this.inverse[1], first, second));
    }
    covers(place) {
      return Math.abs(place.lat - this.middleLat) <= 1.15 * this.halfLat && Math.abs(place.lng - this.middleLng) <= 1.15 * this.halfLng;
    }
    /* Distance in metres and bearing in degrees from true north. */
    leg(from, to) {
      const a = this.metres(from), b = this.metres(to), north = this.metres(L.latLng(from.lat + 1e-5, from.lng));
      const onGrid = Math.atan2(b[0] - a[0], b[1] - a[1]), lean = Math.atan2(north[0] - a[0], north[1] - a[1]);
      return { metres: Math.hypot(b[0] - a[0], b[1] - a[1]), bearing: ((onGrid - lean) * 180 / Math.PI + 720) % 360 };
    }
  };

  /* Many marks of one kind as one SVG path: fast with thousands, and styled by a class of the page.
     marks: [{place, shape, radius}], shape is a list of strokes in a unit circle. */
  fixledger.Marks = L.Path.extend({
    options: { interactive: false, fill: true, bubblingMouseEvents: true },
    initialize: function (marks, closed, options) {
      L.setOptions(this, options);
      this.marks = marks;
      this.closed = closed;
      this.shown = function () { return true; };
    },
    show: function (test) { this.shown = test; return this.redraw(); },
    replace: function (marks) {
      this.marks = marks;
      if (this._map) this._project();
      return this.redraw();
    },
    getBounds: function () { return L.latLngBounds(this.marks.map(function (mark) { return mark.place; })); },
    _project: function () {
      const map = this._map;
      this.pixels = this.marks.map(function (mark) { return map.latLngToLayerPoint(mark.place); });
    },
    _update: function () {
      if (!this._map) return;
      const bounds = this._renderer._bounds, pieces = [], end = this.closed ? "Z" : "";
      this.marks.forEach(function (mark, index) {
        const at = this.pixels[index];
        if (!this.shown(mark) || (bounds && !bounds.contains(at))) return;
        mark.shape.forEach(function (stroke) {
          pieces.push("M" + stroke.map(function (point) {
            return (at.x + mark.radius * point[0]).toFixed(1) + " " + (at.y - mark.radius * point[1]).toFixed(1);
          }).join("L") + end);
        });
      }, this);
      this._renderer._setPath(this, pieces.join("") || "M0 0");       // a path without a move is an error
    },
    _containsPoint: function () { return false; },
    /* The shown mark nearest to a point of the map, within `reach` pixels. */
    nearest: function (point, reach) {
      let best = null;
      if (!this._map) return best;
      this.marks.forEach(function (mark, index) {
        if (!mark.words || !this.shown(mark)) return;
        const far = this.pixels[index].distanceTo(point);
        if (far <= reach && (!best || far < best.far)) best = { mark: mark, far: far };
      }, this);
      return best;
    },
  });

  /* Words beside marks: placed where no other mark or word is, hidden where there is no room. */
  fixledger.Words = L.Layer.extend({
    initialize: function (words) {
      this.words = words;       // [{place, text, clearance, tag}]
      this.obstacles = [];      // places that must stay free
      this.shown = function () { return true; };
    },
    onAdd: function (map) {
      this.box = L.DomUtil.create("div", "map-words leaflet-zoom-hide", map.getPane("labels"));
      this.words.forEach(function (word) {
        word.element = L.DomUtil.create("span", "", this.box);
        word.element.textContent = word.text;
        word.size = [word.element.offsetWidth, word.element.offsetHeight];
      }, this);
      map.on("zoomend moveend resize", this.arrange, this);
      this.arrange();
    },
    onRemove: function (map) {
      map.off("zoomend moveend resize", this.arrange, this);
      this.box.remove();
    },
    show: function (test) { this.shown = test; if (this._map) this.arrange(); },
    arrange: function () {
      const map = this._map, taken = this.obstacles.map(function (place) {
        const at = map.latLngToLayerPoint(place);
        return [at.x - 5, at.y - 5, at.x + 5, at.y + 5];
      });
      this.words.forEach(function (word) {
        const at = map.latLngToLayerPoint(word.place);
        if (!word.size[0]) word.size = [word.element.offsetWidth, word.element.offsetHeight];
        const spot = this.shown(word) && spots(at, word.clearance, word.size).find(function (box) {
          return taken.every(function (other) { return box[2] <= other[0] || box[0] >= other[2] || box[3] <= other[1] || box[1] >= other[3]; });
        });
        word.element.classList.toggle("no-room", !spot);
        if (!spot) return;
        taken.push(spot);
        L.DomUtil.setPosition(word.element, L.point(Math.round(spot[0]), Math.round(spot[1])));
      }, this);
    },
  });

  function spots(at, clearance, size) {
    const width = size[0], height = size[1], left = at.x - clearance - width, lift = clearance + height / 2;
    return [
      [at.x + clearance, at.y], [left, at.y], [at.x - width / 2, at.y - lift], [at.x - width / 2, at.y + lift],
      [at.x + 3, at.y - lift], [at.x + 3, at.y + lift], [left + 3, at.y - lift], [left + 3, at.y + lift],
    ].map(function (start) { return [start[0], start[1] - height / 2, start[0] + width, start[1] + height / 2]; });
  }
})();
