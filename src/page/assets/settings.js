// Shows what would change, then has it taken. Nothing here checks a value: what may be set is for the watch to say.

const byId = (id) => document.getElementById(id);
const form = byId("settings");
const answer = byId("answer");
const apply = byId("apply");

// What is written otherwise than it stands in force, by key.
function values() {
  const inputs = [...form.querySelectorAll("input[data-written]")];
  const other = inputs.filter((input) => input.value.trim() !== input.dataset.written);
  return Object.fromEntries(other.map((input) => [input.name, input.value.trim()]));
}

function list(changed) {
  const line = ({ key, before, after }) => {
    const item = document.createElement("li");
    item.textContent = `${key}: ${before ?? form.dataset.none} \u2192 ${after ?? form.dataset.none}`;
    return item;
  };
  byId("changed").replaceChildren(...changed.map(line));
}

// Whether it is sound.
async function send(taken) {
  const body = { version: form.dataset.version, values: values(), reason: byId("reason").value, apply: taken };
  list([]);
  answer.textContent = "";
  try {
    const reply = await fetch("/settings", {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify(body),
    });
    const said = await reply.json();
    list(said.changed);
    answer.textContent = said.says;
    return reply.ok;
  } catch {
    answer.textContent = form.dataset.unreached;
    return false;
  }
}

if (apply !== null) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    apply.disabled = true;
    apply.disabled = !(await send(false));
  });
  // What was shown is what is taken: after another stroke of a key it must be shown again.
  form.addEventListener("input", (event) => {
    if (event.target !== byId("reason")) apply.disabled = true;
  });
  apply.addEventListener("click", async () => {
    if (byId("reason").value.trim() === "") {
      byId("reason").focus();
    }
    apply.disabled = true;
    if (await send(true)) {
      // The form is that of the old settings.
      form.querySelectorAll("input, button").forEach((field) => (field.disabled = true));
    } else {
      apply.disabled = false;
    }
  });
}
