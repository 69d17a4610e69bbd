// Taps that wait for the network. Each keeps its random name, how long it waited and whose it is; no patient data.
// The server holds the times; a page that has [data-waiting] sends what waits on this device, in the order of tapping.

const STORE = "waiting-taps";
const TOLD = "told-of-taps";
const RETRY_MS = 3000;
const line = document.querySelector("[data-waiting]");
const me = line.dataset.member;
let token = line.dataset.token;
let sending = false;

const all = () => JSON.parse(localStorage.getItem(STORE) ?? "[]");
const keep = (taps) => localStorage.setItem(STORE, JSON.stringify(taps));
const mine = () => all().filter((tap) => tap.member === me);
const drop = (name) => keep(all().filter((tap) => tap.fields.tap !== name));
const counted = (number) => (number === 1 ? "1 time" : `${number} times`);

function say(text) {
  line.textContent = text;
  line.hidden = !text;
}

// A sentence that must survive the page being shown again.
const remember = (text) => sessionStorage.setItem(TOLD, [sessionStorage.getItem(TOLD), text].filter(Boolean).join(" "));

function recall() {
  const told = sessionStorage.getItem(TOLD) ?? "";
  sessionStorage.removeItem(TOLD);
  const others = all().length - mine().length;
  const theirs = others ? `${counted(others)} of another member wait on this device until that member signs in here.` : "";
  if (told || theirs) say(`${told} ${theirs}`.trim());
}

async function post(tap) {
  const body = new URLSearchParams(tap.fields);
  body.set("csrfmiddlewaretoken", token);
  body.set("ago_ms", String(Math.max(0, Date.now() - tap.tappedAt)));
  const response = await fetch(tap.url, {
    method: "POST",
    body,
    headers: { Accept: "application/json" },
    credentials: "same-origin",
  });
  if (response.redirected) throw new Error("session");
  if (response.status >= 500 || response.status === 429) throw new Error("server");
  return response;
}

// Somebody who signed in again in another window has another token; this page's own one is stale.
async function freshToken() {
  const response = await fetch(location.href, { credentials: "same-origin" });
  if (response.redirected) throw new Error("session");
  const page = new DOMParser().parseFromString(await response.text(), "text/html");
  const found = page.querySelector("[data-waiting]")?.dataset;
  if (!found || found.member !== me) throw new Error("session");
  token = found.token;
}

async function sendOne(tap) {
  let response = await post(tap);
  if (response.status === 403) {
    await freshToken();
    response = await post(tap);
  }
  if (response.ok) return "";
  const isJson = response.headers.get("Content-Type")?.startsWith("application/json");
  const why = isJson ? (await response.json()).said : "This operation cannot be changed by you.";
  const at = new Date(tap.tappedAt).toLocaleTimeString("en-GB");
  return `${tap.words} ${at} was not kept: ${why}`;
}

// A refused tap is told and leaves the queue; without an answer everything waits.
async function sendAll() {
  if (sending || !mine().length) return;
  sending = true;
  try {
    for (let taps = mine(); taps.length; taps = mine()) {
      const refusal = await sendOne(taps[0]);
      drop(taps[0].fields.tap);
      if (refusal) remember(refusal);
    }
    dispatchEvent(new Event("taps-sent"));
    location.reload();
  } catch (problem) {
    const why = problem.message === "session" ? "you are signed out; sign in again on this device" : "no answer from the server";
    say(`${counted(mine().length)} waiting on this device (${why}). Nothing is lost; they are sent by themselves.`);
    dispatchEvent(new Event("taps-wait"));
    setTimeout(sendAll, RETRY_MS);
  } finally {
    sending = false;
  }
}

// The page's own script hands over a tap: {url, fields, words}.
addEventListener("tap", ({ detail }) => {
  keep([...all(), { ...detail, member: me, tappedAt: Date.now() }]);
  say(`${detail.words}: kept, sending…`);
  sendAll();
});

addEventListener("online", sendAll);
document.addEventListener("visibilitychange", () => document.hidden || sendAll());
recall();
sendAll();
