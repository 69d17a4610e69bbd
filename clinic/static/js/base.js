// Small comforts. Every page works without this file.

const typing = (el) => el && el.matches("input:not([type=radio], [type=checkbox]), select, textarea, [contenteditable]");

// A second press of a save button must not send twice; the server refuses it too.
for (const form of document.querySelectorAll("form[data-once]")) {
  form.addEventListener("submit", (event) => {
    if (form.dataset.sent) {
      event.preventDefault();
      return;
    }
    form.dataset.sent = "yes";
    // After this event, so that the pressed button's own value is still sent.
    setTimeout(() => {
      for (const button of form.querySelectorAll("button[type=submit], button:not([type])")) {
        button.disabled = true;
        if (button === event.submitter && button.dataset.busy) button.textContent = button.dataset.busy;
      }
    });
  });
}

// Coming back with the browser's back button: the form is usable again.
addEventListener("pageshow", (event) => {
  if (!event.persisted) return;
  for (const form of document.querySelectorAll("form[data-sent]")) {
    delete form.dataset.sent;
    for (const button of form.querySelectorAll("button")) button.disabled = false;
  }
});

document.querySelector(".error-summary")?.focus();

// Links of the error summary: focus the answer itself and keep its question in view.
document.addEventListener("click", (event) => {
  const link = event.target.closest?.(".error-summary a[href^='#']");
  const target = link && document.getElementById(link.hash.slice(1));
  if (!target) return;
  event.preventDefault();
  (target.closest("fieldset, .field") ?? target).scrollIntoView({ block: "center" });
  target.focus({ preventScroll: true });
});

// An answer that was changed is no longer the template's.
document.addEventListener("input", (event) => {
  event.target.closest?.(".choices, .field")?.querySelector(".from-template")?.remove();
});

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.defaultPrevented) return;
  const active = document.activeElement;

  // "/" acts only while no field has the focus, and can be switched off per person.
  if (event.key === "/" && !typing(active) && document.documentElement.dataset.keys !== "off") {
    const find = document.querySelector(".find [name=q]");
    if (find) {
      event.preventDefault();
      find.focus();
    }
    return;
  }

  // J and K walk through a list, and only from inside it.
  const step = { j: 1, k: -1 }[event.key.toLowerCase()];
  const list = step && !typing(active) && active?.closest("[data-rows]");
  if (!list) return;
  const rows = [...list.children];
  const next = rows[rows.findIndex((row) => row.contains(active)) + step];
  const target = next?.querySelector("a[href], button");
  if (target) {
    event.preventDefault();
    target.focus();
  }
});

// Pictures further down wait until they are scrolled to; paper has no scrolling.
addEventListener("beforeprint", () => {
  for (const picture of document.querySelectorAll('img[loading="lazy"]')) picture.loading = "eager";
});
