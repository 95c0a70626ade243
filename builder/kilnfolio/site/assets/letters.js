/* Our letters, asked for before the style sheet that names them has come: a page uses only those that are there when
   it is first drawn. Opened from a folder, a page may not ask early, and takes the file that holds them. */
(function () {
  "use strict";

  var assets = document.currentScript.src.replace(/letters\.js$/, "");

  if (location.protocol === "file:") {
    document.write('<script src="' + assets + 'letters-at-hand.js"></script>');
    return;
  }
  ["literata-400", "folio-sans-400", "literata-600", "folio-sans-600", "literata-400-italic"].forEach(function (name) {
    var link = document.createElement("link");
    link.rel = "preload";
    link.as = "font";
    link.type = "font/woff2";
    link.crossOrigin = "";
    link.href = assets + "fonts/" + name + ".woff2";
    document.head.append(link);
  });
}());
