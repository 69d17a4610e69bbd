// The room: one-tap times, handed to taps.js, and the tourniquet that nobody may walk away from.

let leaving = false;
addEventListener("taps-sent", () => (leaving = true)); // the page is shown again with the new times

const newName = () => [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");

document.addEventListener("submit", (event) => {
  const form = event.target.closest("[data-tap]");
  if (!form) return;
  event.preventDefault();
  const button = form.querySelector("button");
  if (button.disabled) return;
  button.disabled = true;
  const detail = { url: form.action, fields: Object.fromEntries(new FormData(form)), words: button.firstChild.textContent.trim() };
  dispatchEvent(new CustomEvent("tap", { detail }));
});

// Without an answer from the server the next tap must still be possible: a start becomes its end, and the other way round.
addEventListener("taps-wait", () => {
  for (const form of document.querySelectorAll("[data-tap]")) {
    const button = form.querySelector("button");
    if (!button.disabled) continue;
    const { kind, tap } = form.elements;
    const words = button.firstChild.textContent.trim();
    [kind.value, form.dataset.thenKind] = [form.dataset.thenKind, kind.value];
    [button.firstChild.textContent, form.dataset.thenWords] = [form.dataset.thenWords, words];
    button.querySelector("[data-since]")?.remove();
    tap.value = newName();
    button.disabled = false;
  }
});

// How long a running tourniquet or application has been on, for the eye only.
function tick() {
  for (const since of document.querySelectorAll("[data-since]")) {
    const seconds = Math.max(0, Math.round((Date.now() - Date.parse(since.dataset.since)) / 1000));
    const over = [since.dataset.alarm, since.dataset.note].map(Number).find((minutes) => seconds > minutes * 60);
    const lasted = seconds < 120 ? `${seconds} s` : `${Math.floor(seconds / 60)} min ${seconds % 60} s`;
    since.textContent = over ? `${lasted}, more than ${over} min` : lasted;
  }
}
setInterval(tick, 1000);
tick();

// A tourniquet is on: whoever leaves is asked once more, over the whole screen.
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
