"use strict";
// Sends photos one by one, asks what became of them, and lets go of each only once the server has recorded or
// refused it. Whatever fails on the way is tried again.
const section = document.getElementById("sending");
const { trial, zone } = section.dataset;
const largest = Number(section.dataset.largest);
const list = document.getElementById("photos");
const LONGEST_WAIT_MS = 60000;
const ASK_EVERY_MS = 1500;
const SILENCE_MS = 60000;
const MOST_ASKED = 50;
const FINAL = new Set(["recorded", "known", "refused"]);
const lines = new Map(); // by the photo's key: its line on the page and where it is on its way
let token = document.querySelector("meta[name=token]").content;
let failures = 0;
let timer = 0;
let sending = false;
let asking = false;

const make = (tag, properties = {}, ...inside) => {
  const element = Object.assign(document.createElement(tag), properties);
  element.append(...inside);
  return element;
};
const say = (text) => { document.getElementById("said").textContent = text; };
const many = (number) => (number === 1 ? "1 photo waits" : `${number} photos wait`);
const megabytes = (bytes) => `${(bytes / 1e6).toFixed(1)} MB`;

const lineOf = (photo) => {
  if (lines.has(photo.key)) return lines.get(photo.key);
  const line = {
    photo, at: "unsent", id: null,
    state: make("span"),
    bar: make("progress", { max: 100, value: 0, hidden: true }),
    result: make("div"),
  };
  line.bar.setAttribute("aria-label", `Sending ${photo.name}`);
  const head = make("p", { className: "head" }, make("strong", { textContent: photo.name }),
    make("span", { className: "size", textContent: megabytes(photo.size) }), line.state);
  line.element = make("li", {}, head, line.bar, line.result);
  list.prepend(line.element);
  lines.set(photo.key, line);
  move(line, "unsent", "waits to be sent");
  return line;
};

const move = (line, at, text) => {
  line.at = at;
  line.state.textContent = text;
  line.bar.hidden = at !== "sending";
  count();
};

const count = () => {
  const waiting = [...lines.values()].filter((line) => line.at === "unsent" || line.at === "sending");
  const cut = failures > 0 || !navigator.onLine;
  document.getElementById("waiting").textContent = waiting.length && cut ? `${many(waiting.length)} for a connection.` : "";
  const unkept = [...lines.values()].filter((line) => line.photo.key < 0 && !FINAL.has(line.at)).length;
  document.getElementById("unkept").textContent = unkept
    ? `${many(unkept)} in this page only: the browser couldn't keep more. Leave the page open until all are recorded.` : "";
};

// ---- sending

const post = (line, more) => new Promise((resolve, reject) => {
  const { photo, bar } = line;
  const asked = new URLSearchParams({ name: photo.name });
  if (photo.takenAt) asked.set("taken_at", photo.takenAt);
  if (more) asked.set("more", "1");
  const request = new XMLHttpRequest();
  let silence = 0;
  const listen = () => {
    clearTimeout(silence);
    silence = setTimeout(() => request.abort(), SILENCE_MS);
  };
  request.open("POST", `/photos?${asked}`);
  request.setRequestHeader("X-Colscan-Token", token);
  request.setRequestHeader("Content-Type", "application/octet-stream");
  request.upload.onprogress = (event) => {
    listen();
    if (!event.lengthComputable) return;
    bar.value = Math.round((100 * event.loaded) / event.total);
    line.state.textContent = bar.value < 100 ? `${bar.value} % sent` : "sent, being checked…";
  };
  request.onload = () => resolve(request);
  request.onerror = request.onabort = () => reject(new Error("no connection"));
  request.onloadend = () => clearTimeout(silence);
  listen();
  request.send(photo.blob);
});

const answerOf = (request) => {
  try {
    return JSON.parse(request.responseText);
  } catch {
    return {};
  }
};

// The server was started again: its pages have a new token. True when there is one.
const renew = async () => {
  const answer = await fetch("/photos");
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const fresh = page.querySelector("meta[name=token]")?.content;
  if (!answer.ok || !fresh || fresh === token) return false;
  token = fresh;
  return true;
};

const sendOne = async (line, more) => {
  move(line, "sending", "0 % sent");
  let request = await post(line, more);
  if (request.status === 403 && (await renew())) request = await post(line, more);
  if (request.status === 413) {
    await settle(line, { state: "refused", said: "It is too large.", next: `At most ${megabytes(largest)} can be sent.` });
    return;
  }
  const told = answerOf(request);
  if (!told.state || told.state === "busy" || told.state === "failed") {
    const why = told.said || (request.status === 403 ? "reload this page: it may not send any more" : "the server can't take it now");
    throw Object.assign(new Error(why), { told: true });
  }
  await settle(line, told);
};

const send = async () => {
  if (sending) return;
  sending = true;
  clearTimeout(timer);
  try {
    for (;;) {
      const unsent = [...lines.values()].filter((line) => line.at === "unsent");
      if (!unsent.length) break;
      try {
        await sendOne(unsent[0], unsent.length > 1);
        failures = 0;
      } catch (error) {
        failures += 1;
        move(unsent[0], "unsent", error.told ? `${error.message}; it is sent again later` : "waits for a connection");
        later();
        break;
      }
    }
  } finally {
    sending = false;
    count();
  }
};

const later = () => {
  clearTimeout(timer);
  timer = setTimeout(send, Math.min(LONGEST_WAIT_MS, 1000 * 2 ** failures));
};

// ---- what became of them

const settle = async (line, told) => {
  line.id = told.id ?? line.id;
  if (told.html) line.result.innerHTML = told.html; // made by our own server, which escapes all text in it
  if (told.state === "waiting" || told.state === "measuring") {
    move(line, "measuring", told.state === "waiting" ? "sent, waits to be measured…" : "measuring…");
    ask();
  } else if (told.state === "undated") {
    await hold(line, told);
  } else if (told.state === "failed" || told.state === "unknown") {
    failures += 1;
    move(line, "unsent", `${told.said || "the server was started again"}; it is sent again later`);
    later();
  } else {
    await finish(line, told);
  }
};

const finish = async (line, told) => {
  const words = { recorded: "recorded", known: "already in the ledger", refused: "not used" };
  if (!told.html) line.result.replaceChildren(make("p", { textContent: `${told.said} ${told.next ?? ""}` }));
  move(line, told.state, words[told.state]);
  const again = line.result.querySelectorAll(".again").length;
  const advice = again ? "; read what to photograph again" : "";
  say(`${line.photo.name}: ${words[told.state]}${told.state === "refused" ? `: ${told.said}` : advice}`);
  await outbox.remove(line.photo.key);
};

const ask = async () => {
  if (asking) return;
  asking = true;
  let wait = ASK_EVERY_MS;
  for (;;) {
    await new Promise((resolve) => { setTimeout(resolve, wait); });
    const open = [...lines.values()].filter((line) => line.at === "measuring").slice(0, MOST_ASKED);
    if (!open.length) break;
    const asked = new URLSearchParams(open.map((line) => ["id", line.id]));
    try {
      const answer = await fetch(`/photos/state?${asked}`, { signal: AbortSignal.timeout(SILENCE_MS) });
      const { photos } = await answer.json();
      for (const told of photos) {
        for (const line of open) if (line.id === told.id) await settle(line, told);
      }
      wait = ASK_EVERY_MS;
    } catch {
      wait = Math.min(LONGEST_WAIT_MS, 2 * wait);
    }
  }
  asking = false;
};

// ---- a photo without a time

const inZone = (milliseconds) => {
  const parts = new Intl.DateTimeFormat("en", {
    timeZone: zone, year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit", hourCycle: "h23",
  }).formatToParts(milliseconds);
  const part = (type) => parts.find((one) => one.type === type).value;
  return `${part("year")}-${part("month")}-${part("day")}T${part("hour")}:${part("minute")}`;
};

const hold = async (line, told) => {
  const { photo } = line;
  move(line, "undated", "when was it taken?");
  say(`${photo.name}: when was it taken?`);
  const time = make("input", { type: "datetime-local", required: true, value: photo.takenAt || inZone(photo.modified) });
  const form = make("form", { className: "when" },
    make("p", { textContent: told.said }),
    make("label", {}, `When was it taken? (time of ${zone})`, time),
    make("button", { textContent: "It was taken then" }),
    make("button", { type: "button", textContent: "Don’t use this photo" }));
  form.lastChild.addEventListener("click", () => finish(line, { state: "refused", said: "You let it go." }));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    photo.takenAt = time.value;
    line.result.replaceChildren();
    move(line, "unsent", "waits to be sent");
    await outbox.change(photo).catch(() => {});
    send();
  });
  line.result.replaceChildren(form);
};

// ---- choosing

const choose = async (files) => {
  for (const file of files) {
    const photo = { trial, name: file.name, size: file.size, modified: file.lastModified, blob: file };
    photo.key = await outbox.add(photo);
    const line = lineOf(photo);
    if (file.size > largest) {
      await finish(line, { state: "refused", said: `It has ${megabytes(file.size)}.`, next: `At most ${megabytes(largest)} can be sent.` });
    }
  }
  send();
};

for (const input of section.querySelectorAll("input[type=file]")) {
  input.addEventListener("change", async () => {
    const files = [...input.files];
    await choose(files);
    input.value = "";
  });
}
window.addEventListener("online", send);
window.addEventListener("offline", count);
document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });

outbox.all().then((photos) => {
  for (const photo of photos) if (photo.trial === trial) lineOf(photo);
  const others = photos.filter((photo) => photo.trial !== trial);
  const names = [...new Set(others.map((photo) => photo.trial))].join(", ");
  document.getElementById("others").textContent = others.length
    ? `${many(others.length)} in this browser for another trial: ${names}. Open its page to send them.` : "";
  send();
});
section.hidden = false;
