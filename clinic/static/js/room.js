// One-tap times. The server holds each time; a tap that finds no network waits here, under its own random name, and
// is sent with how long it waited. Only opaque keys and times are kept in the browser, no patient data.

const STORE = "waiting-taps";
const RETRY_MS = 3000;
const line = document.querySelector("[data-waiting]");
let sending = false;

const waiting = () => JSON.parse(localStorage.getItem(STORE) ?? "[]");
const keep = (taps) => localStorage.setItem(STORE, JSON.stringify(taps));

function say(text) {
  line.textContent = text;
  line.hidden = !text;
}

function bodyOf(tap) {
  const body = new URLSearchParams(tap.fields);
  body.set("ago_ms", String(Math.max(0, Date.now() - tap.tappedAt)));
  return body;
}

async function sendOne(tap) {
  const headers = { Accept: "application/json" };
  const response = await fetch(tap.url, { method: "POST", body: bodyOf(tap), headers, credentials: "same-origin" });
  const isJson = response.headers.get("Content-Type")?.startsWith("application/json");
  if (response.status >= 500 || !isJson) throw new Error(response.status >= 500 ? "server" : "session");
  return { refused: !response.ok, said: (await response.json()).said };
}

// In the order of tapping; a refused tap is told and dropped, anything else waits.
async function sendAll() {
  if (sending) return;
  sending = true;
  let refusal = "";
  let sent = 0;
  try {
    for (let taps = waiting(); taps.length; taps = waiting()) {
      const { refused, said } = await sendOne(taps[0]);
      keep(waiting().slice(1));
      sent += 1;
      if (refused) refusal = said;
    }
    if (refusal) say(refusal);
    else if (sent) location.reload();
  } catch (problem) {
    const count = waiting().length;
    const times = count === 1 ? "1 time waits" : `${count} times wait`;
    const why = problem.message === "session" ? "you are signed out; sign in again on this device" : "no answer from the server";
    say(`${times} on this device (${why}). Nothing is lost; it is sent again by itself.`);
    setTimeout(sendAll, RETRY_MS);
  } finally {
    sending = false;
  }
}

document.addEventListener("submit", (event) => {
  const form = event.target.closest("[data-tap]");
  if (!form) return;
  event.preventDefault();
  const button = form.querySelector("button");
  if (button.disabled) return;
  button.disabled = true;
  const fields = Object.fromEntries(new FormData(form));
  keep([...waiting(), { url: form.action, fields, tappedAt: Date.now() }]);
  say(`${button.firstChild.textContent.trim()}: kept, sending…`);
  leaving = true;
  sendAll();
});

addEventListener("online", sendAll);
document.addEventListener("visibilitychange", () => document.hidden || sendAll());

// How long a running tourniquet or application has been on, for the eye only.
function tick() {
  for (const since of document.querySelectorAll("[data-since]")) {
    const seconds = Math.max(0, Math.round((Date.now() - Date.parse(since.dataset.since)) / 1000));
    since.textContent = seconds < 120 ? `${seconds} s` : `${Math.floor(seconds / 60)} min ${seconds % 60} s`;
  }
}
setInterval(tick, 1000);
tick();

// A tourniquet is on: whoever leaves is asked once more, over the whole screen.
let leaving = false;
const dialog = document.querySelector("[data-leave]");
if (dialog) {
  let goal = "";
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a[href]");
    if (!link || leaving || link.pathname === location.pathname) return;
    event.preventDefault();
    goal = link.href;
    dialog.showModal();
  });
  dialog.querySelector("[data-stay]").addEventListener("click", () => dialog.close());
  dialog.querySelector("[data-go]").addEventListener("click", () => {
    leaving = true;
    location.assign(goal);
  });
  addEventListener("beforeunload", (event) => leaving || event.preventDefault());
}

if (waiting().length) sendAll();
