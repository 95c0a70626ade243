/* kilnfolio: keeps the kiln-side pages on the device, so that they open without a network.

   A page is fetched and stored if possible; otherwise the stored copy is shown. Nothing is sent anywhere,
   and entries are not touched. The build lists the files to keep in pages.json; the list is read again
   whenever a page is opened with a network, so that new charges are kept too. */

const KEPT = "kilnfolio-kiln-side-1";

async function keepAll() {
  const files = await (await fetch("pages.json")).json();
  await (await caches.open(KEPT)).addAll(files);
}

self.addEventListener("install", (event) => {
  event.waitUntil(keepAll().then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  if (event.request.method !== "GET" || new URL(event.request.url).origin !== self.location.origin)
    return;
  if (event.request.mode === "navigate") event.waitUntil(keepAll().catch(() => {}));
  event.respondWith(
    fetch(event.request)
      .then(async (answer) => {
        if (answer.ok) (await caches.open(KEPT)).put(event.request, answer.clone());
        return answer;
      })
      .catch(
        async () => (await caches.match(event.request, { ignoreSearch: true })) || Response.error(),
      ),
  );
});
