// The job card keeps what is typed: on this device at once, on the server a moment later, one field at a time.
// Nothing here judges or decides: words and limits come from the server. Without this script the forms do the same.
"use strict";

{
  const card = document.querySelector("#card");
  if (card && card.dataset.closed !== undefined) forgetAll(card);
  else if (card && card.querySelector("fieldset.plain:enabled, [data-sign]")) watch(card);

  function place(card, who = card.dataset.who) {
    return `card:${card.dataset.card}:${who}:`;
  }

  function forgetAll(card) {
    const own = `card:${card.dataset.card}:`;
    for (const key of Object.keys(localStorage)) if (key.startsWith(own)) localStorage.removeItem(key);
  }

  function watch(card) {
    const home = place(card);
    const fields = new Map(); // key -> a field of this page
    const jobs = new Map(); // key -> what is being sent or waits to be sent
    const told = [document.querySelector("#saving"), ...document.querySelectorAll(".saving-here")].filter(Boolean);
    let away = ""; // why nothing goes out: connection, login, closed
    let held = false; // going on was held back for want of a connection

    // What there is to keep on this page.

    for (const control of card.querySelectorAll("[data-save]")) {
      const base = control.form.elements[`base-${control.name}`];
      if (!base) continue;
      const [section, ...rest] = control.dataset.save.split(":");
      fields.set(control.dataset.save, {
        section, field: rest.join(":"), box: control.closest(".field, .tickable"), controls: [control],
        read: () => (control.type === "checkbox" ? (control.checked ? control.dataset.on : control.dataset.off) : control.value.trim()),
        write: (value) => {
          if (control.type === "checkbox") control.checked = value !== control.dataset.off;
          else control.value = value;
        },
        base, same: (value) => value === base.value.trim(),
      });
    }
    for (const box of card.querySelectorAll("[data-measure]")) {
      const controls = [...box.querySelectorAll("input:not([type=hidden]), select")];
      if (!controls.length) continue;
      const name = (control) => control.name.slice(box.id.length + 1);
      const read = () => JSON.stringify(Object.fromEntries(controls.map((control) => [name(control), control.value.trim()])));
      const drawn = read();
      fields.set(`measure:${box.dataset.measure}`, {
        section: "measure", field: box.dataset.measure, box, controls, read,
        write: (value) => {
          const inputs = JSON.parse(value);
          for (const control of controls) if (name(control) in inputs) control.value = inputs[name(control)];
        },
        base: box.querySelector(`input[name="${box.id}-base"]`),
        same: (value) => value === drawn && !box.querySelector(".refused"),
        isEmpty: () => !JSON.parse(read()).value, verdict: box.querySelector(".verdict"),
      });
    }
    // Kept on this device only, until the step is sent: a reading is written once, a failure when it is whole.
    for (const control of card.querySelectorAll("[data-odometer], [name^='failure-']:not([type=hidden])")) {
      const seal = control.dataset.odometer ? card.dataset.reading : card.dataset.failures;
      const key = control.type === "radio" ? `here:${control.name}:${control.value}` : `here:${control.name}`;
      const choice = control.type === "radio" || control.type === "checkbox";
      const start = choice ? String(control.checked) : control.value;
      const read = () => (choice ? String(control.checked) : control.value);
      const write = (value) => { if (choice) control.checked = value === "true"; else control.value = value; };
      fields.set(key, { here: true, seal, controls: [control], read, write, same: (value) => value === start });
    }

    // On this device.

    const stored = (key) => {
      try { return JSON.parse(localStorage.getItem(home + key)); } catch { return null; }
    };
    function keepHere(key, field) {
      try {
        const entry = field.here ? { value: field.read(), seal: field.seal } : { value: field.read(), base: field.base.value };
        localStorage.setItem(home + key, JSON.stringify(entry));
      } catch { say(); }
    }
    const forget = (key) => localStorage.removeItem(home + key);

    // To the server.

    function cookie(name) {
      return document.cookie.split("; ").find((part) => part.startsWith(name + "="))?.slice(name.length + 1) || "";
    }

    function later(key, wait) {
      const job = jobs.get(key) || {};
      clearTimeout(job.timer);
      jobs.set(key, job);
      job.state = job.state === "sending" ? "again" : "waiting";
      if (job.state === "waiting") job.timer = setTimeout(() => send(key), wait);
      say();
    }

    async function send(key) {
      const field = fields.get(key);
      const job = jobs.get(key) || {};
      const entry = field ? { value: field.read(), base: field.base.value } : stored(key);
      if (!entry || job.state === "sending") return;
      clearTimeout(job.timer);
      jobs.set(key, Object.assign(job, { state: "sending" }));
      say();
      const [section, ...rest] = key.split(":");
      let answer;
      let body = {};
      try {
        answer = await fetch(card.dataset.save, {
          method: "POST", redirect: "manual", keepalive: true,
          headers: { "X-CSRFToken": cookie("csrftoken"), Accept: "application/json" },
          body: new URLSearchParams({ section, field: rest.join(":"), value: entry.value, base: entry.base }),
        });
        if (answer.status) body = await answer.json().catch(() => ({}));
      } catch { answer = null; }
      const changed = job.state === "again";
      job.state = "";
      settle(key, field, entry, answer, body, job);
      if (changed && jobs.has(key)) later(key, 200);
    }

    function settle(key, field, entry, answer, body, job) {
      if (answer && (answer.type === "opaqueredirect" || answer.status === 403)) {
        away = "login";
        job.state = "unsent";
      } else if (!answer || answer.status >= 500) {
        away = away || "connection";
        job.tries = (job.tries || 0) + 1;
        job.state = "unsent";
        job.timer = setTimeout(() => send(key), Math.min(30000, 1000 * 2 ** (job.tries - 1)));
      } else if (answer.ok) {
        away = "";
        jobs.delete(key);
        if (!field) forget(key);
        else {
          field.base.value = body.base;
          if (field.read() === entry.value) forget(key);
          else keepHere(key, field);
          clear(field);
          if (field.verdict) show(field.verdict, body.level, body.words);
        }
        for (const [step, [state, words]] of Object.entries(body.steps || {})) tell(step, state, words);
      } else if (answer.status === 409) {
        job.state = "clash";
        if (field) clash(key, field, body);
      } else if (answer.status === 410) {
        away = "closed";
        job.state = "unsent";
      } else {
        job.state = "refused";
        if (field) refuse(field, body.said || "Not saved. Load the page again.");
        else jobs.delete(key);
      }
      say();
    }

    function tell(step, state, words) {
      const mark = document.querySelector(`[data-step="${step}"] .status`);
      if (mark) { mark.className = `status ${state}`; mark.textContent = words; }
    }

    // In words.

    function say() {
      const states = [...jobs.values()].map((job) => job.state);
      const unsent = states.filter((state) => state === "unsent").length;
      let words = "Saved";
      if (states.includes("clash")) words = "Not saved: somebody else wrote here, see the marked field";
      else if (states.includes("refused")) words = "Not saved: see the marked field. Kept on this device";
      else if (away === "login") words = "Kept on this device, not sent yet: log in again";
      else if (away === "closed") words = "Not sent: this card is closed. Kept on this device";
      else if (!navigator.onLine && (unsent || held)) words = `No connection. Kept on this device, not sent yet${held ? ": go on when it is back" : ""}`;
      else if (unsent) words = "Kept on this device, not sent yet";
      else if (states.some((state) => state)) words = "Saving …";
      for (const place of told) {
        place.hidden = false;
        if (place.textContent !== words) place.textContent = words;
        place.classList.toggle("unsent", words !== "Saved" && words !== "Saving …");
      }
      if (away === "login" && told[0]) {
        const link = document.createElement("a");
        link.href = `/login/?next=${encodeURIComponent(location.pathname + location.search)}`;
        link.className = "button slim";
        link.textContent = "Log in";
        told[0].append(" ", link);
      }
    }

    function clear(field) {
      field.box?.querySelectorAll(".clash, .refused").forEach((note) => note.remove());
      field.box?.classList.remove("bad");
      field.box?.querySelectorAll(".bad").forEach((box) => box.classList.remove("bad"));
    }

    function refuse(field, words) {
      clear(field);
      const note = document.createElement("span");
      note.className = "refused";
      note.textContent = words;
      (field.box.querySelector(".measured-row") || field.box).append(note);
      if (field.box.classList.contains("field")) field.box.classList.add("bad");
    }

    function clash(key, field, body) {
      clear(field);
      const note = document.createElement("div");
      note.className = "note ask clash";
      note.setAttribute("role", "alert");
      const words = document.createElement("p");
      const whose = document.createElement("b");
      whose.textContent = `${body.by || "Somebody else"} wrote here meanwhile: `;
      const theirs = document.createElement("q");
      theirs.textContent = body.theirs || "nothing";
      words.append(whose, theirs);
      const ways = document.createElement("p");
      ways.className = "buttons";
      ways.append(
        button("Keep mine", () => { field.base.value = body.theirs; clear(field); jobs.delete(key); keepHere(key, field); send(key); }),
        button("Take theirs", () => {
          forget(key);
          jobs.delete(key);
          if (field.section === "measure" || field.controls[0].type === "checkbox") return location.reload();
          field.write(body.theirs);
          field.base.value = body.theirs;
          clear(field);
          say();
        }),
      );
      note.append(words, ways);
      field.box.append(note);
    }

    function button(words, act) {
      const made = document.createElement("button");
      made.type = "button";
      made.textContent = words;
      made.addEventListener("click", act);
      return made;
    }

    function show(place, level, words) {
      place.textContent = "";
      place.hidden = !words;
      if (!words) return;
      const mark = document.createElement("span");
      mark.className = level ? `status ${level}` : "quiet";
      mark.textContent = words;
      place.append(mark);
    }

    // A word on a value, as it is typed.

    function asker(address, read, place) {
      let timer;
      let asked;
      return () => {
        clearTimeout(timer);
        timer = setTimeout(async () => {
          asked?.abort();
          asked = new AbortController();
          const values = read();
          if (!values) return show(place, "", "");
          try {
            const answer = await fetch(`${address}?${new URLSearchParams(values)}`, {
              redirect: "manual", signal: asked.signal, headers: { Accept: "application/json" },
            });
            if (!answer.status) return;
            const body = await answer.json();
            show(place, body.level, body.words || body.said);
          } catch { /* no word without a connection */ }
        }, 250);
      };
    }

    const word = document.querySelector("#odometer-word");
    const [shown, unit] = card.querySelectorAll("[data-odometer]");
    const askWord = word && asker(card.dataset.word, () => shown.value.trim() && { value: shown.value.trim(), unit: unit.value }, word);
    for (const field of fields.values()) {
      if (field.section !== "measure") continue;
      field.ask = asker(card.dataset.judge, () => (field.isEmpty() ? null : { measure: field.field, ...JSON.parse(field.read()) }), field.verdict);
    }

    // Typing.

    function typed(key, field, wait) {
      keepHere(key, field);
      if (field.here) {
        if (askWord && field.controls[0].dataset.odometer) askWord();
        return;
      }
      if (field.ask) field.ask();
      later(key, wait);
    }
    for (const [key, field] of fields) {
      for (const control of field.controls) {
        control.addEventListener("input", () => typed(key, field, control.type === "checkbox" ? 0 : 900));
        control.addEventListener("blur", () => { if (jobs.get(key)?.state === "waiting") send(key); });
      }
    }

    // What this device still held: back into its fields, and off to the server.

    for (const name of Object.keys(localStorage)) {
      if (!name.startsWith(home)) continue;
      const key = name.slice(home.length);
      const field = fields.get(key);
      const entry = stored(key);
      if (!entry || (field && field.same(entry.value)) || (field?.here && entry.seal !== field.seal)) forget(key);
      else if (field?.here) { field.write(entry.value); if (field.controls[0].dataset.odometer) askWord?.(); }
      else if (field) { field.write(entry.value); field.base.value = entry.base; field.ask?.(); later(key, 0); }
      else if (!key.startsWith("here:")) later(key, 1500);
    }
    say();

    addEventListener("online", () => {
      away = away === "connection" ? "" : away;
      held = false;
      for (const [key, job] of jobs) if (job.state === "unsent") send(key);
    });
    addEventListener("offline", say);

    // Going on.

    document.addEventListener("submit", (event) => {
      const form = event.target;
      if (!card.contains(form) || event.defaultPrevented) return;
      if (!navigator.onLine) {
        event.preventDefault();
        form.dataset.sent = "";
        held = true;
        say();
        return;
      }
      const token = cookie("csrftoken");
      if (token && form.elements.csrfmiddlewaretoken) form.elements.csrfmiddlewaretoken.value = token;
      for (const job of jobs.values()) clearTimeout(job.timer);
    });
    document.addEventListener("click", (event) => {
      const link = event.target.closest?.("a[href^='?theirs=']");
      if (!link) return;
      const box = link.closest(".field, .tickable, [data-measure]") || link.parentElement;
      for (const [key, field] of fields) if (box.contains(field.controls[0]) || field.controls[0].name === new URLSearchParams(link.search).get("theirs")) forget(key);
    });
    card.addEventListener("keydown", (event) => {
      const control = event.target;
      if (event.key !== "Enter" || event.isComposing) return;
      if (control.tagName === "TEXTAREA") {
        if (!event.ctrlKey && !event.metaKey) return;
        event.preventDefault();
        control.form.requestSubmit(control.form.querySelector("[data-go]"));
        return;
      }
      const bench = control.tagName === "INPUT" && control.closest(".bench-card");
      if (!bench) return;
      event.preventDefault();
      const inputs = [...bench.querySelectorAll(".measured-row input")];
      const next = inputs.slice(inputs.indexOf(control) + 1).find((input) => !input.value && input.required);
      const done = bench.querySelector("button[name=done]");
      if (next) next.focus();
      else if (done) control.form.requestSubmit(done);
    });
    document.querySelector(".flow [aria-current]")?.scrollIntoView({ block: "nearest", inline: "center" });
    const bad = card.querySelector(".field.bad input, .field.bad textarea, .field.bad select");
    // At once and not when the browser comes round to it: a PIN typed early must not land in the search.
    const first = bad || card.querySelector("[autofocus]");
    if (first && (bad || document.activeElement === document.body)) first.focus();
  }
}
