// Lines, beams and zones: each point becomes a row of the table.
"use strict";
{
  const $ = (id) => document.getElementById(id);
  const say = (what, values = {}) => { $("said").textContent = $("said").dataset[what].replace(/\{(\w+)\}/g, (_, name) => values[name]); };
  const points = read($("table").value);
  const cell = (text) => /[",]/.test(text) ? '"' + text.replace(/"/g, '""') + '"' : text;
  const height = () => $("where").value === "above" ? $("height").value.trim() : $("where").value;
  function table() {
    const rows = points.map((p) => [cell(p.name), p.kind, p.u.toFixed(1), p.v.toFixed(1), p.height].join(","));
    return rows.length ? ["name,kind,column_px,row_px,height_mm", ...rows].join("\n") + "\n" : "";
  }
  // What the table held when the page came: a name in quotes may hold commas.
  function read(text) {
    return text.split("\n").slice(1).filter((line) => line.trim()).map((line) => {
      const [, quoted, plain, rest] = line.match(/^(?:"((?:[^"]|"")*)"|([^,]*)),(.*)$/) || [];
      const [kind, u, v, height] = (rest || "").split(",");
      return { name: quoted === undefined ? plain : quoted.replace(/""/g, '"'), kind, u: Number(u), v: Number(v), height: height || "" };
    }).filter((p) => p.name && Number.isFinite(p.u) && Number.isFinite(p.v));
  }
  function shapes() {
    $("table").value = table();
    return points.map((p, n) => {
      const last = points[n - 1], joined = last && last.name === p.name && last.kind === p.kind;
      return { at: [p.u, p.v], from: joined ? [last.u, last.v] : null, words: joined ? "" : p.name };
    });
  }
  function set([u, v]) {
    const name = $("name").value.trim();
    if (!name) { say("unnamed"); $("name").focus(); return; }
    if ($("where").value === "above" && !(parseFloat($("height").value) >= 0)) { say("unhigh"); $("height").focus(); return; }
    points.push({ name, kind: $("kind").value, u, v, height: height() });
    say("set", { name, number: points.filter((p) => p.name === name).length, u: u.toFixed(1), v: v.toFixed(1) });
  }
  function move(moved) {
    const last = points[points.length - 1];
    if (!last) return null;
    [last.u, last.v] = moved([last.u, last.v]);
    say("moved", { name: last.name, u: last.u.toFixed(1), v: last.v.toFixed(1) });
    return [last.u, last.v];
  }
  function undo() { if (points.pop()) say("left", { number: points.length }); }
  const pointer = pointAt($("look"), { set, undo, shapes, move, pad: $("pad") });
  $("undo").addEventListener("click", () => { undo(); pointer.show(); });
  $("kind").addEventListener("change", () => { $("name").value = $("kind").value; });
  $("where").addEventListener("change", () => { $("height").disabled = $("where").value !== "above"; });
  const copy = $("copy"), save = $("save");
  if (copy) copy.addEventListener("click", async () => {
    $("table").select();
    try { await navigator.clipboard.writeText($("table").value); } catch { document.execCommand("copy"); }
    say("copied");
  });
  if (save) save.addEventListener("click", () => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([$("table").value], { type: "text/csv" }));
    link.download = "points.csv";
    link.click();
  });
}
