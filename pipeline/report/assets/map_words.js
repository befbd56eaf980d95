/* Every English word and sentence that the scripts of a map show. Another language is another file with the same names.
   Names of tags and flights come as they are; `directed` keeps those with letters from right to left in their place. */
(function () {
  "use strict";
  const fixledger = (window.fixledger = window.fixledger || {});
  const SEPARATOR = " \u00b7 ";

  fixledger.say = {
    // tools of every map
    north: "N", south: "S", east: "E", west: "W", trueNorth: "true north",
    pointer: function (position) { return "Pointer  " + position; },
    middle: function (position) { return "Middle of the map, not of a tag:  " + position; },
    onGrid: function (east, north) { return "   grid " + east + " E  " + north + " N"; },
    firstPoint: "First point set; take the next.",
    howToMeasure: "Click points on the map, or move it and press Enter to take its middle. Escape ends.",
    measured: function (whole, legs, last, bearing) { return whole + (legs > 1 ? " in " + legs + " legs; the last " + last : "") + ", bearing " + bearing + "\u00b0 true"; },
    severalTags: function (count) { return count + " tags have this in their name; type more."; },
    noTag: "No tag of this name is known to this map.",
    offMap: function (tag, words) { return fixledger.directed(tag) + " is not on this map: " + words; },

    // themes and marks
    relief: "Relief", metricGrid: "Metric grid", searched: "Ground searched", area: "Study area", tracks: "Flight tracks", records: "Heard and not heard",
    regions: "Regions and places", beacons: "Beacons", fetch: "To look for on foot", found: "Found on the ground", names: "Names",
    both: function (first, second) { return first + SEPARATOR + second; },
    heard: function (strength, atCeiling) { return strength === null ? "heard" : "heard at " + strength + " dB" + (atCeiling ? ", at the ceiling" : ""); },
    notHeard: "listened, not heard",
    inside: function (probability) { return "inside with probability " + probability; },
    flight: function (name) { return "flight " + name; },
    newestPlace: function (position) { return "newest place at " + position; },
    bestPlace: function (position) { return "best place at " + position; },
    surveyedPlace: function (position) { return "surveyed at " + position; },
    chosen: function (tag, notes) { return fixledger.directed(tag) + (notes.length ? ": " + notes.join("; ") : " is shown; clear the field to show all."); },

    // going over a flight, or over the dates of an animal
    play: "Play", pause: "Pause", allDates: "all dates",
    moment: function (time, minute, record, count) { return time + SEPARATOR + "minute " + minute + SEPARATOR + "record " + record + " of " + count; },
    position: function (number, count) { return "position " + number + " of " + count; },
    goneOver: function (tag, flight, place) { return fixledger.directed(tag) + " in flight " + fixledger.directed(flight) + " alone, as it went on" + (place ? "; " + place : "") + ". Leave the flight to see the place stated for the tag."; },
    notYet: function (tag, flight) { return fixledger.directed(tag) + " has not been heard yet in " + fixledger.directed(flight) + ": no region can be drawn."; },
    soFar: function (tag, heard, listened, hectares, metres, cut) {
      return fixledger.directed(tag) + " heard in " + heard + " of its first " + listened + " records. With probability 0.95 it is inside " + hectares + " ha, within " + metres + " m of the middle of that region."
        + (cut ? " The region reaches the edge of the ground looked at; it is larger than said." : "");
    },
  };
})();
