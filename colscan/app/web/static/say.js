"use strict";
// The number pad writes into the field that was last in use; a keyboard works in both as ever.
const form = document.getElementById("weigh");
const fresh = document.getElementById("fresh");
const saleable = document.getElementById("saleable");
const flush = document.getElementById("flush");
const pad = document.getElementById("pad");
const preview = document.getElementById("preview");
const hint = preview.textContent;
let active = fresh;

const show = () => {
  for (const field of [fresh, saleable]) field.classList.toggle("active", field === active);
  const grams = Number(fresh.value), fit = Number(saleable.value);
  const known = flush.selectedOptions[0].dataset.knownG;
  const filled = Number(form.dataset.filledG ?? Infinity);
  const doubts = [];
  if (!(grams >= 0 && fit >= 0)) doubts.push("That is no weight.");
  else if (fit > grams) doubts.push("More is saleable than was weighed: it will be refused.");
  if (/^\d{1,3}\.\d{3}$/.test(fresh.value)) doubts.push("Doubtful: grams and thousandths, or thousands of grams? Leave the separator out.");
  if (grams > filled) doubts.push("Doubtful: heavier than what the bag was filled with. Is the point in its place?");
  preview.classList.toggle("doubt", doubts.length > 0);
  if (!fresh.value) {
    preview.textContent = hint;
    return;
  }
  const said = `Will be recorded: bag ${form.dataset.bag}, flush ${flush.value}: ${fresh.value} g fresh`;
  const rest = saleable.value ? `, ${saleable.value} g of it saleable` : "";
  const again = known ? ` It replaces ${known} g.` : "";
  preview.textContent = [`${said}${rest}.${again}`, ...doubts].join(" ");
};

for (const field of [fresh, saleable]) {
  field.addEventListener("focus", () => {
    active = field;
    show();
  });
  field.addEventListener("input", () => {
    // Phones set to a language with decimal commas have no point on their pad.
    field.value = field.value.replace(",", ".");
    show();
  });
}
flush.addEventListener("change", show);

const type = (button) => {
  const digit = button.dataset.digit;
  if (digit === undefined) active.value = active.value.slice(0, -1);
  else if (active.value.length < active.maxLength && !(digit === "." && active.value.includes("."))) active.value += digit;
  show();
};
for (const button of pad.querySelectorAll("button")) {
  // The field keeps the focus, and a phone's own keyboard stays as it is.
  button.addEventListener("pointerdown", (event) => event.preventDefault());
  button.addEventListener("click", () => type(button));
}
pad.hidden = false;
show();
