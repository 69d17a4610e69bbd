// Comforts of the review page: counts answers, keeps the draft, lets "None of these" clear the others.
// Nothing is kept in the browser: a draft lives on the server, or only in the open page.

const form = document.getElementById("review-form");
const answered = form.querySelector("[data-answered]");
const kept = form.querySelector("[data-kept]");

const asked = () => [...form.querySelectorAll("fieldset")].filter(
  (group) => group.offsetParent && !group.closest("details") && group.querySelector("[name^=toe-], [name^=side-]"),
);

function count() {
  const groups = asked().filter((group) => !group.closest(".depends") || group.querySelector("[name$=-retreatment], [name$=-diagnosis]"));
  const done = groups.filter((group) => group.querySelector("input:checked")).length;
  answered.textContent = `${done} of ${groups.length} answered`;
}

// The server enforces this, too.
form.addEventListener("change", (event) => {
  const box = event.target;
  if (box.type === "checkbox" && box.checked && box.name.endsWith("-other")) {
    const alone = ["none", "not_assessed"];
    for (const other of form.querySelectorAll(`input[name="${box.name}"]`)) {
      if (other !== box && (alone.includes(box.value) || alone.includes(other.value))) other.checked = false;
    }
  }
  count();
  later();
});
form.addEventListener("input", later);

// A draft must not arrive after the review itself.
let timer;
let sent = false;
let asking;
function later() {
  if (!form.dataset.draft || sent) return;
  clearTimeout(timer);
  timer = setTimeout(keep, 2000);
}

async function keep() {
  if (sent) return;
  asking = new AbortController();
  try {
    const answer = await fetch(form.dataset.draft, { method: "POST", body: new FormData(form), signal: asking.signal });
    if (!answer.ok) throw new Error(answer.status);
    kept.textContent = `Draft kept ${(await answer.json()).kept_at}`;
  } catch {
    if (sent) return;
    kept.textContent = "Not saved yet. The connection is gone; keep this page open.";
    timer = setTimeout(keep, 5000);
  }
}
form.addEventListener("submit", () => {
  sent = true;
  clearTimeout(timer);
  asking?.abort();
});
// Leaving the page: what was typed in the last two seconds still goes to the draft.
addEventListener("pagehide", () => {
  if (timer && !sent && form.dataset.draft) navigator.sendBeacon(form.dataset.draft, new FormData(form));
});
addEventListener("pageshow", (event) => {
  if (event.persisted) sent = false;
});

// Digits choose an answer, only while the focus is inside its group; on the pain scale they are the score.
form.addEventListener("keydown", (event) => {
  if ((event.ctrlKey || event.metaKey) && event.key === "Enter") {
    event.preventDefault();
    form.requestSubmit();
    return;
  }
  if (!/^[0-9]$/.test(event.key) || event.ctrlKey || event.metaKey || event.altKey) return;
  const group = event.target.matches("input[type=radio], input[type=checkbox]") && event.target.closest("fieldset");
  if (!group) return;
  const inputs = [...group.querySelectorAll("input")];
  const chosen = group.classList.contains("scale")
    ? inputs.find((input) => input.value === event.key)
    : inputs[Number(event.key) - 1];
  if (chosen) {
    event.preventDefault();
    chosen.click();
    chosen.focus();
  }
});

count();
