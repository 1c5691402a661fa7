// All bays: each card is replaced where it changed and watched over on its own: one bay may fall silent alone.

import { body, byId, choices, put } from "./feed.js";

const heard = new Map();
const shown = new Map();
let staleAfterMs = 3000;
let connected = false;

let answeredAt = null;

function show(all) {
  const now = performance.now();
  const from = answeredAt === null || all.waited_ms === null ? now : Math.min(now, answeredAt + all.waited_ms);
  staleAfterMs = all.stale_after_ms;
  for (const card of document.querySelectorAll(".card")) {
    const slug = card.dataset.slug;
    const html = all.cards[slug];
    if (html === undefined) continue;
    if (shown.get(slug) !== html) card.innerHTML = html;
    shown.set(slug, html);
    const before = heard.get(slug);
    if (before?.number !== all.numbers[slug]) {
      // The frame a viewer is greeted with may be old; only one that follows another is news.
      heard.set(slug, { number: all.numbers[slug], at: before === undefined ? null : from });
    }
  }
  watch();
  body.dataset.ready = "yes";
}

function watch() {
  const now = performance.now();
  let live = 0;
  for (const card of document.querySelectorAll(".card")) {
    const at = heard.get(card.dataset.slug)?.at ?? null;
    card.dataset.state = at === null ? "waiting" : now - at > staleAfterMs ? "stale" : "live";
    live += card.dataset.state === "live" ? 1 : 0;
  }
  const words = byId("state");
  if (!connected && heard.size > 0) {
    body.dataset.state = "lost";
    put(words, words.dataset.lost);
  } else if (live > 0) {
    body.dataset.state = "live";
    put(words, "");
  }
}

function connect() {
  const socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/live?answers=true`);
  answeredAt = null;
  socket.addEventListener("open", () => {
    connected = true;
  });
  socket.addEventListener("message", (message) => {
    const came = performance.now();
    socket.send("");
    show(JSON.parse(message.data));
    answeredAt = came;
  });
  socket.addEventListener("close", () => {
    connected = false;
    setTimeout(connect, 1000);
  });
}

choices();
setInterval(watch, 200);
connect();
