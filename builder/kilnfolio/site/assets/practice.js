// Other numbers for the practice problems. The build worked every set; this script only shows one.
// practice.html?set=3 shows the third set of every problem, so that a group can work the same numbers.
(() => {
  "use strict";
  const sets = window.practiceNumbers;
  if (!sets) {
    return;
  }

  function show(kind, number) {
    const problem = document.getElementById(kind);
    const chosen = sets[kind][number];
    problem.querySelector(".asked").innerHTML = chosen.ask;
    problem.querySelector(".worked").innerHTML = chosen.answer;
    problem.querySelector(".set").textContent = String(number + 1);
    problem.querySelectorAll("details").forEach((one) => {
      one.open = false;
    });
    problem.dataset.set = String(number);
  }

  function next(kind) {
    const now = Number(document.getElementById(kind).dataset.set || 0);
    show(kind, (now + 1) % sets[kind].length);
  }

  document.querySelectorAll("button.new-numbers").forEach((button) => {
    button.addEventListener("click", () => {
      (button.dataset.kind ? [button.dataset.kind] : Object.keys(sets)).forEach(next);
    });
  });

  const asked = Number(new URLSearchParams(location.search).get("set"));
  if (asked >= 1) {
    Object.keys(sets).forEach((kind) => {
      show(kind, (Math.floor(asked) - 1) % sets[kind].length);
    });
  }
  document.documentElement.classList.add("scripted");
})();
