// The page of a bay: alarm rows, entries, and what is asked for beyond the frames. Alarm rows are kept and only their texts
// are changed, so that no press is lost; regions have no buttons but those of what is set aside. Nothing here computes, and
// no sentence is written here.

import { body, byId, follow, mark, put, set } from "./feed.js";
import { showWalk, signWith } from "./steps.js";

const address = `/bay/${body.dataset.bay}`;
const rows = new Map();
let standing = null;

function newRow(alarm) {
  const row = byId("alarm-row").content.firstElementChild.cloneNode(true);
  row.querySelector("button").addEventListener("click", () => {
    enter({ seen: { id: alarm.id, subject: alarm.subject } });
  });
  rows.set(alarm.key, row);
  return row;
}

function showAlarms(alarms) {
  if (alarms === standing) return;
  standing = alarms;
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
    for (const name of ["priority", "seen", "acts"]) mark(row, name, alarm[name]);
    set(row.querySelector("button"), "disabled", alarm.seen);
    if (list.children[place] !== row) list.insertBefore(row, list.children[place] ?? null);
  });
  offerAside(alarms.filter((alarm) => alarm.may_set_aside));
}

// The choice of alarms that may be set aside; what is chosen stays so while it is open.
function offerAside(alarms) {
  const choice = byId("aside-alarm");
  const offered = alarms.map((alarm) => alarm.key).join();
  set(byId("set-aside"), "hidden", alarms.length === 0);
  if (choice.dataset.offered === offered) return;
  choice.dataset.offered = offered;
  const chosen = choice.value;
  choice.replaceChildren(new Option(), ...alarms.map((alarm) => {
    const value = JSON.stringify({ id: alarm.id, subject: alarm.subject });
    return new Option(alarm.says, value, false, value === chosen);
  }));
}

function show(frame) {
  showAlarms(frame.alarms);
  set(byId("start"), "disabled", !frame.can_start);
  set(byId("close"), "disabled", !frame.can_close);
  set(byId("delivery"), "hidden", !frame.can_check);
  set(byId("reject"), "hidden", !frame.can_start);
  set(byId("attend"), "hidden", !frame.can_attend);
  showWalk(frame.walk);
  set(byId("dip"), "hidden", !frame.can_dip);
  set(byId("zero"), "hidden", !frame.can_zero);
}

function enter(what) {
  return post("entry", { what });
}

async function post(door, content) {
  const answer = byId("answer");
  put(answer, answer.dataset.sending);
  try {
    const reply = await fetch(`${address}/${door}`, {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify(content),
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
byId("attend").addEventListener("click", () => enter("attended"));
byId("hand-over").addEventListener("submit", (event) => {
  event.preventDefault();
  enter({ handed_over: { to: byId("comes").value, read_back: byId("read-back").checked } });
  event.target.reset();
});
byId("set-aside").addEventListener("submit", (event) => {
  event.preventDefault();
  const alarm = JSON.parse(byId("aside-alarm").value);
  if (event.submitter?.value === "taken_out") enter({ taken_out: { ...alarm, reason: byId("aside-why").value } });
  else enter({ shelved: { ...alarm, minutes: byId("aside-minutes").valueAsNumber || null } });
});
byId("enrol").addEventListener("click", () => post("screen", {}));
byId("aside").addEventListener("click", (event) => {
  const entry = event.target.closest("button[data-entry]")?.dataset.entry;
  if (entry) enter(JSON.parse(entry));
});
byId("dip").addEventListener("submit", (event) => {
  event.preventDefault();
  const read = (id) => byId(id).valueAsNumber;
  const level = byId("dipped") ? { level_m: read("dipped") } : { level_ft: read("dipped-ft"), level_in: read("dipped-in") };
  enter({ dipped: level });
});
byId("zero").addEventListener("submit", (event) => {
  event.preventDefault();
  enter({ scale_zeroed: { cause: byId("cause").value } });
});

// The stretch of the past that was asked for; where its buttons lead is the server's word.
const ways = [...document.querySelectorAll("#look-back [data-way]")];

async function lookBack(query) {
  const past = byId("past");
  try {
    const reply = await fetch(`${address}/past${query}`);
    past.innerHTML = await reply.text();
  } catch {
    put(past, byId("state").dataset.lost);
  }
  const leads = past.firstElementChild?.dataset ?? {};
  for (const button of ways) button.disabled = button.dataset.way !== "whole" && !(button.dataset.way in leads);
}

byId("look-back").addEventListener("toggle", (event) => {
  if (event.target.open) lookBack("");
});
for (const button of ways) {
  button.addEventListener("click", () => lookBack(byId("past").firstElementChild?.dataset[button.dataset.way] ?? ""));
}

// Where the masses come from: asked for while the fold is open. A press on the plot leads to the row that was pressed.
const account = byId("account");
const ROWS = [["account-flow", 0.31], ["account-scale", 0.49], ["account-tank", 1]];
const ACCOUNT_MS = 2000;

async function showAccount() {
  const text = byId("accounts");
  if (!account.open || text.contains(document.activeElement)) return;
  try {
    const reply = await fetch(`${address}/account`);
    text.innerHTML = await reply.text();
  } catch {
    put(text, byId("state").dataset.lost);
  }
}

account.addEventListener("toggle", showAccount);
setInterval(showAccount, ACCOUNT_MS);
byId("tap").addEventListener("click", async (event) => {
  account.open = true;
  await showAccount();
  // A key press has no place.
  const down = event.detail === 0 ? 0 : event.offsetY / event.target.clientHeight;
  byId(ROWS.find(([, below]) => down < below)?.[0] ?? "account")?.scrollIntoView();
});

byId("card-open").addEventListener("click", (event) => {
  const card = byId("card");
  card.hidden = !card.hidden;
  event.target.setAttribute("aria-expanded", String(!card.hidden));
  if (!card.hidden) document.querySelector("main").scrollTop = 0;
});
signWith(enter);
follow(`${address}/live?view=whole`, show);
