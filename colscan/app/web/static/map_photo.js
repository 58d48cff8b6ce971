"use strict";
// A new photo goes as it is, as the body of a request: then the page of what it shows is opened.
const send = document.getElementById("send");
if (send) {
  const [file, taken] = send.querySelectorAll("input");
  const button = send.querySelector("button");
  const progress = send.querySelector(".progress");
  send.hidden = false;
  const ask = async () => {
    const photo = file.files[0];
    const said = new URLSearchParams({ shelf: send.dataset.shelf, name: photo.name, taken_at: taken.value });
    const answer = await fetch(`/map/photo?${said}`, {
      method: "POST",
      body: photo,
      headers: { "Content-Type": "application/octet-stream", "X-Colscan-Token": document.querySelector("meta[name=token]").content },
    });
    if (answer.status === 201) return (await answer.json()).page;
    if (answer.status === 413) throw new Error("The photo is larger than 64 MiB. Send a smaller one.");
    if (answer.status === 400) {
      const { what, next_step: next } = await answer.json();
      throw new Error(`${what} ${next}`);
    }
    throw new Error("It wasn't taken. Reload this page and send it once more.");
  };
  send.addEventListener("submit", async (event) => {
    event.preventDefault();
    button.disabled = true;
    progress.textContent = "Sending.";
    try {
      const page = await ask();
      progress.textContent = "Looking for bags; this takes some seconds.";
      location.assign(page);
    } catch (error) {
      progress.textContent = error instanceof TypeError ? "It wasn't sent: does colscan review still run?" : error.message;
      button.disabled = false;
    }
  });
  window.addEventListener("pageshow", () => { button.disabled = false; progress.textContent = ""; });
}
