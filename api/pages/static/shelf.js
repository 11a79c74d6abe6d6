/* What the scripts of the pages and the worker share: a shelf in the browser, photos made smaller, names that nobody guesses. */
"use strict";

const LONGEST_SIDE_PX = 2400;
const SEND_EVERY_MS = 4000; // a page that is open asks the worker so often to send what waits
const SURVEYS = "hoistlore-surveys"; // the cache of the pages of surveys

/* Use one store of one database of the browser; `keys` says how the store makes its keys when it is new. */
function shelf(database, name, keys, mode, use) {
  return new Promise((done, refused) => {
    const opening = indexedDB.open(database, 1);
    opening.onupgradeneeded = () => opening.result.createObjectStore(name, keys);
    opening.onerror = () => refused(opening.error);
    opening.onsuccess = () => {
      const transaction = opening.result.transaction(name, mode);
      const request = use(transaction.objectStore(name));
      transaction.oncomplete = () => done(request.result); // on the disk, as far as the browser tells
      transaction.onerror = transaction.onabort = () => refused(transaction.error || request.error);
    };
  });
}

/* What waits to be sent by the worker, in the order in which it was said. */
function waiting(mode, use) {
  return shelf("hoistlore-said", "said", { autoIncrement: true }, mode, use);
}

/* A photo that the browser cannot draw, as HEIC in most, goes as it is: the server reads it. */
async function smaller(file) {
  try {
    const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
    const scale = LONGEST_SIDE_PX / Math.max(picture.width, picture.height);
    if (scale >= 1) return file;
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(picture.width * scale);
    canvas.height = Math.round(picture.height * scale);
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    const blob = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.88));
    return blob ? new File([blob], "photo.jpg", { type: "image/jpeg" }) : file;
  } catch {
    return file;
  }
}

function secret(bytes) {
  return Array.from(crypto.getRandomValues(new Uint8Array(bytes)), (b) => b.toString(16).padStart(2, "0")).join("");
}
