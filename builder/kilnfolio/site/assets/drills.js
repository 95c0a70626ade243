/* Marking of drills: the trainee points to a cell or time, names the fault and chooses what to do. Answers are
   compared with the findings of the mill's own review, which the build wrote to the form. */
(() => {
  "use strict";

  const MARGIN = 360; // tolerance of a time read from a chart [min]

  /* "day 5, 07:10" as minutes from the first midnight; null if the words give no time. */
  function minuteOf(words) {
    const found = /\bday (\d+), (\d\d):(\d\d)/.exec(words);
    return found ? 1440 * (found[1] - 1) + 60 * +found[2] + +found[3] : null;
  }

  function begin(form) {
    const drill = form.closest(".drill");
    const answer = JSON.parse(form.dataset.answer);
    const field = (name) => form.querySelector(`[name="${name}"]`);
    const key = drill.querySelector("details.key");
    const said = form.querySelector("[role=status]");
    const charts = Array.from(drill.querySelectorAll("svg[data-days]"));
    let tries = 0;
    key.hidden = true;

    function minute() {
      const clock = /^(\d\d):(\d\d)/.exec(field("clock").value);
      const day = Number(field("day").value);
      return day >= 1 && clock ? 1440 * (day - 1) + 60 * clock[1] + +clock[2] : null;
    }

    function showHour() {
      for (const svg of charts) {
        svg.querySelector(".pointed")?.remove();
        const { left, width, top, foot, days, minute: from } = svg.dataset;
        const share = (minute() - from) / (1440 * days);
        if (minute() === null || share < 0 || share > 1) continue;
        const line = document.createElementNS("http://www.w3.org/2000/svg", "path");
        line.setAttribute("class", "ink pointed");
        line.setAttribute("d", `M${+left + share * width} ${top}V${foot}`);
        svg.append(line);
      }
    }

    function setHour(at) {
      field("day").value = at === null ? "" : Math.floor(at / 1440) + 1;
      field("clock").value =
        at === null ? "" : new Date(6e4 * (at % 1440)).toISOString().slice(11, 16);
      showHour();
    }

    function setBoard(tag) {
      const known = Array.from(field("board").options).some((one) => one.value === tag);
      field("board").value = known ? tag : "";
    }

    drill.addEventListener("click", (event) => {
      const cell = event.target.closest(".record td, .record tbody th, .made li");
      if (!cell) return;
      const row = cell.closest("tr");
      const table = cell.closest("table");
      const head = table?.tHead.rows[0].cells[cell.cellIndex];
      const first = (row ? row.cells[0] : cell).textContent.trim();
      drill.querySelector(".picked")?.classList.remove("picked");
      cell.classList.add("picked");
      setHour(minuteOf(first));
      setBoard(minuteOf(first) === null ? first : head ? head.textContent.trim() : "");
    });
    for (const svg of charts) {
      svg.addEventListener("click", (event) => {
        const { left, width, days, minute: from } = svg.dataset;
        const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(
          svg.getScreenCTM().inverse(),
        );
        const share = Math.min(1, Math.max(0, (at.x - left) / width));
        setHour(Math.max(0, Math.round(+from + share * days * 1440)));
      });
    }
    for (const name of ["day", "clock"]) field(name).addEventListener("input", showHour);

    /* Whether the trainee's place fits a finding; what the finding does not name is ignored. */
    function fits(place) {
      const at = minute();
      if (place.boards.length && !place.boards.includes(field("board").value)) return false;
      if (place.probe && field("probe").value !== place.probe) return false;
      if (!place.minutes) return true;
      const margin = place.boards.length ? 60 : MARGIN;
      return at !== null && at >= place.minutes[0] - margin && at <= place.minutes[1] + margin;
    }

    form.addEventListener("submit", (event) => {
      event.preventDefault();
      if (!field("fault").value || !field("action").value) {
        said.textContent = "Name the fault and choose what to do first.";
        return;
      }
      tries += 1;
      const marks = [
        ["the place", answer.places.some(fits)],
        ["the fault", field("fault").value === answer.fault],
        ["what to do", field("action").value === answer.fault],
      ];
      const list = (right) => marks.filter((one) => one[1] === right).map((one) => one[0]);
      const good = list(true);
      const bad = list(false);
      form.dataset.marks = String(good.length);
      said.textContent =
        (good.length ? `Right: ${good.join(", ")}. ` : "") +
        (bad.length
          ? `Not what the review says: ${bad.join(", ")}. `
          : "All three as the review has them. ") +
        (bad.length && tries < 2 ? "Look again." : "The key is open below.");
      if (!bad.length || tries > 1) {
        key.hidden = false;
        key.open = !bad.length;
      }
    });
  }

  document.documentElement.classList.add("scripted");
  document.querySelectorAll("form.point").forEach(begin);
})();
