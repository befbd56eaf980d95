/* Tools of a map: coordinates under the pointer, scale, true north, metric grid, measuring, layers, finding a tag. */
(function () {
  "use strict";
  const fixledger = (window.fixledger = window.fixledger || {});
  const tools = (fixledger.tools = {}), say = fixledger.say;

  const whole = function (metres) { return String(Math.round(metres) || 0).replace("-", "\u2212"); };

  tools.length = function (metres) { return metres < 1000 ? metres.toFixed(0) + " m" : (metres / 1000).toFixed(2) + " km"; };

  tools.position = function (place, grid) {
    const longitude = ((place.lng + 540) % 360 + 360) % 360 - 180;
    const degrees = Math.abs(place.lat).toFixed(5) + "\u00b0 " + (place.lat < 0 ? say.south : say.north) + "  " + Math.abs(longitude).toFixed(5) + "\u00b0 " + (longitude < 0 ? say.west : say.east);
    if (!grid.covers(place)) return degrees;
    const metres = grid.metres(place);
    return degrees + say.onGrid(whole(metres[0]), whole(metres[1]));
  };

  tools.coordinates = function (map, grid, output) {
    map.on("mousemove", function (event) { output.textContent = say.pointer(tools.position(event.latlng, grid)); });
    function middle() { output.textContent = say.middle(tools.position(map.getCenter(), grid)); }
    map.on("mouseout moveend", middle);
    middle();
  };

  /* A bar of a round length, and a mark that true north is up. */
  tools.scaleAndNorth = function (map, grid) {
    const control = L.control({ position: "bottomleft" });
    control.onAdd = function () {
      const box = L.DomUtil.create("div", "map-scale");
      this.bar = L.DomUtil.create("span", "bar", box);
      this.words = L.DomUtil.create("span", "words", box);
      return box;
    };
    control.addTo(map);
    function fit() {
      const size = map.getSize(), from = map.containerPointToLatLng([0, size.y / 2]), to = map.containerPointToLatLng([100, size.y / 2]);
      const perPixel = grid.leg(from, to).metres / 100;
      if (!perPixel || !isFinite(perPixel)) return;
      const metres = roundBelow(perPixel * Math.min(150, size.x / 3));
      control.bar.style.width = (metres / perPixel).toFixed(1) + "px";
      control.words.textContent = metres < 1000 ? metres + " m" : metres / 1000 + " km";
    }
    map.on("zoomend moveend resize", fit);
    fit();
    const north = L.control({ position: "topright" });
    north.onAdd = function () {
      const box = L.DomUtil.create("div", "map-north"), svg = L.SVG.create("svg"), arrow = L.SVG.create("path");
      svg.setAttribute("viewBox", "0 0 12 26");
      svg.setAttribute("aria-hidden", "true");
      arrow.setAttribute("d", "M6 25V4M2.5 9L6 1.5L9.5 9Z");
      svg.appendChild(arrow);
      box.appendChild(svg);
      L.DomUtil.create("span", "", box).textContent = say.trueNorth;
      return box;
    };
    north.addTo(map);
  };

  function roundBelow(rough) {
    const base = Math.pow(10, Math.floor(Math.log10(rough)));
    return [5, 2, 1].map(function (factor) { return factor * base; }).find(function (value) { return value <= rough; });
  }

  /* Lines of the survey grid, as close as the eye likes them, drawn anew after every move. */
  tools.gridLines = function (map, grid) {
    const group = L.layerGroup(), box = L.DomUtil.create("div", "map-grid-words leaflet-zoom-hide", map.getPane("labels"));
    function label(place, text, kind) {
      const word = L.DomUtil.create("span", kind, box);
      word.textContent = text;
      L.DomUtil.setPosition(word, map.latLngToLayerPoint(place).round());
    }
    function draw() {
      group.clearLayers();
      box.textContent = "";
      if (!map.hasLayer(group)) return;
      const size = map.getSize(), corners = [[0, 0], [size.x, 0], [0, size.y], [size.x, size.y]].map(function (at) { return map.containerPointToLatLng(at); });
      if (!corners.every(function (corner) { return grid.covers(corner); }) || !size.x) return;
      const metres = corners.map(function (corner) { return grid.metres(corner); });
      const range = [0, 1].map(function (axis) {
        const values = metres.map(function (pair) { return pair[axis]; });
        return [Math.min.apply(null, values), Math.max.apply(null, values)];
      });
      const step = roundBelow((range[0][1] - range[0][0]) / size.x * 220);
      [0, 1].forEach(function (axis) {
        const across = range[1 - axis];
        for (let value = Math.ceil(range[axis][0] / step) * step; value < range[axis][1]; value += step) {
          const ends = [0, 0.25, 0.5, 0.75, 1].map(function (share) {
            const other = across[0] + share * (across[1] - across[0]);
            return axis === 0 ? grid.place(value, other) : grid.place(other, value);
          });
          L.polyline(ends, { className: "grid-line", interactive: false, smoothFactor: 0 }).addTo(group);
          const edge = map.latLngToContainerPoint(ends[0]);
          if (axis === 0 && edge.x > 190 && edge.x < size.x - 60) label(map.containerPointToLatLng([edge.x, size.y]), whole(value) + " " + say.east, "east");
          if (axis === 1 && edge.y > 90 && edge.y < size.y - 50) label(map.containerPointToLatLng([0, edge.y]), whole(value) + " " + say.north, "north");
        }
      });
    }
    map.on("moveend zoomend resize", draw);
    group.on("add remove", function () { setTimeout(draw, 0); });
    group.redraw = draw;
    return group;
  };

  /* Distance and bearing along clicked points; from the keyboard, Enter takes the middle of the map. */
  tools.measure = function (map, grid, button, tell) {
    const line = L.layerGroup().addTo(map), frame = map.getContainer();
    let on = false, points = [];
    function draw() {
      line.clearLayers();
      L.polyline(points, { className: "measure-line", interactive: false, smoothFactor: 0 }).addTo(line);
      points.forEach(function (point) { L.circleMarker(point, { radius: 3.5, className: "measure-end", interactive: false }).addTo(line); });
      if (points.length < 2) return tell(points.length ? say.firstPoint : say.howToMeasure);
      const legs = points.slice(1).map(function (point, index) { return grid.leg(points[index], point); });
      const whole = legs.reduce(function (sum, leg) { return sum + leg.metres; }, 0), last = legs[legs.length - 1];
      tell(say.measured(tools.length(whole), legs.length, tools.length(last.metres), last.bearing.toFixed(0)));
    }
    function turn(now) {
      on = now;
      points = [];
      button.setAttribute("aria-pressed", String(on));
      frame.classList.toggle("measuring", on);
      map.doubleClickZoom[on ? "disable" : "enable"]();
      draw();
      if (!on) tell("");
    }
    /* A move must be over before its middle is taken, and keys pressed during a glide would be lost: while measuring the map moves at once. */
    map.panBy = function (offset, options) { return L.Map.prototype.panBy.call(map, offset, on ? Object.assign({}, options, { animate: false }) : options); };
    function take(place) { points.push(place); draw(); }
    button.addEventListener("click", function () { turn(!on); });
    map.on("click", function (event) { if (on) take(event.latlng); });
    frame.addEventListener("keydown", function (event) {
      if (on && event.key === "Enter" && event.target === frame) take(map.getCenter());
      if (on && event.key === "Escape") turn(false);
    });
    return { isOn: function () { return on; } };
  };

  /* One box per theme; themes are kinds of marks, not tags. */
  tools.layers = function (map, themes, holder) {
    const list = holder.querySelector(".theme-list");
    themes.forEach(function (theme) {
      const label = L.DomUtil.create("label", "", list), box = L.DomUtil.create("input", "", label);
      box.type = "checkbox";
      box.checked = theme.shown;
      label.appendChild(document.createTextNode(theme.words));
      if (theme.shown) theme.layers.forEach(function (layer) { layer.addTo(map); });
      else theme.layers.forEach(function (layer) { map.removeLayer(layer); });
      box.addEventListener("change", function () {
        theme.layers.forEach(function (layer) { box.checked ? layer.addTo(map) : map.removeLayer(layer); });
      });
    });
    holder.addEventListener("keydown", function (event) {
      if (event.key === "Escape" && holder.open) { holder.open = false; holder.querySelector("summary").focus(); }
    });
    document.addEventListener("click", function (event) { if (!holder.contains(event.target)) holder.open = false; });
  };

  /* Typing a name chooses it; an empty field shows all again. */
  /* offMap : name and what is known of each tag that has no place on the map. */
  tools.find = function (tags, offMap, field, choose, tell) {
    const plainly = function (tag) { return tag.trim().toLocaleLowerCase(); }, plain = tags.map(plainly);
    function look(final) {
      const wanted = plainly(field.value);
      if (!wanted) { choose(-1); return tell(""); }
      let found = plain.indexOf(wanted);
      if (found < 0 && final) {
        const like = plain.map(function (tag, index) { return tag.includes(wanted) ? index : -1; }).filter(function (index) { return index >= 0; });
        if (like.length === 1) found = like[0];
        else {
          const known = offMap.find(function (one) { return plainly(one[0]) === wanted; });
          if (!like.length) choose(-1);
          return tell(known ? say.offMap(known[0], known[1]) : like.length ? say.severalTags(like.length) : say.noTag);
        }
      }
      if (found >= 0) choose(found);
    }
    field.addEventListener("input", function () { look(false); });
    field.addEventListener("change", function () { look(true); });
    field.addEventListener("keydown", function (event) {
      if (event.key === "Escape") { field.value = ""; look(true); }
      if (event.key === "Enter") look(true);
    });
    return function (name) { field.value = name; look(true); };
  };
})();
