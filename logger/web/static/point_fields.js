// Points that have a field each: the next click fills the next empty one; once all are set, the nearest is moved.
"use strict";
const filled = (words, ...values) => values.reduce((text, value) => text.replace("%s", value), words);
for (const look of document.querySelectorAll(".look")) {
  const names = look.dataset.fields.split(" "), labels = look.dataset.labels.split(" ");
  const fields = names.map((name) => document.getElementById(`f-${name}`));
  const said = look.nextElementSibling, away = said.nextElementSibling.querySelector("[data-undo]");
  const read = (field) => { const found = field.value.split(",").map(Number); return found.length === 2 && found.every(Number.isFinite) && field.value ? found : null; };
  const pad = away.closest(".fields").querySelector("[data-pad]");
  let last = -1; // the one that was set last, or moved
  const next = () => fields.findIndex((field) => !read(field));
  function tell(words) {
    const n = next();
    said.textContent = `${words} ${n < 0 ? look.dataset.full : filled(look.dataset.next, labels[n])}`.trim();
  }
  function set([u, v]) {
    let n = next();
    if (n < 0) {
      const far = fields.map((field) => { const at = read(field); return Math.hypot(at[0] - u, at[1] - v); });
      n = far.indexOf(Math.min(...far));
    }
    put(n, [u, v]);
  }
  function put(n, [u, v]) {
    last = n;
    fields[n].value = `${u.toFixed(1)},${v.toFixed(1)}`;
    tell(filled(look.dataset.at, labels[n], u.toFixed(1), v.toFixed(1)));
  }
  const furthest = () => fields.map(read).reduce((found, at, index) => at ? index : found, -1);
  function move(moved) {
    const n = last >= 0 && read(fields[last]) ? last : furthest();
    if (n < 0) return null;
    put(n, moved(read(fields[n])));
    return read(fields[n]);
  }
  function undo() {
    const n = furthest();
    if (n >= 0) fields[n].value = "";
    tell("");
  }
  function shapes() {
    const points = fields.map(read);
    return points.map((at, n) => at && { at, from: n > 0 ? points[n - 1] : null, words: labels[n] }).filter(Boolean);
  }
  const pointer = pointAt(look, { set, undo, shapes, move, pad });
  for (const field of fields) field.addEventListener("input", () => { tell(""); pointer.show(); });
  away.hidden = false;
  away.addEventListener("click", () => { undo(); pointer.show(); });
  tell("");
}
