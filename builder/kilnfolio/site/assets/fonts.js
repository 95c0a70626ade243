/* Preloads the fonts before the style sheet that names them arrives, because a page only uses fonts that are ready at
   its first paint. A page opened from a folder cannot preload; it loads fonts-inline.js, which contains them. */
(() => {
  "use strict";

  const assets = document.currentScript.src.replace(/fonts\.js$/, "");

  if (location.protocol === "file:") {
    document.write(`<script src="${assets}fonts-inline.js"></script>`);
    return;
  }
  [
    "literata-400",
    "folio-sans-400",
    "literata-600",
    "folio-sans-600",
    "literata-400-italic",
  ].forEach((name) => {
    const link = document.createElement("link");
    link.rel = "preload";
    link.as = "font";
    link.type = "font/woff2";
    link.crossOrigin = "";
    link.href = `${assets}fonts/${name}.woff2`;
    document.head.append(link);
  });
})();
