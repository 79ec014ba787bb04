// One run: a dot on the map and on two graphs, moved by one handle; measured by hand first, compared with the tool after.
"use strict";
(() => {
  const B = window.boatrun, { data, words, fill, at, fixed, read } = B, run = data.run;
  const by = (id) => document.getElementById(id);
  const still = matchMedia("(prefers-reduced-motion: reduce)");
  for (const m of run.moments) m.label = m.role === "rest" ? words.rest : m.name;
  const map = new B.TankMap(by("map"), run), far = new B.TimeGraph(by("far"), run, "along"), fast = new B.TimeGraph(by("fast"), run, "speed");
  const handle = by("time"), first = run.t[0], last = run.t[run.t.length - 1];
  const state = { t: Math.max(first, 0), ghosts: [], a: null, b: null, ends: [null, null], seen: false, graph: false, fit: false, guess: null, guessing: null };
  B.frames = [];
  handle.min = Math.ceil(100 * first) / 100; handle.max = Math.floor(100 * last) / 100; handle.step = 0.01; handle.value = state.t;

  const axisName = (what) => fill(words.axis[what], { unit: B.band()[what === "speed" ? "speed" : "length"].words });

  function draw() {
    const small = innerWidth < 640, band = B.band();
    map.draw(B.room(by("map")), { ghosts: state.ghosts, unit: { ...band.length, words: axisName("map") }, tallest: small ? 280 : 300 });
    const shown = { ghosts: state.ghosts, across: words.axis.time, points: band.name !== "6-8" };
    const high = small ? 270 : 285;
    if (band.name !== "2-3" || state.graph)
      far.draw(B.room(by("far")), { ...shown, unit: band.length, name: axisName(far.what), height: high, doubt: band.name === "6-8" ? run[`u_${far.what}`] : null, fit: state.fit && far.what === "along" ? coastWay() : null });
    if (speedShown())
      fast.draw(B.room(by("fast")), { ...shown, unit: band.speed, name: axisName("speed"), height: high, points: false, doubt: band.name === "6-8" ? run.u_speed : null, fit: state.fit ? coastSpeed() : null });
    if (state.guess !== null && speedShown()) guessMark();
    measured(); ruler(); render();
  }
  const speedShown = () => state.seen && B.band().name !== "2-3";

  // --- the dot ---
  function told(t) {
    const along = at(run.t, run.along, t), speed = at(run.t, run.speed, t), band = B.band();
    const values = { t: B.spoken(Math.abs(t), "time"), zero: run.zero, far: B.spoken(Math.abs(along), "length"), fast: speed === null ? "" : B.spoken(Math.abs(speed), "speed") };
    const about = band.doubt === "about" ? "_about" : "";
    let text = fill(t >= 0 ? words.after : words.before, values) + " " + fill((along >= 0 ? words.past : words.short_of)[about ? "about" : "plain"], values);
    if (state.seen && speed !== null) text += " " + fill(words.going[about ? "about" : "plain"], values);
    return text;
  }

  let waiting = false;
  function ask() { if (!waiting) { waiting = true; requestAnimationFrame(render); } }
  function render() {
    waiting = false;
    const began = performance.now(), t = state.t;
    map.move(t, state.ghosts);
    if (B.band().name !== "2-3" || state.graph) far.move(t, state.ghosts);
    if (speedShown()) fast.move(t, state.ghosts);
    handle.value = t;
    const text = told(t);
    if (!playing) { by("told").textContent = text; handle.setAttribute("aria-valuetext", text); }
    table(t);
    B.frames.push(performance.now() - began);
    if (B.frames.length > 5000) B.frames.shift();
  }

  function table(t) {
    const along = at(run.t, run.along, t), across = at(run.t, run.across, t), speed = at(run.t, run.speed, t), six = B.band().name === "6-8";
    const cell = (id, value, what, u) => { by(id).textContent = value === null ? "–" : B.short(value, what) + (six && u !== null ? ` ${B.doubt(u, what)}` : ""); };
    by("read-t").textContent = B.short(t, "time");
    cell("read-along", along, "length", at(run.t, run.u_along, t));
    cell("read-across", across, "length", at(run.t, run.u_across, t));
    cell("read-speed", state.seen ? speed : null, "speed", at(run.t, run.u_speed, t));
    const hidden = run.unseen.some(([i, j]) => t >= run.t[i] && t <= run.t[j]);
    by("hidden").hidden = !hidden;
    by("ghost-told").replaceChildren(...state.ghosts.map((ghost, i) => {
      const g = at(ghost.t, ghost.along, t), name = `${i + 1}: ${ghost.name}`, line = document.createElement("li");
      line.textContent = g === null ? fill(words.ghost_gone, { name })
        : fill(g > along ? words.ghost_ahead : words.ghost_behind, { name, gap: B.spoken(Math.abs(g - along), "length") });
      return line;
    }));
  }

  handle.addEventListener("input", () => { stop(); state.t = Number(handle.value); ask(); });
  for (const [id, graph] of [["far", far], ["fast", fast]]) by(id).addEventListener("pointerdown", (event) => {
    if (event.target.closest(".handle")) return;
    const go = (e) => { stop(); state.t = Math.min(last, Math.max(first, graph.across.value(e.clientX - by(id).getBoundingClientRect().left))); ask(); };
    go(event);
    drag(event, go);
  });
  function drag(event, go) {
    const target = event.currentTarget;
    target.setPointerCapture(event.pointerId);
    const end = () => { target.removeEventListener("pointermove", go); target.removeEventListener("pointerup", end); target.removeEventListener("pointercancel", end); };
    target.addEventListener("pointermove", go); target.addEventListener("pointerup", end); target.addEventListener("pointercancel", end);
  }

  // --- play ---
  let playing = null, lastTick = 0;
  function stop() { if (playing) { if (playing.timer) clearInterval(playing.timer); playing = null; by("play").textContent = words.play; by("play").setAttribute("aria-pressed", "false"); } }
  by("play").addEventListener("click", () => {
    if (playing) { stop(); ask(); return; }
    if (state.t >= last - 0.01) state.t = first;
    by("play").textContent = words.pause; by("play").setAttribute("aria-pressed", "true");
    const step = B.dotTimes(run).step;
    playing = {};
    if (still.matches) { playing.timer = setInterval(() => { advance(step); ask(); }, (1000 * step) / rate()); return; }
    lastTick = performance.now();
    const tick = (now) => { if (!playing) return; advance(((now - lastTick) / 1000) * rate()); lastTick = now; render(); if (playing) requestAnimationFrame(tick); };
    requestAnimationFrame(tick);
  });
  const rate = () => Number(by("rate").value);
  function advance(by_s) { state.t = Math.min(last, state.t + by_s); if (state.t >= last) { stop(); ask(); } }

  // --- two points on the graph ---
  function setPoint(which, t) { state[which] = Math.min(last, Math.max(first, Math.round(t * 100) / 100)); measured(); }
  for (const which of ["a", "b"]) by(`point-${which}`).addEventListener("click", () => setPoint(which, state.t));
  function measured() {
    const shown = B.band().name !== "2-3" && far.over, out = by("slope");
    by("slope-tool").hidden = true;
    if (!shown) return;
    far.over.replaceChildren();
    const points = ["a", "b"].filter((which) => state[which] !== null);
    if (points.length === 2 && state.a !== state.b) triangle();
    for (const which of points) far.over.append(pointHandle(which));
    if (points.length < 2) { out.textContent = words.slope_ask; return; }
    const [one, two] = division();
    if (read(two.time) === 0) { out.textContent = words.slope_same; return; }
    out.textContent = two.text;
    by("slope-tool").hidden = false;
    by("slope-said").textContent = "";
  }
  // the speed that a hand gets from the shown numbers
  function division() {
    const [early, late] = state.a <= state.b ? [state.a, state.b] : [state.b, state.a];
    const d1 = B.number(at(run.t, run[far.what], early), "length"), d2 = B.number(at(run.t, run[far.what], late), "length");
    const t1 = B.number(early, "time"), t2 = B.number(late, "time"), band = B.band();
    const distance = fixed(read(d2) - read(d1), band.length.decimals), time = fixed(read(t2) - read(t1), band.time.decimals);
    const inUnit = read(distance) / read(time);
    const speed = fixed(Number(inUnit.toPrecision(12)), band.speed.decimals);
    const text = fill(words.slope, { d1, d2, t1, t2, distance, time, speed, length: band.length.sign, second: band.time.sign, per: band.speed.sign });
    return [{ early, late }, { text, time, speed }];
  }
  function triangle() {
    const [{ early, late }] = division(), x1 = far.across.px(early), x2 = far.across.px(late);
    const y1 = far.upright.px(at(run.t, run[far.what], early)), y2 = far.upright.px(at(run.t, run[far.what], late));
    far.over.append(B.el("path", { class: "triangle", d: `M${x1},${y1}H${x2}V${y2}Z` }));
  }
  function pointHandle(which) {
    const t = state[which], v = at(run.t, run[far.what], t);
    const group = B.el("g", { class: "handle", tabindex: 0, role: "slider", "aria-label": fill(words.point, { name: which.toUpperCase() }), "aria-valuemin": first, "aria-valuemax": last, "aria-valuenow": t,
      "aria-valuetext": told(t), transform: `translate(${far.across.px(t)},${far.upright.px(v)})` },
      B.el("circle", { class: "reach", r: 22 }), B.el("circle", { class: "point", r: 9 }));
    const name = B.el("text", { x: 0, y: 5, class: "point-name", "text-anchor": "middle" });
    name.textContent = which.toUpperCase();
    group.append(name);
    group.addEventListener("keydown", (event) => {
      const steps = { ArrowLeft: -0.05, ArrowDown: -0.05, ArrowRight: 0.05, ArrowUp: 0.05, PageUp: 0.5, PageDown: -0.5 }[event.key];
      if (!steps) return;
      event.preventDefault(); setPoint(which, state[which] + (event.shiftKey ? steps / 5 : steps)); far.over.querySelectorAll(".handle")[which === "a" || state.a === null ? 0 : 1].focus();
    });
    group.addEventListener("pointerdown", (event) => {
      event.stopPropagation();
      const svg = by("far"), left = svg.getBoundingClientRect().left;
      const go = (e) => setPoint(which, far.across.value(e.clientX - left));
      const end = () => { removeEventListener("pointermove", go); removeEventListener("pointerup", end); };
      addEventListener("pointermove", go); addEventListener("pointerup", end);
      event.preventDefault();
    });
    return group;
  }
  by("slope-compare").addEventListener("click", () => {
    const [{ early, late }] = division();
    const gain = at(run.t, run[far.what], late) - at(run.t, run[far.what], early), mean = gain / (late - early);
    const u = run[`u_${far.what}`], U = Math.hypot(at(run.t, u, early), at(run.t, u, late)) / (late - early);
    const inside = run.speed.filter((v, i) => v !== null && run.t[i] >= early && run.t[i] <= late);
    const text = [fill(words.slope_tool, { mean: B.short(mean, "speed"), doubt: B.band().name === "6-8" ? " " + B.doubt(U, "speed") : "" })];
    if (inside.length && far.what === "along") text.push(fill(words.slope_between, { low: B.short(Math.min(...inside), "speed"), high: B.short(Math.max(...inside), "speed") }));
    by("slope-said").textContent = text.join(" ");
  });

  // --- a ruler on the map ---
  for (const i of [0, 1]) by(`end-${i + 1}`).addEventListener("click", () => { state.ends[i] = [at(run.t, run.x, state.t), at(run.t, run.y, state.t)]; ruler(); });
  function ruler() {
    if (!map.over) return;
    map.over.replaceChildren();
    const [one, two] = state.ends, out = by("ruler");
    if (one && two) map.over.append(B.el("path", { class: "ruler", d: `M${map.px(one[0])},${map.py(one[1])}L${map.px(two[0])},${map.py(two[1])}` }));
    state.ends.forEach((end, i) => { if (end) map.over.append(rulerEnd(i)); });
    if (!one || !two) { out.textContent = words.ruler_ask; return; }
    const long = Math.hypot(two[0] - one[0], two[1] - one[1]);
    out.textContent = fill(words.ruler, { long: B.spoken(long, "length"), mm: fixed(long, 0) });
  }
  function rulerEnd(i) {
    const end = state.ends[i];
    const group = B.el("g", { class: "handle", tabindex: 0, role: "button", "aria-label": fill(words.ruler_end, { n: i + 1, x: fixed(end[0], 0), y: fixed(end[1], 0) }), transform: `translate(${map.px(end[0])},${map.py(end[1])})` },
      B.el("circle", { class: "reach", r: 22 }), B.el("path", { class: "end", d: "M-9,0H9M0,-9V9" }));
    group.addEventListener("keydown", (event) => {
      const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
      if (!way) return;
      event.preventDefault();
      const far = event.shiftKey ? 1 : 10;
      state.ends[i] = [end[0] + far * way[0], end[1] + far * way[1]];
      ruler();
      map.over.querySelectorAll(".handle")[i && state.ends[0] ? 1 : 0].focus();
    });
    group.addEventListener("pointerdown", (event) => {
      const box = by("map").getBoundingClientRect();
      const go = (e) => { state.ends[i] = [map.x(e.clientX - box.left), map.y(e.clientY - box.top)]; ruler(); };
      const stopIt = () => { removeEventListener("pointermove", go); removeEventListener("pointerup", stopIt); };
      addEventListener("pointermove", go); addEventListener("pointerup", stopIt);
      event.preventDefault();
    });
    return group;
  }

  // --- say first, then see ---
  function fastest() {
    let best = null;
    run.speed.forEach((v, i) => { if (v !== null && run.t[i] >= Math.min(0, last) && (best === null || v > run.speed[best])) best = i; });
    return best;
  }
  by("guess").addEventListener("click", () => {
    const best = fastest(), there = at(run.t, run.speed, state.t);
    state.guess = Math.round(state.t * 100) / 100; state.seen = true;
    by("cover").hidden = true; by("fast-figure").classList.remove("covered");
    const good = there !== null && there >= 0.95 * run.speed[best];
    by("guess-said").textContent = fill(good ? words.guess_good : words.guess_other, { guess: B.spoken(state.t, "time"), best: B.spoken(run.t[best], "time"), window: fixed(run.window_s, 2) });
    draw();
  });
  by("see").addEventListener("click", () => { state.seen = true; by("cover").hidden = true; by("fast-figure").classList.remove("covered"); draw(); });
  function guessMark() {
    const x = fast.across.px(state.guess);
    fast.over.replaceChildren(B.el("path", { class: "guess", d: `M${x},${fast.upright.from}V${fast.upright.to}` }));
  }
  by("show-graph").addEventListener("click", () => { state.graph = true; arrange(); draw(); });

  // --- choices ---
  const boxes = [...document.querySelectorAll("#ghosts input")];
  for (const box of boxes) box.addEventListener("change", () => {
    const before = state.ghosts.filter((one) => boxes.some((b) => b.checked && b.value === one.id));
    const added = boxes.filter((b) => b.checked && !before.some((one) => one.id === b.value)).map((b) => run.ghosts.find((one) => one.id === b.value));
    state.ghosts = [...before, ...added].slice(0, 4);
    const full = state.ghosts.length === 4;
    for (const b of boxes) b.disabled = full && !b.checked;
    draw();
  });
  by("axis").addEventListener("change", () => { far.what = by("axis").value; state.a = state.b = null; draw(); });
  if (by("fit")) by("fit").addEventListener("click", () => {
    state.fit = !state.fit; state.seen = state.seen || state.fit; by("cover").hidden = state.seen; by("fit").setAttribute("aria-pressed", state.fit);
    by("fit-said").hidden = !state.fit; draw();
    if (state.fit) { const gaps = coastWay().map(([t, v]) => at(run.t, run.along, t) - v).filter((v) => !Number.isNaN(v)); by("fit-gap").textContent = fill(words.fit_gap, { gap: B.short(Math.max(...gaps.map(Math.abs)), "length") }); }
  });
  const coastEnd = () => { const rest = run.moments.find((m) => m.role === "rest"); return Math.min(last, rest ? rest.t : last); };
  const coastTimes = () => Array.from({ length: 121 }, (_, i) => run.fit.t + (i / 120) * (coastEnd() - run.fit.t));
  function coastWay() {
    const { t, along, speed, linear, squared } = run.fit;
    return coastTimes().map((time) => {
      const s = time - t, fall = linear > 0 ? -Math.expm1(-linear * s) / linear : s;
      return [time, along + (squared > 0 ? Math.log1p(squared * speed * fall) / squared : speed * fall)];
    });
  }
  function coastSpeed() {
    const { t, speed, linear, squared } = run.fit;
    return coastTimes().map((time) => {
      const s = time - t, left = linear > 0 ? Math.exp(-linear * s) : 1, fall = linear > 0 ? -Math.expm1(-linear * s) / linear : s;
      return [time, (speed * left) / (1 + squared * speed * fall)];
    });
  }

  // --- arranging for the age ---
  function arrange() {
    const young = B.band().name === "2-3";
    by("far-figure").hidden = young && !state.graph;
    by("show-graph").hidden = !young || state.graph;
    by("fast-figure").hidden = young;
    by("cover").hidden = state.seen || young;
    by("fast-figure").classList.toggle("covered", !state.seen && !young);
    by("legend").textContent = fill(words.legend, { step: fixed(B.dotTimes(run).step, B.decimalsOf(B.dotTimes(run).step)) });
    if (young && far.what !== "along") { far.what = "along"; by("axis").value = "along"; }
  }
  B.onBand(() => { arrange(); draw(); });
  let width = 0;
  new ResizeObserver(() => { if (innerWidth !== width) { width = innerWidth; draw(); } }).observe(document.body);
  addEventListener("keydown", (event) => {
    if (event.key === " " && !event.target.closest("button, input, select, a, summary, textarea, .handle")) { event.preventDefault(); by("play").click(); }
  });
  B.begin();
  by("data").dataset.shown = performance.now().toFixed(0);
})();
