// Small comforts on top of pages that work without it: '/' finds the search, a scanner walks from field to field,
// and typed words are not lost by a slip.
"use strict";

const find = document.querySelector("#find");

function typing(element) {
  return element && (element.isContentEditable || ["INPUT", "TEXTAREA", "SELECT"].includes(element.tagName));
}

document.addEventListener("keydown", (event) => {
  if (event.key === "/" && !event.ctrlKey && !event.metaKey && !event.altKey && !typing(document.activeElement) && find) {
    event.preventDefault();
    find.focus();
    find.select();
  }
});

// A scanner types wherever the cursor stands: with nothing chosen, its first letter already goes into the search.
document.addEventListener("keydown", (event) => {
  if (!find || event.ctrlKey || event.metaKey || event.altKey || !/^[\p{L}\p{N}]$/u.test(event.key)) return;
  if (!document.activeElement || document.activeElement === document.body) find.focus();
});

// A wedge scanner ends with Enter. In a form with more fields to scan it steps on; from the last one it sends.
document.addEventListener("keydown", (event) => {
  const field = event.target;
  if (event.key !== "Enter" || !field.matches || !field.matches("input[data-scan-on]")) return;
  const next = field.form && field.form.querySelector("#" + CSS.escape(field.dataset.scanOn));
  if (next && !next.value) {
    event.preventDefault();
    next.focus();
  }
});

// A form sends once, however often the button is touched.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "post") return;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
  form.dataset.touched = "";
});
window.addEventListener("pageshow", () => {
  for (const form of document.forms) form.dataset.sent = "";
});

// Typed and not saved: ask before leaving.
document.addEventListener("input", (event) => {
  const form = event.target.form;
  if (form && form.method === "post") form.dataset.touched = "yes";
});
window.addEventListener("beforeunload", (event) => {
  for (const form of document.forms) {
    if (form.dataset.touched && form.dataset.keep !== undefined) {
      event.preventDefault();
      return;
    }
  }
});

// Filters apply at once; their button stays for those without scripts.
for (const form of document.querySelectorAll("form[data-at-once]")) {
  form.addEventListener("change", (event) => {
    if (event.target.tagName === "SELECT") form.requestSubmit();
  });
}

const paper = document.querySelector("[data-print]");
if (paper) {
  paper.hidden = false;
  paper.addEventListener("click", () => window.print());
}
