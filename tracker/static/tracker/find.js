// The short list under the search field while somebody types: WAI-ARIA's combobox with a list. Without it, or faster
// than it, Enter sends the field as it stands: a scanner types its serial and Enter long before the list comes.
"use strict";

{
  const WAIT = 150; // milliseconds without a key before the server is asked
  const SHORTEST = 2;
  const field = document.querySelector("#find");
  if (field) combobox(field, field.form);

  function combobox(field, form) {
    const list = made("ul", { id: "find-hints", role: "listbox", "aria-label": "Found so far" });
    const keys = made("p", { class: "quiet small", "aria-hidden": "true" }, "↑ ↓ choose · Enter opens · Esc closes");
    const box = made("div", { class: "hints" });
    const said = made("span", { class: "unseen", role: "status" });
    let waiting = 0;
    let asking = null;

    box.hidden = true;
    box.append(list, keys);
    form.append(box, said);
    for (const [name, value] of Object.entries({ role: "combobox", "aria-autocomplete": "list", "aria-controls": list.id, "aria-expanded": "false" })) {
      field.setAttribute(name, value);
    }
    if (document.activeElement === field) field.select(); // the next scan replaces the last

    field.addEventListener("focus", () => field.select());
    field.addEventListener("input", (event) => {
      outdate();
      if (field.value.trim().length < SHORTEST) forget();
      else if (!event.isComposing) waiting = setTimeout(ask, WAIT);
    });
    field.addEventListener("keydown", (event) => {
      if (event.isComposing || event.ctrlKey || event.metaKey || event.altKey) return;
      if (event.key === "Escape") {
        event.preventDefault(); // the first Escape closes the list, the next empties the field
        if (box.hidden) field.value = "";
        forget();
      } else if (event.key === "ArrowDown" || event.key === "ArrowUp") {
        event.preventDefault();
        if (!box.hidden && list.dataset.text === field.value.trim()) step(event.key === "ArrowDown" ? 1 : -1);
      } else if (event.key === "Enter" && chosen()) {
        event.preventDefault();
        go(chosen());
      }
    });
    list.addEventListener("pointerdown", (event) => event.preventDefault()); // the cursor stays in the field
    list.addEventListener("click", (event) => {
      const option = event.target.closest("[role=option]");
      if (option) go(option);
    });
    form.addEventListener("focusout", (event) => {
      if (!form.contains(event.relatedTarget)) forget();
    });
    form.addEventListener("submit", forget);
    window.addEventListener("pageshow", forget);

    async function ask() {
      const text = field.value.trim();
      asking = new AbortController();
      try {
        const answer = await fetch(`/find-hints/?q=${encodeURIComponent(text)}`, { signal: asking.signal, headers: { Accept: "text/html" } });
        if (!answer.ok || answer.redirected) return; // logged out meanwhile: Enter leads to the login
        const page = new DOMParser().parseFromString(await answer.text(), "text/html");
        if (field.value.trim() === text && document.activeElement === field) show(text, [...page.querySelectorAll("[role=option]")]);
      } catch (error) {
        if (error.name !== "AbortError") forget(); // no line to the server: Enter still sends the field
      }
    }

    function show(text, options) {
      list.dataset.text = text;
      list.replaceChildren(...options);
      said.textContent = options.length ? `${options.length} found; arrow down to choose` : "Nothing found";
      if (options.length) open();
      else close();
    }

    function open() {
      box.hidden = false;
      field.setAttribute("aria-expanded", "true");
    }

    function close() {
      box.hidden = true;
      field.setAttribute("aria-expanded", "false");
      choose(null);
    }

    // What was asked before the last key counts no more: the list stays to be seen until the next one is there, but
    // nothing on it is chosen, and an answer under way is not waited for.
    function outdate() {
      clearTimeout(waiting);
      if (asking) asking.abort();
      choose(null);
    }

    function forget() {
      outdate();
      close();
      said.textContent = "";
      list.replaceChildren();
    }

    function chosen() {
      return box.hidden ? null : list.querySelector("[aria-selected=true]");
    }

    // Past either end stands the field itself, with what was typed.
    function step(by) {
      const options = [...list.children];
      const places = options.length + 1;
      choose(options[(options.indexOf(chosen()) + 1 + by + places) % places - 1] || null);
    }

    function choose(option) {
      for (const other of list.children) other.setAttribute("aria-selected", String(other === option));
      if (option) {
        field.setAttribute("aria-activedescendant", option.id);
        option.scrollIntoView({ block: "nearest" });
      } else {
        field.removeAttribute("aria-activedescendant");
      }
    }

    function go(option) {
      window.location.assign(option.dataset.href);
    }
  }

  function made(tag, attributes, text = "") {
    const element = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
    element.textContent = text;
    return element;
  }
}
