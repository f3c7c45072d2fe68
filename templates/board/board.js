// Keeps an open page as the plant is now. Without it the page is right whenever it is loaded.
(() => {
  "use strict";
  const link = document.getElementById("link");
  let last = Date.now();
  const say = (words) => {
    if (link && link.textContent !== words) link.textContent = words;
  };
  const each = (name, key, act) => {
    for (const element of document.querySelectorAll(`[${name}="${CSS.escape(key)}"]`)) act(element);
  };
  const take = (values) => {
    for (const [key, value] of Object.entries(values)) {
      each("data-live", key, (element) => {
        if (element.textContent !== value) element.textContent = value;
      });
      each("data-live-state", key, (element) => element.setAttribute("data-state", value));
      each("data-live-width", key, (element) => element.setAttribute("width", value));
    }
  };
  // Parts of a page that change their form, such as the list of findings, are taken from the page as it is served now.
  // Where somebody is at work in such a part, it stays.
  const renew = async () => {
    const parts = document.querySelectorAll("[data-part]");
    if (parts.length === 0) return;
    const answer = await fetch(location.href, { credentials: "same-origin" });
    if (!answer.ok) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    for (const part of parts) {
      const fresh = page.querySelector(`[data-part="${CSS.escape(part.dataset.part)}"]`);
      if (fresh && !part.contains(document.activeElement)) part.replaceWith(document.adoptNode(fresh));
    }
  };
  const source = new EventSource("/live");
  source.addEventListener("values", (event) => {
    take(JSON.parse(event.data));
    last = Date.now();
    say("live");
  });
  source.addEventListener("parts", () => renew().catch(() => {}));
  setInterval(() => {
    const seconds = Math.round((Date.now() - last) / 1000);
    if (seconds > 5) say(`not live: no news for ${seconds} s`);
  }, 1000);
})();
