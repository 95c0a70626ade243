/* kilnfolio: loads the scripts of a part of the page when it is first opened, so that a phone beside the
   pack does not fetch what nobody looks at. */
"use strict";

for (const part of document.querySelectorAll("details[data-scripts]")) {
  part.addEventListener(
    "toggle",
    () => {
      for (const address of part.dataset.scripts.split(" ")) {
        const script = document.createElement("script");
        script.src = address;
        script.async = false; // run in order
        document.head.append(script);
      }
    },
    { once: true },
  );
}
