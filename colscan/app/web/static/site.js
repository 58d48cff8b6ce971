"use strict";
// Single keys press what is marked with them. They can be turned off: who speaks to a computer types by accident.
// A screen that is touched begins without them.
const wanted = document.getElementById("keys");
wanted.parentElement.hidden = !document.querySelector("[data-key]");
wanted.checked = (localStorage.getItem("keys") ?? (matchMedia("(pointer: coarse)").matches ? "off" : "on")) === "on";
const showKeys = () => document.body.classList.toggle("no-keys", !wanted.checked);
wanted.addEventListener("change", () => {
  localStorage.setItem("keys", wanted.checked ? "on" : "off");
  showKeys();
});
showKeys();

const typing = (element) => element.closest("textarea, input:not([type=checkbox]):not([type=radio]), select");
document.addEventListener("keydown", (event) => {
  if (!wanted.checked || event.repeat || event.ctrlKey || event.altKey || event.metaKey) return;
  if (typing(event.target)) {
    if (event.key === "Escape") event.target.blur();
    return;
  }
  if (!/^[a-z]$/.test(event.key)) return;
  const pressed = document.querySelector(`[data-key="${event.key}"]`);
  if (!pressed) return;
  event.preventDefault();
  pressed.click();
});

// What is opened by a key has to be answered by keys: go to its first question. What comes open stays as it is.
for (const details of document.querySelectorAll("details")) {
  const go = () => {
    if (details.open) details.querySelector("input, select, textarea")?.focus();
  };
  details.querySelector("summary").addEventListener("click", () => details.addEventListener("toggle", go, { once: true }));
}

// A form is sent once, however often its button is hit. The next page may have another bag's button in its place:
// what is hit there so soon after is the second half of a double tap.
const DOUBLE_TAP_MS = 600;
for (const form of document.querySelectorAll("form[method=post]")) {
  let sent = false;
  form.addEventListener("submit", (event) => {
    const since = Date.now() - Number(sessionStorage.getItem("sent"));
    if (sent || since < DOUBLE_TAP_MS) {
      event.preventDefault();
      return;
    }
    sent = true;
    sessionStorage.setItem("sent", Date.now());
  });
  window.addEventListener("pageshow", () => { sent = false; });
}
