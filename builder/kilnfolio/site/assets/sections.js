/* Marks the section being read in the contents of the page. */
(() => {
  "use strict";
  const links = Array.from(document.querySelectorAll(".onpage a[href^='#']"));
  const places = links.map((link) =>
    document.getElementById(decodeURIComponent(link.hash.slice(1))),
  );
  if (!places.some(Boolean)) {
    return;
  }
  let waiting = false;

  function mark() {
    waiting = false;
    let now = -1;
    places.forEach((place, index) => {
      if (place && place.getBoundingClientRect().top < innerHeight / 3) {
        now = index;
      }
    });
    links.forEach((link, index) => {
      if (index === now) {
        link.setAttribute("aria-current", "location");
      } else {
        link.removeAttribute("aria-current");
      }
    });
  }

  addEventListener(
    "scroll",
    () => {
      if (!waiting) {
        waiting = true;
        requestAnimationFrame(mark);
      }
    },
    { passive: true },
  );
  mark();
})();
