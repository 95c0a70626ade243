/* kilnfolio: checks whether the record on this page bears the seal on the pack's label.

   The page contains the record as text and this script its own SHA-256 (FIPS 180-4), so that the check also works
   from a file, where the browser's digests may be missing. The page's words are compared with the record too, so
   that a page cannot say one thing and contain another. */
"use strict";

(() => {
  // The constants are the first 32 bits of the fractional parts of roots of primes (FIPS 180-4, 4.2.2, 5.3.3).
  function primes(count) {
    const found = [];
    for (let n = 2; found.length < count; n++) if (found.every((p) => n % p)) found.push(n);
    return found;
  }
  function fraction(value) {
    return ((value - Math.floor(value)) * 4294967296) | 0;
  }
  const START = primes(8).map((p) => fraction(Math.sqrt(p)));
  const ROUND = primes(64).map((p) => fraction(Math.cbrt(p)));

  function rotateRight(x, n) {
    return (x >>> n) | (x << (32 - n));
  }

  function padded(bytes) {
    const size = (((bytes.length + 8) >> 6) << 6) + 64;
    const whole = new Uint8Array(size);
    whole.set(bytes);
    whole[bytes.length] = 0x80;
    const view = new DataView(whole.buffer);
    view.setUint32(size - 8, Math.floor(bytes.length / 536870912));
    view.setUint32(size - 4, (bytes.length << 3) >>> 0);
    return view;
  }

  function mix(state, view, offset) {
    const w = new Int32Array(64);
    for (let i = 0; i < 16; i++) w[i] = view.getInt32(offset + 4 * i);
    for (let i = 16; i < 64; i++) {
      const s0 = rotateRight(w[i - 15], 7) ^ rotateRight(w[i - 15], 18) ^ (w[i - 15] >>> 3);
      const s1 = rotateRight(w[i - 2], 17) ^ rotateRight(w[i - 2], 19) ^ (w[i - 2] >>> 10);
      w[i] = w[i - 16] + s0 + w[i - 7] + s1;
    }
    let [a, b, c, d, e, f, g, h] = state;
    for (let i = 0; i < 64; i++) {
      const s1 = rotateRight(e, 6) ^ rotateRight(e, 11) ^ rotateRight(e, 25);
      const one = (h + s1 + ((e & f) ^ (~e & g)) + ROUND[i] + w[i]) | 0;
      const s0 = rotateRight(a, 2) ^ rotateRight(a, 13) ^ rotateRight(a, 22);
      const two = (s0 + ((a & b) ^ (a & c) ^ (b & c))) | 0;
      h = g;
      g = f;
      f = e;
      e = (d + one) | 0;
      d = c;
      c = b;
      b = a;
      a = (one + two) | 0;
    }
    [a, b, c, d, e, f, g, h].forEach((value, i) => {
      state[i] = (state[i] + value) | 0;
    });
  }

  function sha256(text) {
    const view = padded(new TextEncoder().encode(text));
    const state = START.slice();
    for (let offset = 0; offset < view.byteLength; offset += 64) mix(state, view, offset);
    return state.map((word) => (word >>> 0).toString(16).padStart(8, "0")).join("");
  }

  function plain(text) {
    return String(text).replace(/\s+/g, " ").trim();
  }

  /* Patterns that translate words of the record to the page's language; see rendering/languages.py. */
  const LANGUAGE = window.kilnfolioSays;

  function localizeFigures(words) {
    return words
      .replace(
        new RegExp(`(\\d{1,2}) (${LANGUAGE.english.join("|")}) (\\d{4})`, "g"),
        (_, day, month, year) =>
          LANGUAGE.date
            .replace("{0}", day)
            .replace("{1}", LANGUAGE.months[LANGUAGE.english.indexOf(month)])
            .replace("{2}", year),
      )
      .replace(
        /(^|[^\d.])(\d{1,3}(?: \d{3})+(?:\.\d+)?|\d+\.\d+)(?![\d.])/g,
        (_, before, figure) =>
          before + figure.replace(/ /g, LANGUAGE.group).replace(".", LANGUAGE.decimal),
      );
  }
  function translate(words, verbatim) {
    if (!LANGUAGE) return words;
    for (const [pattern, one, many] of LANGUAGE.rules) {
      const found = new RegExp(`^${pattern.replaceAll("#", LANGUAGE.figure)}$`).exec(words);
      if (!found) continue;
      const counted =
        found
          .slice(1)
          .reverse()
          .find((slot) => /^\d/.test(slot)) || "";
      const plural =
        many &&
        new Intl.PluralRules(LANGUAGE.lang).select(Number(counted.replace(/\D/g, ""))) !== "one";
      return (plural ? many : one).replace(/\{(\d)(!?)\}/g, (_, slot, kept) =>
        kept ? found[+slot + 1] : translate(found[+slot + 1]),
      );
    }
    return verbatim ? words : localizeFigures(words);
  }

  /* A value of the record by its path, as in "shown.packs". */
  function valueAt(record, path) {
    return path
      .split(".")
      .reduce((value, key) => (value === undefined || value === null ? value : value[key]), record);
  }

  /* The first fact on the page that differs from the record; "" if there is none. */
  function firstMismatch(text) {
    let record;
    try {
      record = JSON.parse(text);
    } catch {
      return "the record itself";
    }
    for (const part of document.querySelectorAll("[data-record]")) {
      let shown = plain(part.textContent);
      let sealed = plain(valueAt(record, part.dataset.record));
      if (part.lang !== "en") sealed = plain(translate(sealed, "verbatim" in part.dataset));
      if ("anyCase" in part.dataset) {
        shown = shown.toLowerCase();
        sealed = sealed.toLowerCase();
      }
      if (shown !== sealed) return `“${shown.slice(0, 80)}”`;
    }
    // the facts contain nothing but the record's values and their headings
    for (const box of document.querySelectorAll("#verdict, .what, .lot-facts, .packs")) {
      const walk = document.createTreeWalker(box, NodeFilter.SHOW_TEXT);
      while (walk.nextNode()) {
        const stray = plain(walk.currentNode.data).replace(/[\s\p{P}]/gu, "");
        if (stray && !walk.currentNode.parentElement.closest("[data-record], [data-words]"))
          return `“${plain(walk.currentNode.data).slice(0, 80)}”`;
      }
    }
    const wanted = ["lot", "statement", "verdict", "product", "species", "shown.size", "ordered"];
    wanted.push(
      ...["mean", "span", "readings", "stress", "claim", "supported"].filter((key) => record[key]),
    );
    if (record.heat_treatment) wanted.push("heat_treatment");
    if (document.querySelector("table.packs"))
      wanted.push(...record.packs.map((_, place) => `packs.${place}.number`));
    const there = new Set(
      [...document.querySelectorAll("[data-record]")].map((part) => part.dataset.record),
    );
    const lacking = wanted.find((key) => !there.has(key));
    return lacking ? `what it says of “${lacking.replace("shown.", "")}”, which was taken out` : "";
  }

  function verdict(current, history, fault) {
    if (fault)
      return [
        "fail",
        "does not match the label",
        `This page shows ${fault}, which is not in the record that was sealed. Do not rely on this page. Ask the mill, and give the lot number.`,
      ];
    if (!label)
      return [
        "no-data",
        "not checked against its label",
        "This page was not opened by the code on a label. Compare the words or digits below with those on the label.",
      ];
    if (label === current)
      return [
        "pass",
        "matches the label",
        "The record on this page is the one the label was printed for.",
      ];
    if (history.includes(label))
      return [
        "question",
        "amended after this label was printed",
        "The mill has amended this record and sealed it again. This page shows the newer record.",
      ];
    return [
      "fail",
      "does not match the label",
      "The label carries another seal than this page. Do not rely on this page. Ask the mill, and give the lot number.",
    ];
  }

  let label = "";

  /* If the page is not the labelled record, its verdict is hidden. */
  function showVerdict(look, words, why) {
    const badge = document.querySelector("#seal-check .outcome");
    for (const part of [badge, document.getElementById("seal-top")]) {
      if (!part) continue;
      part.className = `outcome outcome-${look}`;
      part.textContent = translate(words);
      part.hidden = false;
    }
    document.querySelector("#seal-check .seal-why").textContent = translate(why);
    const answer = document.getElementById("verdict");
    if (answer) answer.hidden = look === "fail";
    document.getElementById("verdict-void").hidden = look !== "fail";
    const result = document.querySelector('[data-record="statement"]');
    if (result) result.parentElement.hidden = look === "fail";
  }

  function show() {
    const box = document.getElementById("seal-check");
    const holder = document.getElementById("lot-record");
    if (!box || !holder) return;
    const text = holder.textContent;
    const current = box.dataset.seal;
    const fragment = location.hash.slice(1).toLowerCase();
    // anything but 32 hex digits, such as the link that skips the heading, is not a seal
    if (/^[0-9a-f]{32}$/.test(fragment)) label = fragment;
    const fault =
      sha256(text).slice(0, current.length) === current ? firstMismatch(text) : "a record";
    // pass the label's seal on to the other languages
    if (label) for (const link of document.querySelectorAll(".languages a")) link.hash = label;
    showVerdict(...verdict(current, box.dataset.history.split(" "), fault));
  }

  if (typeof window !== "undefined") {
    window.kilnfolioLabel = { sha256, translate };
    show();
    window.addEventListener("hashchange", show);
  }
})();
