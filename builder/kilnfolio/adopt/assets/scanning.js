/* Hands over pictures of entry codes: each is looked at by the preview, and what all of them say is then taken together. */
(() => {
  const seen = document.getElementById("seen");
  const taken = document.getElementById("taken");
  const codes = new Set();

  const send = async (address, type, body) => {
    const answer = await fetch(address, {
      method: "POST",
      headers: { "Content-Type": type },
      body,
    });
    return { good: answer.ok, words: (await answer.text()).trim() };
  };

  const lookAt = async (picture) => {
    const line = document.createElement("li");
    line.textContent = `${picture.name}: being read`;
    seen.append(line);
    const { good, words } = await send("/_picture", "image/*", picture);
    const found = good ? JSON.parse(words) : [];
    for (const code of found) codes.add(code);
    const count = found.length === 1 ? "one code" : `${found.length} codes`;
    line.textContent = good
      ? `${picture.name}: ${count}`
      : `${picture.name}: ${words}. Fill the picture with the code, straight and sharp, and take it again.`;
  };

  document.getElementById("pictures").addEventListener("change", async ({ target }) => {
    const pictures = [...target.files];
    target.disabled = true;
    taken.textContent = "";
    try {
      for (const picture of pictures) await lookAt(picture);
      if (codes.size) {
        const all = JSON.stringify([...codes]);
        taken.textContent = (await send("/_codes", "application/json", all)).words;
      }
    } catch {
      taken.textContent =
        "Not taken: the preview does not answer. Start it again and choose the pictures once more.";
    }
    target.disabled = false;
    target.value = "";
  });
})();
