// The steps of a delivery: which one is signed, and by whom. The choice stays what the person made it; where its step is
// done meanwhile the next one takes its place, and for a moment no press counts: it was meant for the other.

import { byId, set } from "./feed.js";

const SETTLE_MS = 1500;
let turn = [];
let shown = "";
let walked = null;
let leads = null;
let failed = false;
let movedAt = -Infinity;

function sides() {
  const step = turn.find((one) => one.step === byId("step-id").value);
  byId("step-by-site").hidden = !step?.site;
  byId("step-by-driver").hidden = !step?.driver;
  byId("step-name").hidden = !step?.driver;
}

function choose() {
  const choice = byId("step-id");
  const was = choice.value;
  choice.replaceChildren(...turn.map((one) => new Option(one.label, one.step)));
  if (turn.some((one) => one.step === was)) choice.value = was;
  else {
    if (was !== "") movedAt = performance.now();
    byId("step-note").value = "";
  }
  byId("step-form").hidden = turn.length === 0;
}

export function showWalk(walk) {
  if (walk === walked) return;
  walked = walk;
  const fold = byId("walk");
  set(fold, "hidden", !walk.asked);
  if (walk.leads !== leads) {
    // While liquid moves the answers come first, and the next step after the pictures. Before, the fold's head shows the
    // next step; whoever signs opens it, and it stays so.
    if (!walk.leads) fold.open = false;
    const columns = document.querySelector("main > .columns");
    if (walk.leads) columns.before(fold);
    else columns.after(fold);
  }
  leads = walk.leads;
  if (walk.check_fails && !failed) byId("delivery").open = true;
  failed = walk.check_fails;
  set(byId("blow-form"), "hidden", walk.blowing === null);
  set(byId("blow-begin"), "hidden", walk.blowing !== false);
  set(byId("blow-end"), "hidden", walk.blowing !== true);
  const now = JSON.stringify(walk.turn);
  if (now === shown) return;
  shown = now;
  turn = walk.turn;
  choose();
  sides();
}

export function signWith(enter) {
  byId("step-id").addEventListener("change", sides);
  byId("blow-form").addEventListener("submit", (event) => {
    event.preventDefault();
    enter(event.submitter === byId("blow-begin") ? "blow_began" : "blow_ended");
  });
  byId("step-form").addEventListener("submit", (event) => {
    event.preventDefault();
    if (performance.now() - movedAt < SETTLE_MS) return;
    const [id, note] = [byId("step-id").value, byId("step-note").value];
    const side = event.submitter?.value;
    if (side === "skip") enter({ step_skipped: { id, reason: note } });
    else if (side !== undefined) enter({ step: { id, side, name: byId("step-driver").value, note } });
  });
}
