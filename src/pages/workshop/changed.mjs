// Says that the book has changed since a page was made. A page on which nothing is typed is shown anew by itself; one with
// something typed on it is never touched.

const EVERY = 5000;
const { body } = document;
const note = document.getElementById("changed");
let seen = Number(body.dataset.position);

/** Whether somebody is in the middle of something here. */
function isBusy() {
  const at = document.activeElement;
  const typing = at !== null && at.matches("input, select, textarea");
  return typing || document.querySelector("main details[open]") !== null;
}

/** The page as it is now; nothing when somebody must sign in first. */
async function anew() {
  const reply = await fetch(location.href, { headers: { "Pourbook-Refresh": "1" } });
  if (!reply.ok || reply.redirected) return null;
  return new DOMParser().parseFromString(await reply.text(), "text/html");
}

async function look() {
  if (document.hidden) return;
  const reply = await fetch("/changed");
  if (!reply.ok || reply.redirected) return;
  const { position } = await reply.json();
  if (!(position > seen)) return;
  seen = position;
  const page = body.dataset.live !== undefined && !isBusy() ? await anew() : null;
  const main = page?.getElementById("main");
  if (main && !isBusy()) {
    document.getElementById("main").replaceChildren(...main.childNodes);
    note.querySelector("span").textContent = "The book has changed, and this page with it.";
  }
  note.hidden = false;
}

setInterval(() => look().catch(() => {}), EVERY);
