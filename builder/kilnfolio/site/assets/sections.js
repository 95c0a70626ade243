/* Marks, in the contents of a page, the section that is being read. Without script the contents stand unmarked. */
(function () {
  "use strict";
  var links = Array.from(document.querySelectorAll(".onpage a[href^='#']"));
  var places = links.map(function (link) { return document.getElementById(decodeURIComponent(link.hash.slice(1))); });
  if (!places.some(Boolean)) { return; }
  var waiting = false;

  function mark() {
    waiting = false;
    var now = -1;
    places.forEach(function (place, index) {
      if (place && place.getBoundingClientRect().top < innerHeight / 3) { now = index; }
    });
    links.forEach(function (link, index) {
      if (index === now) { link.setAttribute("aria-current", "location"); } else { link.removeAttribute("aria-current"); }
    });
  }

  addEventListener("scroll", function () {
    if (!waiting) { waiting = true; requestAnimationFrame(mark); }
  }, { passive: true });
  mark();
}());
