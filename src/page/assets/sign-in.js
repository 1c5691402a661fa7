// Signs in and out. What is said comes from the server.

const byId = (id) => document.getElementById(id);
const answer = byId("answer");

async function send(path, body) {
  try {
    const reply = await fetch(path, {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify(body),
    });
    const said = await reply.json();
    if (reply.ok) location.reload();
    else answer.textContent = said.says;
  } catch {
    answer.textContent = answer.dataset.unreached;
  }
}

byId("sign-in")?.addEventListener("submit", (event) => {
  event.preventDefault();
  send("/sign-in", { name: byId("name").value, password: byId("password").value });
});
byId("out")?.addEventListener("click", () => send("/sign-out", {}));
