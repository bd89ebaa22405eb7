// A bulletin being written: what it touches and how its words read are drawn anew as somebody types. Without this script the
// button 'Show what it touches' does the same.
"use strict";

const bulletin = document.querySelector("form[data-touches]");

let newest = 0;

async function look() {
  const mine = ++newest;
  try {
    const answer = await fetch(bulletin.dataset.touches, {
      method: "POST", body: new FormData(bulletin), headers: { "X-Requested-With": "fetch" },
    });
    if (!answer.ok || answer.redirected || mine !== newest) return;
    const drawn = new DOMParser().parseFromString(await answer.text(), "text/html");
    for (const piece of drawn.querySelectorAll("[data-live]")) {
      const here = document.querySelector(`[data-live="${piece.dataset.live}"]`);
      if (here && here.innerHTML !== piece.innerHTML) here.innerHTML = piece.innerHTML;
    }
  } catch {
    // No connection: the button stays, and so does what was typed.
  }
}

if (bulletin) {
  bulletin.querySelector("[data-plain]").remove();
  let waits;
  const later = () => {
    clearTimeout(waits);
    waits = setTimeout(look, 300);
  };
  bulletin.addEventListener("input", later);
  bulletin.addEventListener("change", later);
}
