// Sends the papers as typed and shows what is to be put right beside each field. Nothing here checks a value: what papers
// may say is for the watch to say. What is typed stays until the delivery is open, also over a sign-in in between.

const byId = (id) => document.getElementById(id);
const form = byId("papers");
const answer = byId("answer");
const fields = [...form.querySelectorAll("[name]")];
const kept = `papers:${location.pathname}`;
let warned = false;

function values() {
  return Object.fromEntries(fields.filter((f) => f.value.trim() !== "").map((f) => [f.name, f.value.trim()]));
}

function keep() {
  try {
    sessionStorage.setItem(kept, JSON.stringify(values()));
  } catch {
    // Without a store the form itself still holds it.
  }
}

function restore() {
  try {
    const typed = JSON.parse(sessionStorage.getItem(kept) ?? "{}");
    for (const field of fields) field.value = typed[field.name] ?? "";
  } catch {
    // The form is empty then.
  }
}

// A key is said of its field; one of a row of properties only in the list below.
function show(found) {
  for (const field of fields) {
    const own = found.find(({ key }) => key === field.name);
    field.setAttribute("aria-invalid", String(own !== undefined));
    field.closest(".field").querySelector(".wrong").textContent = own?.says ?? "";
  }
  const line = ({ says }) => {
    const item = document.createElement("li");
    item.textContent = says;
    return item;
  };
  byId("found").replaceChildren(...found.map(line));
  const first = fields.find((field) => field.getAttribute("aria-invalid") === "true");
  if (first?.closest("details")) first.closest("details").open = true;
  first?.focus();
}

restore();
form.addEventListener("input", () => {
  warned = false;
  keep();
});
form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const button = form.querySelector("button");
  button.disabled = true;
  answer.textContent = "";
  show([]);
  try {
    const reply = await fetch(location.pathname, {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify({ values: values(), anyway: warned }),
    });
    const said = await reply.json();
    answer.textContent = said.says;
    show(said.fields);
    warned = said.warned;
    if (said.saved) {
      sessionStorage.removeItem(kept);
      for (const field of fields) field.disabled = true;
      return;
    }
  } catch {
    answer.textContent = form.dataset.unreached;
  }
  button.disabled = false;
});
