// New numbers for the practice problems, without end. practice.html?set=3 shows the third set of every problem,
// so that a group can work the same numbers.
(() => {
  "use strict";
  const data = window.practiceProblems;
  if (!data) {
    return;
  }
  /* Sets drawn by the button are below the first; those of exam papers are beyond the last. */
  const DRAWN = 1000000;
  const LAST = 2 ** 30;
  const { kinds, make } = window.kilnfolio.makeProblems(data);
  const now = new Map();

  function showProblem(kind, set) {
    const problem = document.getElementById(kind);
    const made = make(kind, set - 1);
    now.set(kind, made);
    problem.querySelector(".asked").innerHTML = made.ask;
    problem.querySelector(".worked").innerHTML = made.answer;
    problem.querySelector(".set").textContent = String(set);
    problem.querySelectorAll("details").forEach((one) => {
      one.open = false;
    });
    problem.dataset.set = String(set);
  }

  /* A set by chance; some problems have few different numbers, so try until the question changes. */
  function next(kind) {
    const before = shown(kind).ask;
    let set = 1;
    do {
      set = 2 + Math.floor((DRAWN - 2) * Math.random());
    } while (make(kind, set - 1).ask === before);
    showProblem(kind, set);
  }

  /* The problem shown now; the first set is the one on the page. */
  function shown(kind) {
    if (!now.has(kind)) {
      now.set(kind, make(kind, 0));
    }
    return now.get(kind);
  }

  document.querySelectorAll("button.new-numbers").forEach((button) => {
    button.addEventListener("click", () => {
      (button.dataset.kind ? [button.dataset.kind] : kinds).forEach(next);
    });
  });

  const asked = Math.floor(Number(new URLSearchParams(location.search).get("set")));
  if (asked >= 1 && asked <= LAST) {
    kinds.forEach((kind) => {
      showProblem(kind, asked);
    });
  }
  window.practiceShown = shown;
  document.documentElement.classList.add("scripted");
})();
