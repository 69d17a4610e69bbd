// Comforts of the operation page: reads the site back, adds up the seconds, keeps the draft.
// Nothing is kept in the browser: a draft lives on the server, or only in the open page.

const form = document.getElementById("operation-form");
const kept = form.querySelector("[data-kept]");

const parts = { tibial: "tibial (medial) side", fibular: "fibular (lateral) side", both: "both sides", whole: "whole nail" };
const next = ["", "the side next to the 2nd toe", "the side away from the 1st toe", "the side away from the 1st toe", "the side away from the 1st toe", "the outer edge of the foot"];

function landmark(part, toe) {
  if (part === "tibial") return toe === 1 ? "the side facing the other foot" : "the side towards the 1st toe";
  if (part === "fibular") return next[toe];
  return part === "both" ? "the centre is kept" : "the complete nail plate";
}

// The words are the toe's own accessible name, so that eye and ear read the same.
function readBack(entry) {
  const line = entry.querySelector("[data-read-back]");
  const toe = entry.querySelector(".toe-picker input:checked");
  const side = entry.querySelector(".side-picker input:checked");
  line.hidden = !toe || !side;
  if (line.hidden) return;
  const name = entry.querySelector(`label[for="${toe.id}"] .vh`).textContent.trim().replace(/,$/, "");
  const [foot, number] = toe.value.split("-");
  const site = document.createElement("strong");
  site.textContent = `${name}, ${parts[side.value]}`;
  const text = document.createElement("span");
  text.append(site, `, ${landmark(side.value, Number(number))}.`);
  const picture = side.parentElement.querySelector(`svg.on-${foot}`).cloneNode(true);
  picture.setAttribute("class", "read-back-picture");
  line.replaceChildren(picture, text);
}

function addUp(entry) {
  for (const line of entry.querySelectorAll("[data-total]")) {
    const typed = [...entry.querySelectorAll(`input[name*="-${line.dataset.total}_"]`)].map((input) => input.value.trim());
    const seconds = typed.filter((text) => /^[0-9]{1,3}$/.test(text)).map(Number);
    const sum = seconds.reduce((total, each) => total + each, 0);
    const [above, below] = [Number(form.dataset.noteAbove), Number(form.dataset.noteBelow)];
    const beyond = sum > above ? `above ${above} s` : sum && sum < below ? `below ${below} s` : "";
    line.textContent = sum ? `Total ${sum} s${beyond ? `, ${beyond}: a reason will be asked for` : ""}` : "";
    line.classList.toggle("above", Boolean(beyond));
  }
}

function follow(target) {
  const entry = target.closest?.("[data-toe]");
  if (!entry) return;
  if (target.closest(".toe-picker, .side-picker")) readBack(entry);
  addUp(entry);
}

form.addEventListener("change", (event) => {
  follow(event.target);
  later();
});
form.addEventListener("input", (event) => {
  follow(event.target);
  later();
});

let timer;
let asking;
let sent = false;

function later() {
  if (!form.dataset.draft || sent) return;
  clearTimeout(timer);
  timer = setTimeout(keep, 2000);
}

async function keep() {
  asking = new AbortController();
  try {
    const body = new URLSearchParams(new FormData(form));
    const answer = await fetch(form.dataset.draft, { method: "POST", body, signal: asking.signal });
    if (!answer.ok) throw new Error(answer.status);
    kept.textContent = `Draft kept ${(await answer.json()).kept_at}`;
  } catch {
    if (sent) return;
    kept.textContent = "Not saved yet. The connection is gone; keep this page open.";
    timer = setTimeout(keep, 5000);
  }
}

// A draft on its way must not arrive after the operation was saved.
form.addEventListener("submit", () => {
  sent = true;
  clearTimeout(timer);
  asking?.abort();
});
addEventListener("pageshow", (event) => {
  if (event.persisted) sent = false;
});

form.addEventListener("keydown", (event) => {
  if ((event.ctrlKey || event.metaKey) && event.key === "Enter") {
    event.preventDefault();
    form.requestSubmit(form.querySelector(".save-bar .main"));
  }
});

for (const entry of form.querySelectorAll("[data-toe]")) addUp(entry);
