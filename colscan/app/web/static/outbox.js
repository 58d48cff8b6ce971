"use strict";
// Photos that wait to be sent, kept by the browser: they outlive the page and a cellar without signal.
// Where a browser keeps nothing (as in private windows) they are kept by the page, which then says so.
const outbox = (() => {
  const kept = new Map();
  let next = -1;
  const opened = new Promise((resolve, reject) => {
    const request = indexedDB.open("colscan", 1);
    request.onupgradeneeded = () => request.result.createObjectStore("photos", { keyPath: "key", autoIncrement: true });
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
  opened.catch(() => {});
  const run = async (mode, work) => {
    const database = await opened;
    return new Promise((resolve, reject) => {
      const transaction = database.transaction("photos", mode);
      const request = work(transaction.objectStore("photos"));
      transaction.oncomplete = () => resolve(request.result);
      transaction.onabort = transaction.onerror = () => reject(transaction.error);
    });
  };
  return {
    // The photo's key; below zero when the browser couldn't keep it.
    async add(photo) {
      try {
        return await run("readwrite", (store) => store.add(photo));
      } catch {
        kept.set(next, { ...photo, key: next });
        return next--;
      }
    },
    async all() {
      let stored = [];
      try {
        stored = await run("readonly", (store) => store.getAll());
      } catch { /* what the page keeps is left */ }
      return [...stored, ...kept.values()];
    },
    async change(photo) {
      if (photo.key < 0) kept.set(photo.key, photo);
      else await run("readwrite", (store) => store.put(photo));
    },
    async remove(key) {
      if (key < 0) kept.delete(key);
      else await run("readwrite", (store) => store.delete(key));
    },
  };
})();
