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
  const strip = document.querySelector(".onpage");
  let waiting = false;
  let last = -1;

  function mark() {
    waiting = false;
    let now = -1;
    places.forEach((place, index) => {
      if (place && place.getBoundingClientRect().top < innerHeight / 3) {
        now = index;
      }
    });
    if (now !== last && now >= 0) {
      // on a phone the contents are one line, which moves along
      strip.scrollLeft = links[now].offsetLeft - strip.clientWidth / 4;
    }
    last = now;
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
