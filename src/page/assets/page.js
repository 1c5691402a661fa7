// Puts each frame on the page. Frames are whole: whoever missed some is whole after one. Regions without
// buttons are replaced where they changed; alarm rows are kept and only their texts are changed, so that no
// press is lost. Nothing here computes, and no sentence is written here.

import { showWalk, signWith } from "/steps.js";

const body = document.body;
const byId = (id) => document.getElementById(id);
const address = `/bay/${body.dataset.bay}`;
const FIRST_RETRY_MS = 500;
const LONGEST_RETRY_MS = 5000;

const shown = new Map();
const rows = new Map();
let lastNumber = null;
let heardAt = null;
let staleAfterMs = 3000;
let connected = false;
let retryMs = FIRST_RETRY_MS;

function put(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

function showRegions(regions) {
  for (const [id, html] of Object.entries(regions)) {
    if (shown.get(id) === html) continue;
    shown.set(id, html);
    byId(id).innerHTML = html;
  }
}

function newRow(alarm) {
  const row = byId("alarm-row").content.firstElementChild.cloneNode(true);
  row.querySelector("button").addEventListener("click", () => {
    enter({ seen: { id: alarm.id, subject: alarm.subject } });
  });
  rows.set(alarm.key, row);
  return row;
}

function showAlarms(alarms) {
  const list = byId("alarms");
  const open = new Set(alarms.map((alarm) => alarm.key));
  for (const [key, row] of rows) {
    if (open.has(key)) continue;
    row.remove();
    rows.delete(key);
  }
  alarms.forEach((alarm, place) => {
    const row = rows.get(alarm.key) ?? newRow(alarm);
    for (const part of ["act", "care", "says", "beyond", "since"]) {
      put(row.querySelector(`.${part}`), alarm[part]);
    }
    row.dataset.priority = alarm.priority;
    row.dataset.seen = alarm.seen;
    row.dataset.acts = alarm.acts;
    row.querySelector("button").disabled = alarm.seen;
    if (list.children[place] !== row) list.insertBefore(row, list.children[place] ?? null);
  });
  body.dataset.alarms = alarms.length;
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

// What ought to sound now; the page says whether the browser lets it.
function sound() {
  const state = body.dataset.state;
  const unseen = [...rows.values()].filter((row) => row.dataset.seen === "false").map((row) => row.dataset.priority);
  const worst = ["high", "medium", "low"].find((priority) => unseen.includes(priority)) ?? "none";
  const wanted = state === "stale" || state === "lost" ? "stale" : worst;
  body.dataset.sound = wanted;
  const now = performance.now();
  const due = wanted !== sounding || now - soundedAt >= (SOUNDS[wanted]?.again ?? Infinity);
  if (due && SOUNDS[wanted]) {
    play(SOUNDS[wanted]);
    soundedAt = now;
  }
  sounding = wanted;
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

function show(frame) {
  // The frame a viewer is greeted with may be old; only one that follows another is news.
  if (lastNumber !== null && frame.number !== lastNumber) heardAt = performance.now();
  lastNumber = frame.number;
  staleAfterMs = frame.stale_after_ms;
  put(document.querySelector("title"), frame.title);
  showRegions(frame.regions);
  showAlarms(frame.alarms);
  byId("start").disabled = !frame.can_start;
  byId("close").disabled = !frame.can_close;
  byId("delivery").hidden = !frame.can_check;
  byId("reject").hidden = !frame.can_start;
  showWalk(frame.walk);
  byId("dip").hidden = !frame.can_dip;
  byId("zero").hidden = !frame.can_zero;
  watch();
  body.dataset.number = frame.number;
  body.dataset.ready = "yes";
}

// The page's own watch over the age of what it shows; the connection's keep-alives prove nothing.
function watch() {
  const words = byId("state");
  const age = heardAt === null ? null : performance.now() - heardAt;
  const late = age !== null && age > staleAfterMs;
  if (!connected && (late || age === null) && lastNumber !== null) {
    body.dataset.state = "lost";
    put(words, words.dataset.lost);
  } else if (late) {
    body.dataset.state = "stale";
    put(words, `${words.dataset.stale} ${Math.round(age / 1000)} ${words.dataset.since}`);
  } else if (age !== null) {
    body.dataset.state = "live";
    put(words, "");
  }
  sound();
}

function connect() {
  const socket = new WebSocket(`ws://${location.host}${address}/live`);
  socket.addEventListener("open", () => {
    connected = true;
    retryMs = FIRST_RETRY_MS;
  });
  socket.addEventListener("message", (message) => show(JSON.parse(message.data)));
  socket.addEventListener("close", () => {
    connected = false;
    setTimeout(connect, retryMs);
    retryMs = Math.min(2 * retryMs, LONGEST_RETRY_MS);
  });
}

async function enter(what) {
  const answer = byId("answer");
  put(answer, answer.dataset.sending);
  try {
    const reply = await fetch(`${address}/entry`, {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify({ what }),
    });
    put(answer, (await reply.json()).says);
  } catch {
    put(answer, answer.dataset.unreached);
  }
}

let pending = null;

function ask(button, what) {
  button.addEventListener("click", () => {
    pending = what;
    put(byId("question"), button.dataset.ask);
    put(byId("answer"), "");
    byId("acts").hidden = true;
    byId("confirm").hidden = false;
    byId("back").focus();
  });
}

function answered() {
  byId("confirm").hidden = true;
  byId("acts").hidden = false;
}

ask(byId("start"), "transfer_started");
ask(byId("close"), "closed");
byId("back").addEventListener("click", answered);
byId("yes").addEventListener("click", () => {
  answered();
  enter(pending);
});
byId("check-made").addEventListener("submit", (event) => {
  event.preventDefault();
  const met = event.submitter?.value === "met";
  enter({ check: { id: byId("check-id").value, met, note: byId("check-note").value } });
});
byId("reject").addEventListener("submit", (event) => {
  event.preventDefault();
  enter({ rejected: { reason: byId("reject-why").value } });
});
byId("dip").addEventListener("submit", (event) => {
  event.preventDefault();
  enter({ dipped: { level_m: byId("dipped").valueAsNumber } });
});
byId("zero").addEventListener("submit", (event) => {
  event.preventDefault();
  enter({ scale_zeroed: { cause: byId("cause").value } });
});
signWith(enter);
document.addEventListener("pointerdown", () => listen(), { once: true });
byId("sound").addEventListener("click", async () => {
  await listen();
  play(SOUNDS.high);
});
setInterval(watch, 200);
connect();
