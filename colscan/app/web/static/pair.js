"use strict";
// The scanned code is what follows # in the address: that is never sent by itself. A press of the button sends it,
// so that a scanner's preview of the page doesn't use the code up.
const scanned = location.hash.slice(1);
if (scanned) {
  history.replaceState(null, "", location.pathname);
  const field = document.getElementById("code");
  field.value = scanned;
  field.parentElement.hidden = true;
  document.querySelector("label[for=code]").parentElement.hidden = true;
  document.getElementById("scanned").hidden = false;
  document.querySelector("button").focus();
}
