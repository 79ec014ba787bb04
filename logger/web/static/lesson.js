// What is new comes by server-sent events; only the parts that changed are put in place. Forms are sent without leaving
// the page, keys press buttons, the clock ticks on from the age that the rig has told. Without scripts all of it works by
// loading the page anew.
"use strict";
{
  const live = document.getElementById("live"), lost = document.querySelector(".lost"), wrong = document.getElementById("wrong");
  const calm = matchMedia("(prefers-reduced-motion: reduce)");
  const told = new Map();
  const parts = (root) => [...root.querySelectorAll("[data-part]")];
  const of = (part) => part.querySelector("[name=run_id]")?.value;  // what was typed of one run is not said of the next
  let begun = 0;

  function ticking() {
    const clock = live.querySelector("[data-clock]");
    if (!clock) return;
    const seconds = (performance.now() - begun) / 1000;
    clock.textContent = seconds.toFixed(calm.matches ? 0 : 1);
  }

  function place(text, running_s) {
    if (running_s !== null) begun = performance.now() - running_s * 1000;
    const made = document.createElement("template");
    made.innerHTML = text;
    const fresh = parts(made.content), names = fresh.map((part) => part.dataset.part);
    const there = parts(live).map((part) => part.dataset.part);
    if (names.join() !== there.join()) { live.replaceChildren(made.content); told.clear(); }
    for (const part of fresh) {
      const html = part.outerHTML.replace(/<span class="clock".*?<\/span>/, ""), name = part.dataset.part;
      if (told.get(name) === html) continue;
      const old = live.querySelector(`[data-part="${name}"]`);
      if (old !== part) {
        const focus = old.contains(document.activeElement) ? document.activeElement.id : "";
        const open = [...old.querySelectorAll("details[open][id]")].map((one) => one.id);
        const typed = [...old.querySelectorAll("input[id]")].filter((one) => one.value !== one.defaultValue && one.type !== "radio").map((one) => [one.id, one.value]);
        old.replaceWith(part);
        if (of(old) === of(part)) for (const [id, value] of typed) { const again = document.getElementById(id); if (again) again.value = value; }
        for (const id of open) { const again = document.getElementById(id); if (again && again.dataset.keep === old.querySelector(`#${id}`).dataset.keep) again.open = true; }
        if (focus) (document.getElementById(focus) || part.querySelector("button, a"))?.focus({ preventScroll: true });
      }
      told.set(name, html);
    }
    ticking();
  }

  for (const part of parts(live)) told.set(part.dataset.part, null);
  const shown = live.querySelector("[data-clock]");
  if (shown) begun = performance.now() - Number(shown.dataset.clock) * 1000;
  setInterval(ticking, calm.matches ? 1000 : 100);

  let source, heard = performance.now();
  function watch() {
    source = new EventSource(live.dataset.events);
    source.onopen = () => { lost.hidden = true; };
    source.addEventListener("board", (event) => {
      heard = performance.now();
      lost.hidden = true;
      const { part, running_s } = JSON.parse(event.data);
      place(part, running_s);
    });
    source.onerror = () => { lost.textContent = live.dataset.lost; lost.hidden = false; if (source.readyState === 2) { source.close(); setTimeout(watch, 2000); } };
  }
  watch();

  // A second press of what was pressed counts once; a press of what was drawn since waits for the answer, and is not lost.
  let sent = null, next = null;
  live.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.method !== "post" || form.dataset.whole !== undefined) return;
    event.preventDefault();
    const press = { form, values: new URLSearchParams(new FormData(form, event.submitter)) };
    if (!sent) send(press);
    else if (!sent.isConnected) next = press;
  });

  async function send({ form, values }) {
    sent = form;
    live.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(form.action, { method: "POST", body: values, headers: { Accept: "application/json" } });
      if (!answer.ok && answer.status !== 422) { location.reload(); return; }
      const { wrong: words, part, running_s } = await answer.json();
      if (!words.length) form.reset();
      wrong.replaceChildren();
      for (const { words: sentence, is_english } of words) { const line = document.createElement("li"); line.textContent = sentence; if (is_english) line.lang = "en"; wrong.append(line); }
      wrong.parentElement.hidden = !words.length;
      place(part, running_s);
    } catch { lost.textContent = live.dataset.lost; lost.hidden = false; }
    finally {
      const waited = next;
      sent = next = null;
      live.removeAttribute("aria-busy");
      if (waited) send(waited);
    }
  }

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.repeat || /^(INPUT|TEXTAREA|SELECT)$/.test(event.target.tagName)) return;
    const key = event.key === " " ? "space" : event.key.toLowerCase();
    if (key === "space" && /^(BUTTON|SUMMARY|A)$/.test(event.target.tagName)) return;
    const what = live.querySelector(`[data-key="${key}"]`) || live.querySelector(`details[open] [data-digit="${key}"]`);
    if (!what) return;
    event.preventDefault();
    if (what.dataset.turn) {
      const ways = [...live.querySelectorAll(`[name="${what.dataset.turn}"]`)], now = ways.findIndex((way) => way.checked);
      ways[(now + 1) % ways.length].checked = true;
      document.getElementById("void").open = true;
    } else {
      what.click();
      if (what.tagName === "SUMMARY") what.focus();
    }
  });
}
