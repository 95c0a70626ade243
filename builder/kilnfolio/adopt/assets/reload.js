/* Reloads a page of the preview when its file changes. `data-mark` identifies the version of the file shown. */
(async () => {
  const { mark } = document.currentScript.dataset;
  for (;;) {
    try {
      const answer = await fetch(
        `/_news?has=${mark}&page=${encodeURIComponent(location.pathname)}`,
      );
      if (answer.status === 200) {
        location.reload();
        return;
      }
    } catch {
      await new Promise((done) => setTimeout(done, 1000));
    }
  }
})();
