/* kilnfolio: the kiln-side page.

   The page contains the state of its charge in <script type="application/json" id="kiln-state">, written by
   the build. A round is checked by the rules of review/round_check.py, step by step, so that both agree to
   the digit; change rules in both places. Entries are kept on this device until they are handed over as an
   entry file, whose schema is that of adopt/entry/entries.py.

   It requires wood.js and entry-codes.js. The pure functions come first, on window.kilnfolio.kilnSide; the code that
   reads and fills the page is at the end. */

(() => {
  "use strict";

  window.kilnfolio ||= {};
  const { kilnfolio } = window;
  const { fixed, local, number } = kilnfolio.numbers;

  const DECIMALS = { g: 0, kg: 3, lb: 2, oz: 1 };
  const POUND = 453.59237;
  const GRAMS = { g: 1, kg: 1000, lb: POUND, oz: POUND / 16 };

  /* ---- review/round_check.py -------------------------------------------------------------------- */

  const GAIN_SHARE = 0.001;
  const GAIN_STEPS = 2;
  const SLIP_GAIN = 0.01;
  const SLIP_TIMES = 3;
  const SLIP_POINTS = 15;
  const LEAST_HOURS = 12;
  const SWAP_FITS_PCT = 1.5;
  const SWAP_TIMES = 4;
  const UNIT_SLIPS = [
    ["kg for g", 1000],
    ["g for kg", 0.001],
    ["lb for kg", POUND / 1000],
    ["kg for lb", 1000 / POUND],
  ];

  const massWords = (grams, unit) => local(fixed(grams / GRAMS[unit], DECIMALS[unit]));
  const time = (stamp) => Date.parse(stamp);

  function loss(board, mass, at) {
    if (board.oven_dry_g === null || board.last_g === null || board.last_at === null) return null;
    const days = (at - time(board.last_at)) / 1000 / 86400;
    return days <= 0 ? null : (100 * (board.last_g - mass)) / board.oven_dry_g / days;
  }

  function sureLoss(board, mass, at) {
    if (board.last_at === null) return null;
    return loss(board, mass, Math.max(at, time(board.last_at) + LEAST_HOURS * 3600000));
  }

  function look(state, board, mass, at) {
    if (board.oven_dry_g === null || mass < board.oven_dry_g) {
      return { tag: board.tag, mass_g: mass, mc_pct: null, loss_pct_day: null, to_go_g: null };
    }
    return {
      tag: board.tag,
      mass_g: mass,
      mc_pct: 100 * (mass / board.oven_dry_g - 1),
      loss_pct_day: loss(board, mass, at),
      to_go_g:
        state.next_due === null
          ? null
          : mass - board.oven_dry_g * (1 + state.next_due.mc_pct / 100),
    };
  }

  function controlling(rule, looks) {
    let mcs = looks
      .filter((one) => one.mc_pct !== null)
      .map((one) => one.mc_pct)
      .sort((a, b) => b - a);
    if (!mcs.length) return null;
    if (rule === "wettest board") mcs = mcs.slice(0, 1);
    else if (rule === "wettest half") mcs = mcs.slice(0, Math.floor((mcs.length + 1) / 2));
    return mcs.reduce((sum, mc) => sum + mc, 0) / mcs.length;
  }

  function isDue(due, looks, mc) {
    const mcs = looks.filter((one) => one.mc_pct !== null).map((one) => one.mc_pct);
    if (due === null || mc === null) return false;
    const deciding = { controlling: mc, driest: Math.min(...mcs), wettest: Math.max(...mcs) };
    return deciding[due.whose] <= due.mc_pct;
  }

  function slip(state, board, mass, at) {
    if (board.oven_dry_g !== null && mass < board.oven_dry_g) return "below oven-dry";
    if (board.last_g === null) return "";
    if (mass > board.last_g * (1 + SLIP_GAIN)) return "gained";
    const lost = sureLoss(board, mass, at);
    const most = board.limit_pct_day ? SLIP_TIMES * board.limit_pct_day : SLIP_POINTS;
    return lost !== null && lost > most && board.last_g - mass > 2 * state.resolution_g
      ? "lost"
      : "";
  }

  function miss(board, mass, at) {
    const days = (at - time(board.last_at)) / 1000 / 86400;
    const rate = (Math.max(board.loss_pct_day || 0, 0) * (board.oven_dry_g || 0)) / 100;
    const low = board.last_g - rate * Math.max(days, 0);
    return mass > 0 ? (100 * Math.max(low - mass, mass - board.last_g, 0)) / mass : 100;
  }

  function swappedTags(known, masses, at) {
    const found = [];
    const tags = Object.keys(masses).filter((tag) => known[tag] && known[tag].last_g !== null);
    const taken = (tag) => found.some((pair) => pair.includes(tag));
    const pairs = tags.flatMap((one, place) => tags.slice(place + 1).map((other) => [one, other]));
    for (const [one, other] of pairs) {
      if (taken(one) || taken(other)) continue;
      const straight = [miss(known[one], masses[one], at), miss(known[other], masses[other], at)];
      const crossed = [miss(known[one], masses[other], at), miss(known[other], masses[one], at)];
      const fits = Math.max(...crossed) <= SWAP_FITS_PCT;
      if (fits && Math.min(...straight) >= SWAP_TIMES * Math.max(...crossed, 0.5))
        found.push([one, other]);
    }
    return found;
  }

  function* variants(digits) {
    for (let at = 0; at <= digits.length; at += 1) {
      for (const digit of "0123456789") yield digits.slice(0, at) + digit + digits.slice(at);
    }
    for (let at = 0; at < digits.length; at += 1) {
      for (const digit of "0123456789") yield digits.slice(0, at) + digit + digits.slice(at + 1);
    }
    for (let at = 0; at < digits.length - 1; at += 1) {
      yield digits.slice(0, at) + digits[at + 1] + digits[at] + digits.slice(at + 2);
    }
  }

  function otherDigits(state, board, written, at) {
    let best = Infinity;
    let found = "";
    for (const digits of variants(written.replace(/\D/g, ""))) {
      const point = digits.length - DECIMALS[board.unit];
      const text =
        point === digits.length
          ? digits
          : `${digits.slice(0, point) || "0"}.${digits.slice(point)}`;
      const mass = Number(text) * GRAMS[board.unit];
      if (
        board.last_g !== null &&
        mass <= board.last_g * (1 + GAIN_SHARE) &&
        !slip(state, board, mass, at)
      ) {
        const off = Math.abs(mass - board.last_g);
        if (off < best) {
          best = off;
          found = text;
        }
      }
    }
    return found;
  }

  function slipWords(state, board, mass, at) {
    const how = slip(state, board, mass, at);
    const unit = board.unit;
    const tags = [board.tag];
    if (how === "below oven-dry") {
      return {
        kind: how,
        tags,
        words:
          `${board.tag} ${massWords(mass, unit)} ${unit} is below its oven-dry mass, ` +
          `${massWords(board.oven_dry_g || 0, unit)} ${unit}`,
      };
    }
    if (how === "gained") {
      return {
        kind: how,
        tags,
        words: `${board.tag} gained ${massWords(mass - (board.last_g || 0), unit)} ${unit}`,
      };
    }
    return {
      kind: "too fast",
      tags,
      words: `${board.tag} lost ${number(sureLossShown(board, mass, at), 1)} points a day`,
    };
  }

  const sureLossShown = (board, mass, at) => loss(board, mass, at) || 0;

  function* plainDoubts(state, board, mass, at) {
    if (board.last_g === null) return;
    const gain = mass - board.last_g;
    const tags = [board.tag];
    if (
      state.stage === "drying" &&
      gain > Math.max(GAIN_STEPS * state.resolution_g, GAIN_SHARE * board.last_g)
    ) {
      yield {
        kind: "gained",
        tags,
        words: `${board.tag} gained ${massWords(gain, board.unit)} ${board.unit} while drying`,
      };
    }
    const lost = sureLoss(board, mass, at);
    if (
      lost !== null &&
      board.limit_pct_day &&
      lost > board.limit_pct_day &&
      -gain > GAIN_STEPS * state.resolution_g
    ) {
      yield {
        kind: "too fast",
        tags,
        words:
          `${board.tag} lost ${number(lost, 1)} points a day; ` +
          `${number(board.limit_pct_day, 1)} is safe for its timber`,
      };
    }
  }

  function* doubtsOf(state, board, mass, at) {
    const tags = [board.tag];
    const unit = board.unit;
    if (!slip(state, board, mass, at)) {
      yield* plainDoubts(state, board, mass, at);
      return;
    }
    const written = massWords(mass, unit);
    const last = massWords(board.last_g || 0, unit);
    for (const [words, factor] of UNIT_SLIPS) {
      if (!slip(state, board, mass * factor, at)) {
        yield {
          kind: "unit",
          tags,
          words:
            `${board.tag} ${written} ${unit}: was it read in another unit, ` +
            `${words}? Last was ${last} ${unit}`,
        };
        return;
      }
    }
    const meant = otherDigits(state, board, written, at);
    if (meant) {
      yield {
        kind: "digit",
        tags,
        words:
          `${board.tag} ${written} ${unit}: a digit lost or misread? ` +
          `${local(meant)} ${unit} would fit; last was ${last} ${unit}`,
      };
      return;
    }
    yield slipWords(state, board, mass, at);
  }

  function* doubts(state, known, masses, at) {
    const stamps = state.boards.map((board) => board.last_at).filter(Boolean);
    const last = stamps.reduce(
      (latest, stamp) => (latest === null || time(stamp) > time(latest) ? stamp : latest),
      null,
    );
    if (last !== null && at < time(last)) {
      yield {
        kind: "time",
        tags: [],
        words: `the last round on record is later: ${last.slice(0, 16).replace("T", " ")}`,
      };
    }
    for (const tag of Object.keys(masses)) {
      if (!known[tag]) {
        yield {
          kind: "unknown",
          tags: [tag],
          words: `there is no board ${tag}; the charge has ${Object.keys(known).join(", ")}`,
        };
      }
    }
    const swapped = swappedTags(known, masses, at);
    for (const [one, other] of swapped) {
      yield {
        kind: "swapped",
        tags: [one, other],
        words: `${one} and ${other} would fit if their masses were exchanged: are the tags swapped?`,
      };
    }
    for (const tag of Object.keys(masses)) {
      if (known[tag] && !swapped.some((pair) => pair.includes(tag)))
        yield* doubtsOf(state, known[tag], masses[tag], at);
    }
  }

  /* Check a round before it is stored: masses in g by board, time in ms since 1970. */
  function lookAtRound(state, masses, at) {
    const known = Object.fromEntries(state.boards.map((board) => [board.tag, board]));
    const looks = Object.keys(masses)
      .filter((tag) => known[tag])
      .map((tag) => look(state, known[tag], masses[tag], at));
    const mc = controlling(state.control_rule, looks);
    return {
      boards: looks,
      controlling_pct: mc,
      is_due: isDue(state.next_due, looks, mc),
      doubts: [...doubts(state, known, masses, at)],
      missing: Object.keys(known).filter((tag) => !(tag in masses)),
    };
  }

  /* ---- entries ------------------------------------------------------------------------------------ */

  const two = (value) => String(value).padStart(2, "0");

  /* A time by this device's clock with its UTC offset, to the minute. */
  function stamp(date) {
    const off = -date.getTimezoneOffset();
    const size = Math.abs(off);
    return (
      `${date.getFullYear()}-${two(date.getMonth() + 1)}-${two(date.getDate())}T${two(date.getHours())}:` +
      `${two(date.getMinutes())}${off < 0 ? "-" : "+"}${two(Math.floor(size / 60))}:${two(size % 60)}`
    );
  }

  function newId() {
    const bytes = crypto.getRandomValues(new Uint8Array(12));
    return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  /* Return typed text in a unit as grams; null for no text, NaN if it is not a number. */
  function grams(text, unit) {
    const plain = text.trim().replace(",", ".");
    if (!plain) return null;
    return /^\d+(\.\d+)?$|^\.\d+$/.test(plain) ? Number(plain) * GRAMS[unit] : NaN;
  }

  function entryFile(state, by, device, entries, now) {
    return {
      kilnfolio_entries: 1,
      charge: state.charge,
      by,
      device,
      saved: stamp(now),
      zone: Intl.DateTimeFormat().resolvedOptions().timeZone || "UTC",
      entries,
    };
  }

  /* Return typed text as an MC in percent; null for no text, NaN for an impossible MC. */
  function percent(text) {
    const plain = text.replace("%", "").trim().replace(",", ".");
    if (!plain) return null;
    const mc = /^\d+(\.\d+)?$/.test(plain) ? Number(plain) : NaN;
    return mc <= 300 ? mc : NaN; // the record's own limit
  }

  /* Return the stop that has not ended: the last on this device, else in the record; null for none. */
  function openStop(state, kept) {
    const stops = kept.filter((one) => one.kind === "stop");
    const ended = new Set(stops.filter((one) => one.end).map((one) => Date.parse(one.start)));
    const running = [...(state.open_stop ? [state.open_stop] : []), ...stops];
    return running.filter((one) => !one.end && !ended.has(Date.parse(one.start))).pop() || null;
  }

  kilnfolio.kilnSide = { lookAtRound, massWords, stamp, grams, percent, openStop, entryFile };

  /* ---- the page ----------------------------------------------------------------------------------- */

  function begin() {
    const source = document.getElementById("kiln-state");
    if (!source) return;
    const state = JSON.parse(source.textContent);
    const form = document.getElementById("round");
    const said = document.getElementById("said");
    const kept = store(`kilnfolio-entries:${location.pathname}`);
    const who = document.getElementById("by");
    who.value = localStorage.getItem("kilnfolio-by") || "";
    who.addEventListener("change", () => localStorage.setItem("kilnfolio-by", who.value.trim()));

    const fields = [...form.querySelectorAll("input[data-board]")];
    const boards = Object.fromEntries(state.boards.map((board) => [board.tag, board]));

    function masses() {
      const found = {};
      for (const field of fields) {
        const mass = grams(field.value, boards[field.dataset.board].unit);
        field.setAttribute("aria-invalid", Number.isNaN(mass) ? "true" : "false");
        if (mass !== null && !Number.isNaN(mass)) found[field.dataset.board] = mass;
      }
      return found;
    }

    function show() {
      const found = masses();
      const round = lookAtRound(state, found, Date.now());
      for (const field of fields) {
        const cell = document.getElementById(`look-${field.dataset.board}`);
        const one = round.boards.find((board) => board.tag === field.dataset.board);
        const unit = boards[field.dataset.board].unit;
        cell.textContent =
          !one || one.mc_pct === null
            ? ""
            : `${number(one.mc_pct, 1)} %` +
              (one.loss_pct_day === null ? "" : `, ${number(one.loss_pct_day, 1)} a day`) +
              (one.to_go_g === null
                ? ""
                : one.to_go_g > 0
                  ? `, ${massWords(one.to_go_g, unit)} ${unit} to go`
                  : ", due");
      }
      const lines = round.doubts.map((doubt) => `▲ ${doubt.words}`);
      if (round.controlling_pct !== null) {
        lines.push(
          `Controlling MC ${number(round.controlling_pct, 1)} %` +
            (state.next_due
              ? round.is_due
                ? `: ${state.next_due.label} is due`
                : `; next: ${state.next_due.label}`
              : ""),
        );
      }
      said.replaceChildren(...lines.map((line) => element("li", line)));
      said.classList.toggle("has-doubts", round.doubts.length > 0);
      return { found, round };
    }
    form.addEventListener("input", show);

    function add(entry) {
      if (!who.value.trim()) {
        setMessage("Write your name first.");
        who.focus();
        return false;
      }
      kept.add({ id: newId(), by: who.value.trim(), ...entry });
      list();
      return true;
    }

    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const { found, round } = show();
      if (fields.some((field) => field.getAttribute("aria-invalid") === "true")) {
        setMessage("A mass is a number.");
        return;
      }
      if (!Object.keys(found).length) {
        setMessage("No mass is written.");
        return;
      }
      const button = document.getElementById("save-round");
      if (round.doubts.length && button.dataset.sure !== "yes") {
        button.dataset.sure = "yes";
        button.textContent = "It is right: keep it";
        setMessage("Look again: something may be wrong.");
        return;
      }
      const words = Object.fromEntries(
        fields
          .filter((field) => field.dataset.board in found)
          .map((field) => [
            field.dataset.board,
            `${field.value.trim().replace(",", ".").replace(/^\./, "0.")} ${boards[field.dataset.board].unit}`,
          ]),
      );
      if (add({ kind: "weighing", at: stamp(new Date()), masses: words })) {
        form.reset();
        show();
        setMessage("Round kept on this device.");
      }
      button.dataset.sure = "";
      button.textContent = "Keep this round";
    });
    form.addEventListener("input", () => {
      const button = document.getElementById("save-round");
      button.dataset.sure = "";
      button.textContent = "Keep this round";
    });

    const meter = document.getElementById("meter");
    meter.addEventListener("submit", (event) => {
      event.preventDefault();
      const other = document.getElementById("meter-board");
      const named = [...meter.querySelectorAll("input[data-metered]")].map((field) => [
        field.dataset.metered,
        field,
      ]);
      const read = [...named, [other.value.trim(), document.getElementById("meter-mc")]];
      const mc = {};
      let wrong = "";
      for (const [tag, field] of read) {
        const value = percent(field.value);
        const isBad = Number.isNaN(value);
        field.setAttribute("aria-invalid", isBad ? "true" : "false");
        if (isBad) wrong = "An MC is a number from 0 to 300.";
        else if (value !== null && !tag) wrong = "Name the board of the last reading.";
        else if (value !== null && tag in mc) wrong = `${tag} is read twice.`;
        else if (value !== null) mc[tag] = `${value} %`;
      }
      if (wrong) {
        setMessage(wrong);
        return;
      }
      if (!Object.keys(mc).length) {
        setMessage("No MC is written.");
        return;
      }
      if (add({ kind: "weighing", at: stamp(new Date()), mc })) {
        meter.reset();
        setMessage("Readings kept on this device.");
      }
    });

    const text = document.getElementById("words");
    const actions = {
      step: () => ({
        kind: "step",
        at: stamp(new Date()),
        step: Number(document.getElementById("step").value),
      }),
      wick: () => ({
        kind: "event",
        at: stamp(new Date()),
        event: "wick changed",
        ...(text.value.trim() ? { note: text.value.trim() } : {}),
      }),
      note: () =>
        text.value.trim()
          ? { kind: "event", at: stamp(new Date()), event: "note", note: text.value.trim() }
          : null,
      stop: () => {
        const open = openStop(state, kept.all());
        if (open) {
          return { kind: "stop", start: open.start, cause: open.cause, end: stamp(new Date()) };
        }
        return text.value.trim()
          ? { kind: "stop", start: stamp(new Date()), cause: text.value.trim() }
          : null;
      },
    };
    for (const button of document.querySelectorAll("button[data-action]")) {
      button.addEventListener("click", () => {
        const entry = actions[button.dataset.action]();
        if (!entry) {
          setMessage("Write in words what it is, then press again.");
          text.focus();
          return;
        }
        if (add(entry)) {
          text.value = "";
          setMessage("Kept on this device.");
        }
      });
    }

    function list() {
      const all = kept.all();
      document
        .getElementById("kept")
        .replaceChildren(...all.map((one) => element("li", entryWords(one))));
      document.getElementById("codes").hidden = true; // they show the earlier entries
      document.getElementById("kept-count").textContent = all.length ? String(all.length) : "none";
      for (const id of ["share", "download", "send", "show-codes"]) {
        const button = document.getElementById(id);
        if (button) button.disabled = !all.length;
      }
      document.querySelector("button[data-action=stop]").textContent = openStop(state, all)
        ? "Kiln runs again"
        : "Kiln stopped";
    }

    function file() {
      const now = new Date();
      const made = entryFile(state, who.value.trim() || "unnamed", deviceName(), kept.all(), now);
      const name = `${state.charge}-${stamp(now).slice(0, 16).replace(/[-:T]/g, "")}.json`;
      return new File([JSON.stringify(made, null, 1)], name, { type: "application/json" });
    }

    document.getElementById("download").addEventListener("click", () => {
      const made = file();
      const link = element("a", "");
      link.href = URL.createObjectURL(made);
      link.download = made.name;
      link.click();
      handedOver(`Saved as ${made.name}.`);
    });
    const share = document.getElementById("share");
    share.hidden = !navigator.canShare?.({
      files: [new File(["{}"], "a.json", { type: "application/json" })],
    });
    share.addEventListener("click", async () => {
      try {
        await navigator.share({ files: [file()] });
        handedOver("Shared.");
      } catch {
        setMessage("Not shared; the entries are kept.");
      }
    });
    const send = document.getElementById("send");
    if (document.querySelector("meta[name=kilnfolio-takes-entries]")) {
      send.hidden = false;
      send.addEventListener("click", async () => {
        try {
          const answer = await fetch("/_entries", {
            method: "POST",
            headers: { "Content-Type": "application/json" },
            body: await file().text(),
          });
          const words = await answer.text();
          if (answer.ok) {
            handedOver(words.trim());
          } else {
            setMessage(words.trim() || "Not taken; the entries are kept.");
          }
        } catch {
          setMessage("No answer from the mill's computer; the entries are kept.");
        }
      });
    }
    const codes = document.getElementById("codes");
    document.getElementById("show-codes").addEventListener("click", () => {
      const made = entryFile(
        state,
        who.value.trim() || "unnamed",
        deviceName(),
        kept.all(),
        new Date(),
      );
      if (kilnfolio.entryCodes.show(codes, made)) handedOver("Take a picture of each code.");
      else setMessage("These are too many entries for codes: save the entry file instead.");
    });
    const clear = document.getElementById("clear");
    clear.addEventListener("click", () => {
      kept.clear();
      clear.hidden = true;
      list();
      setMessage("Cleared.");
    });
    function handedOver(words) {
      clear.hidden = false;
      setMessage(
        `${words} The entries stay here until you clear them; taking them twice does no harm.`,
      );
    }

    function setMessage(words) {
      document.getElementById("told").textContent = words;
    }

    for (const cell of document.querySelectorAll("[data-due]")) {
      if (!state.invented && Date.now() > time(cell.dataset.due)) cell.classList.add("is-late");
    }
    list();
    show();
    document.documentElement.dataset.ready = "yes";
    if ("serviceWorker" in navigator && location.protocol !== "file:") {
      navigator.serviceWorker.register("worker.js").catch(() => {});
    }
  }

  function deviceName() {
    let name = localStorage.getItem("kilnfolio-device");
    if (!name) {
      name = `device ${newId().slice(0, 6)}`;
      localStorage.setItem("kilnfolio-device", name);
    }
    return name;
  }

  function element(name, words) {
    const made = document.createElement(name);
    made.textContent = words;
    return made;
  }

  function entryWords(one) {
    const when = (one.at || one.end || one.start).slice(0, 16).replace("T", " ");
    const what = {
      weighing: () =>
        Object.entries({ ...one.masses, ...one.mc })
          .map(([tag, value]) => `${tag} ${value}`)
          .join(", "),
      step: () => `step ${one.step} set`,
      stop: () => (one.end ? "kiln runs again" : `kiln stopped: ${one.cause}`),
      event: () => one.event + (one.note ? `: ${one.note}` : ""),
    }[one.kind]();
    return `${when} ${what} (${one.by})`;
  }

  /* A list stored on this device under a key; entries added by another tab are preserved. */
  function store(key) {
    const all = () => {
      try {
        return JSON.parse(localStorage.getItem(key)) || [];
      } catch {
        return [];
      }
    };
    return {
      all,
      add: (entry) => localStorage.setItem(key, JSON.stringify([...all(), entry])),
      clear: () => localStorage.removeItem(key),
    };
  }

  if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", begin);
  else begin();
})();
