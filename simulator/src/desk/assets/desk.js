// Asks for the regions twice a second, and hands in what is pressed. Regions hold no button.
const kind = document.body.dataset.kind;
const says = document.getElementById("says");
let saying;

// An answer is not left standing over the page.
function say(text) {
  says.textContent = text;
  clearTimeout(saying);
  saying = setTimeout(() => { says.textContent = ""; }, 8000);
}

async function ask(what) {
  try {
    const answer = await fetch("/do", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(what) });
    const text = await answer.text();
    let said;
    try { said = JSON.parse(text); } catch { said = { says: text }; }
    say(said.says);
    if (said.go) location.href = said.go;
  } catch {
    says.textContent = "The desk does not answer: is the program still there?";
  }
}

const speed = () => Number(document.getElementById("speed")?.value ?? 1);
document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button || button.type === "submit" && button.form) return;
  const { do: act, fault, act: hand } = button.dataset;
  if (fault) ask({ fault });
  else if (hand) ask({ act: hand });
  else if (act === "go-on") ask({ "go-on": { speed: speed() } });
  else if (act === "end") { says.textContent = "The result is worked out; that takes a moment."; ask("end"); }
  else if (act) ask(act);
});
document.getElementById("speed")?.addEventListener("change", () => {
  if (document.body.dataset.state === "running") ask({ "go-on": { speed: speed() } });
});
document.getElementById("fault")?.addEventListener("submit", (event) => {
  event.preventDefault();
  ask({ fault: event.target.elements.fault.value });
});
document.getElementById("begin")?.addEventListener("submit", (event) => {
  event.preventDefault();
  const chosen = event.target.querySelector("[name=plays]:checked");
  ask({ begin: { plays: { [chosen.dataset.kind]: chosen.value }, speed: Number(event.target.elements.speed.value) } });
});

async function look() {
  try {
    const state = await (await fetch(kind === "panel" ? "/panel.json" : "/desk.json")).json();
    document.body.dataset.state = state.state;
    document.body.dataset.ready = "yes";
    for (const [id, html] of Object.entries(state.regions)) {
      const region = document.getElementById(id);
      if (region && region.innerHTML !== html) region.innerHTML = html;
    }
  } catch {
    document.body.dataset.state = "lost";
    says.textContent = "The desk does not answer: is the program still there?";
  }
  setTimeout(look, 500);
}
if (kind === "choice") document.body.dataset.ready = "yes";
else look();
