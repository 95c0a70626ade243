/* kilnfolio: an entry file as a series of QR codes, for a device without network or cable.

   Each code holds "KILNFOLIO1 PART/PARTS CHECK " and a part of the file. CHECK is the CRC-32 of the
   whole file, so that parts of different files are never joined. adopt/entry/codes.py reads them. */

(() => {
  "use strict";

  window.kilnfolio ||= {};
  const { kilnfolio } = window;

  /* With the head a code stays within version 15 at error correction M (ISO/IEC 18004, table 7: 412
   bytes), 77 modules a side: a phone's screen shows each of them some 4 pixels wide. */
  const PIECE = 380;
  const MOST_PARTS = 40;

  /* CRC-32 as of zip files (polynomial 0xEDB88320), of plain ASCII. */
  function crc32(text) {
    let crc = ~0;
    for (const letter of text) {
      crc ^= letter.charCodeAt(0);
      for (let bit = 0; bit < 8; bit += 1) crc = (crc >>> 1) ^ (crc & 1 ? 0xedb88320 : 0);
    }
    return (~crc >>> 0).toString(16).padStart(8, "0");
  }

  /* The texts of an entry file's codes; null if it is too long for them. */
  function texts(file) {
    const plain = JSON.stringify(file).replace(
      /[\u0080-\uffff]/g,
      (letter) => `\\u${letter.charCodeAt(0).toString(16).padStart(4, "0")}`,
    );
    const parts = Math.ceil(plain.length / PIECE);
    const check = crc32(plain);
    if (parts > MOST_PARTS) return null;
    return Array.from(
      { length: parts },
      (_, at) =>
        `KILNFOLIO1 ${at + 1}/${parts} ${check} ${plain.slice(at * PIECE, (at + 1) * PIECE)}`,
    );
  }

  /* A QR code as a drawing: black on white whatever the page's colours, with four light modules around. */
  function drawing(text, title) {
    const code = window.qrcode(0, "M");
    code.addData(text, "Byte");
    code.make();
    const count = code.getModuleCount();
    const strokes = [];
    for (let row = 0; row < count; row += 1) {
      for (let column = 0; column < count; column += 1) {
        if (code.isDark(row, column)) strokes.push(`M${column + 4} ${row + 4}h1v1h-1z`);
      }
    }
    const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    svg.setAttribute("viewBox", `0 0 ${count + 8} ${count + 8}`);
    svg.setAttribute("role", "img");
    svg.setAttribute("aria-label", title);
    svg.setAttribute("shape-rendering", "crispEdges");
    for (const [path, colour] of [
      [`M0 0h${count + 8}v${count + 8}H0z`, "#fff"],
      [strokes.join(""), "#000"],
    ]) {
      const drawn = document.createElementNS("http://www.w3.org/2000/svg", "path");
      drawn.setAttribute("d", path);
      drawn.setAttribute("fill", colour);
      svg.append(drawn);
    }
    return svg;
  }

  /* Show the codes of a file in an element of the page, one at a time; return whether there are any. */
  function show(place, file) {
    const all = texts(file);
    if (all === null) return false;
    const told = place.querySelector("[data-part]");
    const frame = place.querySelector("[data-code]");
    let at = 0;
    const turn = (by) => {
      at = (at + by + all.length) % all.length;
      told.textContent = `Code ${at + 1} of ${all.length}`;
      frame.replaceChildren(drawing(all[at], told.textContent));
    };
    place.querySelector("[data-turn=back]").onclick = () => turn(-1);
    place.querySelector("[data-turn=on]").onclick = () => turn(1);
    place.querySelector(".buttons").hidden = all.length === 1;
    place.hidden = false;
    turn(0);
    return true;
  }

  kilnfolio.entryCodes = { crc32, texts, show };
})();
