/* kilnfolio: a part of the page that needs scripts of its own fetches them when it is first opened, so
   that a telephone beside the pack does not fetch what nobody looks at. */
"use strict";

for (const part of document.querySelectorAll("details[data-scripts]")) {
  part.addEventListener(
    "toggle",
    () => {
      for (const address of part.dataset.scripts.split(" ")) {
        const script = document.createElement("script");
        script.src = address;
        script.async = false; // in their order
        document.head.append(script);
      }
    },
    { once: true },
  );
}
