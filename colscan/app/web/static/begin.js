"use strict";
const form = document.querySelector(".fields");
const filled = (name) => [...form.querySelectorAll(`[name=${name}]`)].filter((input) => input.value.trim()).length;

// More strains, levels and shelves than there are rows for.
for (const rows of form.querySelectorAll(".rows")) {
  const more = document.createElement("button");
  more.type = "button";
  more.className = "plain";
  more.textContent = rows.dataset.more;
  rows.after(more);
  more.addEventListener("click", () => {
    const row = rows.lastElementChild.cloneNode(true);
    for (const number of row.querySelectorAll(".number")) number.textContent = rows.children.length + 1;
    for (const input of row.querySelectorAll("input")) {
      input.value = "";
      input.removeAttribute("id");
    }
    rows.append(row);
    row.querySelector("input").focus();
  });
}

// How many bags it comes to, before anything is sent.
const count = form.querySelector(".count");
const showCount = () => {
  const each = Number(form.elements.replicates.value);
  const strains = filled("strain");
  const levels = filled("level") || (form.elements.supplement.value.trim() === "none" ? 1 : 0);
  count.hidden = !(each > 0 && Number.isInteger(each) && strains && levels);
  const said = `Strains x levels x bags of each: ${strains} x ${levels} x ${each} = ${strains * levels * each} bags, blanks apart.`;
  if (!count.hidden && count.textContent !== said) count.textContent = said;
};
form.addEventListener("input", showCount);
showCount();

// What would be begun is what was looked at, not what was typed since.
const now = document.querySelector(".now");
if (now) {
  form.addEventListener("input", () => {
    now.querySelector("button").disabled = true;
    now.querySelector(".stale").hidden = false;
  });
}
