/* kilnfolio: does the record on this page bear the seal that the label on the pack carries?

   The record stands in the page as text, so that this works from a file as from a server, where the
   browser's own digests may be missing. The page's words are compared with the record too, so that a
   page cannot say one thing and hold another. SHA-256 by FIPS 180-4. */
"use strict";

(function () {
  // The constants are the first 32 bits of the fractional parts of roots of primes (FIPS 180-4, 4.2.2, 5.3.3).
  function primes(count) {
    const found = [];
    for (let n = 2; found.length < count; n++) if (found.every((p) => n % p)) found.push(n);
    return found;
  }
  function fraction(value) { return ((value - Math.floor(value)) * 4294967296) | 0; }
  const START = primes(8).map((p) => fraction(Math.sqrt(p)));
  const ROUND = primes(64).map((p) => fraction(Math.cbrt(p)));

  function turned(x, n) { return (x >>> n) | (x << (32 - n)); }

  function padded(bytes) {
    const size = ((bytes.length + 8) >> 6 << 6) + 64;
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
      const s0 = turned(w[i - 15], 7) ^ turned(w[i - 15], 18) ^ (w[i - 15] >>> 3);
      const s1 = turned(w[i - 2], 17) ^ turned(w[i - 2], 19) ^ (w[i - 2] >>> 10);
      w[i] = w[i - 16] + s0 + w[i - 7] + s1;
    }
    let [a, b, c, d, e, f, g, h] = state;
    for (let i = 0; i < 64; i++) {
      const s1 = turned(e, 6) ^ turned(e, 11) ^ turned(e, 25);
      const one = (h + s1 + ((e & f) ^ (~e & g)) + ROUND[i] + w[i]) | 0;
      const s0 = turned(a, 2) ^ turned(a, 13) ^ turned(a, 22);
      const two = (s0 + ((a & b) ^ (a & c) ^ (b & c))) | 0;
      h = g; g = f; f = e; e = (d + one) | 0; d = c; c = b; b = a; a = (one + two) | 0;
    }
    [a, b, c, d, e, f, g, h].forEach((value, i) => { state[i] = (state[i] + value) | 0; });
  }

  function sha256(text) {
    const view = padded(new TextEncoder().encode(text));
    const state = START.slice();
    for (let offset = 0; offset < view.byteLength; offset += 64) mix(state, view, offset);
    return state.map((word) => (word >>> 0).toString(16).padStart(8, "0")).join("");
  }

  function plain(text) { return text.replace(/\s+/g, " ").trim(); }

  /* Whether every marked word of the page is the record's. */
  function pageSaysTheSame(text) {
    let record;
    try { record = JSON.parse(text); } catch { return false; }
    return [...document.querySelectorAll("[data-record]")].every(
      (part) => plain(part.textContent) === plain(String(record[part.dataset.record])));
  }

  function verdict(current, history, holds) {
    if (!holds) return ["fail", "does not match the label", "The record on this page is not the record that was sealed. Do not rely on it; ask the mill, and give the lot number."];
    if (!label) return ["no-data", "not compared with a label", "This page was not opened by the code on a label. Compare the words or digits below with those on the label."];
    if (label === current) return ["pass", "matches the label", "The record on this page is the one the label was printed for."];
    if (history.includes(label)) return ["question", "amended after this label was printed", "The mill has amended this record and sealed it again. This page shows the newer record."];
    return ["fail", "does not match the label", "The label carries another seal than this page. Ask the mill, and give the lot number."];
  }

  let label = "";

  function show() {
    const box = document.getElementById("seal-check");
    const holder = document.getElementById("lot-record");
    if (!box || !holder) return;
    const text = holder.textContent;
    const current = box.dataset.seal;
    const history = box.dataset.history.split(" ");
    const fragment = location.hash.slice(1);
    // an anchor of the page itself, such as the way past the heading, is no seal
    if (!document.getElementById(fragment)) label = fragment.toLowerCase();
    const holds = sha256(text).slice(0, current.length) === current && pageSaysTheSame(text);
    const [look, words, why] = verdict(current, history, holds);
    const badge = box.querySelector(".outcome");
    for (const part of [badge, document.getElementById("seal-top")]) {
      part.className = "outcome outcome-" + look;
      part.textContent = words;
      part.hidden = false;
    }
    box.querySelector(".seal-why").textContent = why;
    // where the page is not the labelled record, no verdict of it is shown
    document.getElementById("verdict").hidden = look === "fail";
    document.getElementById("verdict-void").hidden = look !== "fail";
  }

  if (typeof window !== "undefined") {
    window.kilnfolioLabel = { sha256 };
    show();
    window.addEventListener("hashchange", show);
  }
})();
