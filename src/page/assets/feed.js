// What every live page does: takes frames off the connection, puts their regions on the page, watches over their age,
// and sounds. The first frame of a connection is whole, so that whoever missed some is whole after one; each of the
// others says what it changes of the one before it. Nothing here computes, and no sentence is written here.

export const body = document.body;
export const byId = (id) => document.getElementById(id);
const FIRST_RETRY_MS = 500;
const LONGEST_RETRY_MS = 5000;
const LOOK_MS = 200;
const SOON_MS = 10;

// Regions by their names: as the last frame has them, cut at their tags, and as they are shown.
const latest = new Map();
const shown = new Map();
let known = {};
let unseen = [];
let lastNumber = null;
let heardAt = null;
let answeredAt = null;
let staleAfterMs = 3000;
let connected = false;
let retryMs = FIRST_RETRY_MS;

// A text that stays what it is, a text, is not laid out as a new one.
export function put(node, text) {
  if (node.textContent === text) return;
  const only = node.childNodes.length === 1 ? node.firstChild : null;
  if (only?.nodeType === Node.TEXT_NODE && text !== "") only.data = text;
  else node.textContent = text;
}

// A browser styles anew what is set, also to what it was.
export function mark(node, name, value) {
  if (node.dataset[name] !== String(value)) node.dataset[name] = value;
}

export function set(node, name, value) {
  if (node[name] !== value) node[name] = value;
}

// Makes what stands there like what came, and touches only what differs: the rest is not styled, laid out or painted
// anew. A button is never given another meaning: it is replaced, so that a press that began on the old one is lost.
function renew(old, fresh) {
  let has = old.firstChild;
  for (let node = fresh.firstChild, next; node !== null; node = next) {
    next = node.nextSibling;
    const after = has?.nextSibling ?? null;
    if (has === null) old.append(node);
    // Whatever has parts is looked through part by part: comparing it as a whole first would look at each part again.
    else if (node.firstElementChild || !has.isEqualNode(node)) match(has, node);
    has = after;
  }
  while (has !== null) {
    const after = has.nextSibling;
    has.remove();
    has = after;
  }
}

function match(has, node) {
  if (has.nodeName !== node.nodeName) has.replaceWith(node);
  else if (node.nodeName === "BUTTON") {
    if (!has.isEqualNode(node)) has.replaceWith(node);
  }
  else if (node.nodeType === Node.TEXT_NODE) has.data = node.data;
  else {
    for (const name of node.getAttributeNames()) {
      const value = node.getAttribute(name);
      if (has.getAttribute(name) !== value) has.setAttribute(name, value);
    }
    for (const name of has.getAttributeNames()) if (!node.hasAttribute(name)) has.removeAttribute(name);
    renew(has, node);
  }
}

// A region's text is cut at its tags, a piece for each with the text behind it. Where the same tags come again only the
// values and texts that differ are touched, and nothing is parsed. Inside a text or a value the server writes no bare < or ".
const LONE = new Set(["br", "hr", "img", "input"]);
const SIGNS = { "&amp;": "&", "&lt;": "<", "&gt;": ">", "&quot;": '"' };
const plain = (text) => (text.includes("&") ? text.replace(/&(?:amp|lt|gt|quot);/g, (sign) => SIGNS[sign]) : text);
const tagOf = (piece) => piece.slice(0, piece.indexOf(">") + 1);

// Where each piece stands: its element, where its tag begins one, and the node of its text. Nothing where the page does not
// hold what was written.
function places(root, pieces) {
  const all = root.querySelectorAll("*");
  const found = [{ element: null, text: root.firstChild, pressed: false }];
  const open = [];
  let begun = 0;
  for (let i = 1; i < pieces.length; i += 1) {
    if (pieces[i][0] === "/") {
      const closed = open.pop();
      if (closed === undefined) return null;
      found.push({ element: null, text: closed.nextSibling, pressed: open.some((one) => one.nodeName === "BUTTON") });
      continue;
    }
    const element = all[begun];
    begun += 1;
    const tag = tagOf(pieces[i]);
    const name = tag.slice(0, tag.search(/[ />]/));
    if (element?.localName !== name) return null;
    const lone = tag.endsWith("/>") || LONE.has(name);
    if (!lone) open.push(element);
    const pressed = name === "button" || open.some((one) => one.nodeName === "BUTTON");
    found.push({ element, text: lone ? element.nextSibling : element.firstChild, pressed });
  }
  return begun === all.length && open.length === 0 ? found : null;
}

// What is to be done to make one piece another; null: it takes more than values and texts.
function changes(was, is, place) {
  const done = [];
  const [before, after] = [tagOf(was), tagOf(is)];
  if (before !== after) {
    // Values stand at odd places, between quotes.
    const [old, fresh] = [before.split('"'), after.split('"')];
    if (place.element === null || old.length !== fresh.length || !place.element.isConnected) return null;
    for (let at = 0; at < fresh.length; at += 1) {
      if (old[at] === fresh[at]) continue;
      if (at % 2 === 0) return null;
      const name = fresh[at - 1].slice(fresh[at - 1].lastIndexOf(" ") + 1, -1);
      done.push(() => place.element.setAttribute(name, plain(fresh[at])));
    }
  }
  const [old, fresh] = [was.slice(before.length), is.slice(after.length)];
  if (old !== fresh) {
    const node = place.text;
    // Somebody else may have had a hand in the page: a browser that translates it.
    const ours = node?.nodeType === Node.TEXT_NODE && node.isConnected && node.data === plain(old);
    if (!ours || fresh === "") return null;
    done.push(() => { node.data = plain(fresh); });
  }
  return done;
}

// Brings a region from what it shows to what came, if that takes no other tags. Whatever is pressed is left to `renew`.
function touch(node, region, pieces) {
  if (pieces.length !== region.pieces.length) return false;
  if (region.places === undefined) region.places = places(node, region.pieces);
  if (region.places === null) return false;
  const all = [];
  for (let i = 0; i < pieces.length; i += 1) {
    if (pieces[i] === region.pieces[i]) continue;
    const place = region.places[i];
    const done = place.pressed ? null : changes(region.pieces[i], pieces[i], place);
    if (done === null) return false;
    all.push(...done);
  }
  for (const change of all) change();
  region.pieces = pieces;
  return true;
}

// What lies in a closed fold waits until somebody opens it.
function folded(node) {
  const fold = node.closest("details");
  return fold !== null && !fold.open && node.closest("summary") === null;
}

function showRegions() {
  for (const [id, pieces] of latest) {
    const region = shown.get(id);
    if (region?.pieces === pieces) continue;
    const node = byId(id);
    if (folded(node) || (region !== undefined && touch(node, region, pieces))) continue;
    shown.set(id, { pieces, places: undefined });
    const fresh = document.createElement("template");
    fresh.innerHTML = pieces.join("<");
    renew(node, fresh.content);
  }
}

// Takes in a frame, or what it changes: keys that came, and regions as a whole or, of each piece that differs, how much of it
// stays and what follows.
function learn(frame) {
  known = frame.after === undefined ? frame : { ...known, ...frame };
  for (const [id, came] of Object.entries(frame.regions ?? {})) {
    if (typeof came === "string") latest.set(id, came.split("<"));
    else {
      const pieces = [...latest.get(id)];
      for (const [at, [stays, follows]] of Object.entries(came)) pieces[at] = pieces[at].slice(0, stays) + follows;
      latest.set(id, pieces);
    }
  }
}

// Sounds, by what is worst: tones as [Hz, ms], again after so many ms. Stale falls, so that no one takes it for an alarm
// of the plant; an alarm sounds until it is seen.
const SOUNDS = {
  stale: { tones: [[660, 350], [440, 350], [330, 500]], again: 3000 },
  high: { tones: [[880, 150], [880, 150], [1175, 150], [880, 150], [1175, 150]], again: 3000 },
  medium: { tones: [[740, 200], [740, 200], [740, 200]], again: 8000 },
  low: { tones: [[587, 250]], again: 20000 },
};
const GAP_MS = 80;
let audio = null;
let sounding = null;
let soundedAt = 0;
let looking = null;

function play({ tones }) {
  if (audio?.state !== "running") return;
  let at = audio.currentTime;
  for (const [hertz, ms] of tones) {
    const tone = new OscillatorNode(audio, { frequency: hertz, type: "triangle" });
    tone.connect(audio.destination);
    tone.start(at);
    tone.stop(at + ms / 1000);
    at += (ms + GAP_MS) / 1000;
  }
}

// What ought to sound now, and in how many ms again; the page says whether the browser lets it.
function sound() {
  const state = body.dataset.state;
  const worst = ["high", "medium", "low"].find((priority) => unseen.includes(priority)) ?? "none";
  const wanted = state === "stale" || state === "lost" ? "stale" : worst;
  mark(body, "sound", wanted);
  const now = performance.now();
  const due = wanted !== sounding || now - soundedAt >= (SOUNDS[wanted]?.again ?? Infinity);
  if (due && SOUNDS[wanted]) {
    play(SOUNDS[wanted]);
    soundedAt = now;
  }
  sounding = wanted;
  return SOUNDS[wanted] ? soundedAt + SOUNDS[wanted].again - now : Infinity;
}

// Browsers let a page sound only after a press, and may take it back.
function heard() {
  const button = byId("sound");
  const running = audio?.state === "running";
  button.dataset.heard = running ? "yes" : "no";
  if (running) put(button, button.dataset.on);
  else put(button, button.dataset.off);
}

async function listen() {
  if (audio === null) {
    audio = new AudioContext();
    audio.addEventListener("statechange", heard);
  }
  await audio.resume();
  heard();
}

// The page's own watch over the age of what it shows; the connection's keep-alives prove nothing. It looks again when
// something may be due, and often once it waits for anything.
function watch() {
  const words = byId("state");
  const age = heardAt === null ? null : performance.now() - heardAt;
  const late = age !== null && age > staleAfterMs;
  if (!connected && (late || age === null) && lastNumber !== null) {
    mark(body, "state", "lost");
    put(words, words.dataset.lost);
  } else if (late) {
    mark(body, "state", "stale");
    put(words, `${words.dataset.stale} ${Math.round(age / 1000)} ${words.dataset.since}`);
  } else if (age !== null) {
    mark(body, "state", "live");
    put(words, "");
  }
  const due = Math.min(sound(), body.dataset.state === "live" ? staleAfterMs - age : LOOK_MS);
  clearTimeout(looking);
  looking = setTimeout(watch, Math.max(due, SOON_MS));
}

// How this browser wants to be shown it; the choice is kept here and goes nowhere.
function look() {
  const choice = byId("look");
  const apply = () => {
    document.documentElement.dataset.look = choice.value;
  };
  choice.value = localStorage.getItem("look") ?? "auto";
  apply();
  choice.addEventListener("change", () => {
    localStorage.setItem("look", choice.value);
    apply();
  });
}

// Language and units of this browser: the server remembers them in its cookie and writes the page anew.
export function choices() {
  const [language, units] = [byId("language"), byId("units")];
  const choose = async () => {
    const reply = await fetch("/reader", {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify({ language: language.value, units: units.value }),
    });
    if (reply.status === 204) location.reload();
  };
  for (const choice of [language, units]) choice?.addEventListener("change", choose);
}

function take(frame, show) {
  // The frame a viewer is greeted with may be old; only one that follows another is news. It is as old as its way here:
  // it was there so long after the answer to the one before.
  const now = performance.now();
  const from = answeredAt === null || frame.waited_ms === null ? now : Math.min(now, answeredAt + frame.waited_ms);
  if (lastNumber !== null && frame.number !== lastNumber) heardAt = from;
  lastNumber = frame.number;
  learn(frame);
  staleAfterMs = known.stale_after_ms;
  put(document.querySelector("title"), known.title);
  showRegions();
  unseen = known.alarms.filter((alarm) => !alarm.seen).map((alarm) => alarm.priority);
  mark(body, "alarms", known.alarms.length);
  mark(body, "unseen", unseen.length);
  show(known);
  watch();
  mark(body, "number", frame.number);
  mark(body, "ready", "yes");
}

// A phone is sent pictures that are drawn for its width; turned or widened, it asks anew.
const narrow = matchMedia("(max-width: 699px)");

function connect(path, show) {
  const scheme = location.protocol === "https:" ? "wss" : "ws";
  const width = narrow.matches ? "narrow" : "wide";
  const socket = new WebSocket(`${scheme}://${location.host}${path}&width=${width}&answers=true&changes=true`);
  answeredAt = null;
  const again = () => socket.close();
  narrow.addEventListener("change", again);
  socket.addEventListener("open", () => {
    connected = true;
    retryMs = FIRST_RETRY_MS;
  });
  socket.addEventListener("message", (message) => {
    const came = performance.now();
    socket.send("");
    const frame = JSON.parse(message.data);
    // Changes of a frame that is not here lead nowhere: on a new connection comes a whole one.
    if (frame.after !== undefined && frame.after !== lastNumber) return again();
    take(frame, show);
    answeredAt = came;
  });
  socket.addEventListener("close", () => {
    connected = false;
    narrow.removeEventListener("change", again);
    setTimeout(connect, retryMs, path, show);
    retryMs = Math.min(2 * retryMs, LONGEST_RETRY_MS);
  });
}

// Follows a bay; `show` is given each frame after its regions are on the page.
export function follow(path, show) {
  document.addEventListener("pointerdown", () => listen(), { once: true });
  byId("sound").addEventListener("click", async () => {
    await listen();
    play(SOUNDS.high);
  });
  look();
  choices();
  document.addEventListener("toggle", showRegions, true);
  watch();
  connect(path, show);
}

