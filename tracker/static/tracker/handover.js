// The handover's long form: what is proposed is drawn anew as masses and measures are typed, and what was typed outlives a
// reload or an expired login. Kept in this browser tab alone, never a password, and thrown away once it is signed.
"use strict";

const shown = document.querySelector("[data-setup]");
const form = shown && shown.closest("form");
const SETUP = ["rider_mass_kg", "luggage_kg", "trike_mass_kg", "shock_pressure", "pressure_unit", "sag_mm"];

let latest = 0;

async function propose() {
  const mine = ++latest;
  const query = new URLSearchParams();
  for (const name of SETUP) query.set(name, form.elements[name].value);
  try {
    const answer = await fetch(`${shown.dataset.setup}?${query}`, { headers: { "X-Requested-With": "fetch" } });
    if (answer.ok && !answer.redirected && mine === latest) shown.innerHTML = await answer.text();
  } catch {
    // No connection: the button below the fields stays, and so does what was typed.
  }
}

function fields() {
  return [...form.elements].filter((field) => field.name && field.type !== "password" && field.type !== "hidden" && field.type !== "submit");
}

function keep() {
  const typed = fields().filter((field) => (field.type === "radio" || field.type === "checkbox" ? field.checked : field.value !== ""));
  sessionStorage.setItem(form.dataset.draft, JSON.stringify(typed.map((field) => [field.name, field.value])));
}

function bringBack() {
  const kept = sessionStorage.getItem(form.dataset.draft);
  if (!kept || form.querySelector(".refused")) return;
  const values = new Map(JSON.parse(kept));
  for (const field of fields()) {
    if (!values.has(field.name)) continue;
    if (field.type === "radio" || field.type === "checkbox") field.checked = values.get(field.name) === field.value;
    else field.value = values.get(field.name);
  }
}

if (form) {
  let waits;
  form.querySelector("[data-plain]").remove();
  bringBack();
  propose();
  form.addEventListener("input", (event) => {
    keep();
    if (!SETUP.includes(event.target.name)) return;
    clearTimeout(waits);
    waits = setTimeout(propose, 250);
  });
}

const done = document.querySelector("[data-draft-done]");
if (done) sessionStorage.removeItem(done.dataset.draftDone);
