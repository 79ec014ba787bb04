// A map of the tank, and a graph against time; each knows how to be drawn anew at any width and how to move its dot.
"use strict";
(() => {
  const { el, fixed, niceStep, ticks, decimalsOf, scale, at, thinned, way } = window.boatrun;
  const SIGNS = { start: "M-7,-7L8,0L-7,7Z", mark: "M0,-9L9,0L0,9L-9,0Z", finish: "M-6.5,-6.5L6.5,-6.5L6.5,6.5L-6.5,6.5Z",
                  rest: "M0,-8L2.5,-2.5L8,-2.5L3.5,1.5L5,7.5L0,4L-5,7.5L-3.5,1.5L-8,-2.5L-2.5,-2.5Z" };
  const sign = (role, x, y) => el("path", { d: SIGNS[role] || SIGNS.mark, class: "sign", transform: `translate(${x},${y})` });
  const text = (x, y, words, cls, anchor) => {
    const made = el("text", { x, y, class: cls, "text-anchor": anchor || "start" });
    made.textContent = words;
    return made;
  };

  // a ghost's dot: a number in a frame of a shape of its own, told without colour
  const FRAMES = ["M0,-11L11,0L0,11L-11,0Z", "M-9,-9H9V9H-9Z", "M0,-12L12,9H-12Z", "M-11,-6L0,-11L11,-6V8H-11Z"];
  function ghostSign(i) {
    const number = text(0, 5, String(i + 1), "ghost-number", "middle");
    return el("g", { visibility: "hidden" }, el("path", { class: "ghost-now", d: FRAMES[i % FRAMES.length] }), number);
  }
  function put(sign, place) {
    sign.setAttribute("visibility", place ? "visible" : "hidden");
    if (place) sign.setAttribute("transform", `translate(${place[0].toFixed(2)},${place[1].toFixed(2)})`);
  }

  function dotTimes(run) {
    const first = run.t[0], last = run.t[run.t.length - 1], step = niceStep(last - first, 24);
    return { step, times: ticks(first, last, step) };
  }

  class TankMap {
    constructor(svg, run) { this.svg = svg; this.run = run; }

    draw(width, { ghosts, unit, tallest = 340 }) {
      const run = this.run, corners = run.tank.outline, small = width < 500;
      const xs = corners.map((c) => c[0]), ys = corners.map((c) => c[1]);
      const [left, right, low, high] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
      const side = 44, head = 34, foot = 42;
      const per = Math.min((width - 2 * side) / (right - left), (tallest - head - foot) / (high - low));
      const shift = (width - (right - left) * per) / 2, height = (high - low) * per + head + foot;
      this.px = (x) => shift + (x - left) * per;
      this.py = (y) => head + (high - y) * per;
      this.x = (px) => left + (px - shift) / per;
      this.y = (py) => high - (py - head) / per;
      this.per = per;
      this.svg.setAttribute("viewBox", `0 0 ${width} ${height.toFixed(1)}`);
      this.svg.setAttribute("width", width); this.svg.setAttribute("height", height.toFixed(0));
      const keep = [...this.svg.querySelectorAll("title, desc")];
      const shape = "M" + corners.map((c) => `${this.px(c[0]).toFixed(1)},${this.py(c[1]).toFixed(1)}`).join("L") + "Z";
      const clip = this.svg.id + "-water";
      const grid = el("g", { "clip-path": `url(#${clip})` });
      for (const x of ticks(left, right, 100)) grid.append(el("path", { class: "grid", d: `M${this.px(x)},${head}V${height - foot}` }));
      for (const y of ticks(low, high, 100)) grid.append(el("path", { class: "grid", d: `M${this.px(left)},${this.py(y)}H${this.px(right)}` }));
      const layer = [el("defs", {}, el("clipPath", { id: clip }, el("path", { d: shape }))), el("path", { d: shape, class: "water" }), grid];
      const step = Math.max(100, niceStep(right - left, small ? 5 : 9));
      for (const x of ticks(left, right, step)) layer.push(text(this.px(x), height - foot + 18, fixed(x * unit.per, 0 + (unit.per < 0.01 ? 1 : 0)), "tick", "middle"));
      layer.push(text(this.px(right), height - 4, unit.words, "axis-name", "end"));
      for (const zone of run.tank.zones) layer.push(...this.zone(zone));
      for (const line of run.tank.lines) {
        const a = [this.px(line.a[0]), this.py(line.a[1])], b = [this.px(line.b[0]), this.py(line.b[1])];
        const top = a[1] < b[1] ? a : b;
        layer.push(el("path", { d: `M${a}L${b}`, class: `tape ${line.role}` }), sign(line.role, top[0], head - 14), text(top[0] + 13, head - 9, line.name, "tape-name"));
        if (line.gate) layer.push(...[a, b].map((end) => el("rect", { class: "post", x: end[0] - 4, y: end[1] - 4, width: 8, height: 8 })));
      }
      layer.push(el("path", { d: shape, class: "wall" }));
      ghosts.forEach((ghost, i) => layer.push(el("path", { class: `ghost g${i + 1}`, d: way(ghost.x, ghost.y, this.px, this.py) })));
      layer.push(el("path", { class: "wake", d: way(run.x, run.y, this.px, this.py) }));
      const { times } = dotTimes(run);
      for (const t of times) {
        const hidden = run.unseen.some(([i, j]) => t >= run.t[i] - 1e-9 && t <= run.t[j] + 1e-9);
        layer.push(el("circle", { class: hidden ? "dot bridged" : "dot", r: small ? 3 : 4, cx: this.px(at(run.t, run.x, t)).toFixed(1), cy: this.py(at(run.t, run.y, t)).toFixed(1) }));
      }
      this.hull = el("path", { class: "hull" });
      this.ghostDots = ghosts.map((_, i) => ghostSign(i));
      this.now = el("circle", { class: "now", r: 8 });
      this.over = el("g", {});
      this.svg.replaceChildren(...keep, ...layer, this.over, this.hull, ...this.ghostDots, this.now);
    }

    zone(zone) {
      if (zone.middle) {
        const x = this.px(zone.middle[0]), y = this.py(zone.middle[1]), r = zone.radius * this.per;
        return [el("circle", { cx: x, cy: y, r, class: `zone ${zone.kind}` }), text(x, y - r - 4, zone.name, "zone-name", "middle")];
      }
      const points = zone.outline.map((c) => [this.px(c[0]), this.py(c[1])]);
      const x = points.reduce((sum, p) => sum + p[0], 0) / points.length, y = points.reduce((sum, p) => sum + p[1], 0) / points.length;
      return [el("path", { d: "M" + points.map((p) => p.map((v) => v.toFixed(1))).join("L") + "Z", class: `zone ${zone.kind}` }), text(x, y + 5, zone.name, "zone-name", "middle")];
    }

    move(t, ghosts) {
      const run = this.run, x = at(run.t, run.x, t), y = at(run.t, run.y, t), turn = at(run.t, run.heading, t);
      this.now.setAttribute("transform", `translate(${this.px(x).toFixed(2)},${this.py(y).toFixed(2)})`);
      const c = Math.cos(turn), s = Math.sin(turn), ox = x - run.reach * c, oy = y - run.reach * s;
      const corner = ([a, b]) => `${this.px(ox + a * c - b * s).toFixed(1)},${this.py(oy + a * s + b * c).toFixed(1)}`;
      this.hull.setAttribute("d", "M" + run.hull.map(corner).join("L") + "Z");
      ghosts.forEach((ghost, i) => {
        const gx = at(ghost.t, ghost.x, t);
        put(this.ghostDots[i], gx === null ? null : [this.px(gx), this.py(at(ghost.t, ghost.y, t))]);
      });
    }
  }

  class TimeGraph {
    // what: along, across or speed
    constructor(svg, run, what) { this.svg = svg; this.run = run; this.what = what; }

    draw(width, { ghosts, unit, name, across, doubt, points, height = 300, fit }) {
      const run = this.run, values = run[this.what], small = width < 420;
      const [left, right, top, bottom] = [58, width - 14, 58, height - 44];
      this.across = scale(...run.axes.time, left, right);
      this.upright = scale(...run.axes[this.what], bottom, top);
      this.svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
      this.svg.setAttribute("width", width); this.svg.setAttribute("height", height);
      const keep = [...this.svg.querySelectorAll("title, desc")], clip = `${this.svg.id}-paper`;
      const layer = [el("defs", {}, el("clipPath", { id: clip }, el("rect", { x: left, y: top, width: right - left, height: bottom - top }))),
                     el("rect", { class: "paper", x: left, y: top, width: right - left, height: bottom - top })];
      const tStep = niceStep(this.across.high - this.across.low, small ? 5 : 9);
      for (const t of ticks(this.across.low, this.across.high, tStep)) {
        const x = this.across.px(t);
        layer.push(el("path", { class: Math.abs(t) < 1e-9 ? "nought" : "square", d: `M${x},${top}V${bottom}` }), text(x, bottom + 18, fixed(t, decimalsOf(tStep)), "tick", "middle"));
      }
      const vStep = niceStep((this.upright.high - this.upright.low) * unit.per, 7);
      for (const v of ticks(this.upright.low * unit.per, this.upright.high * unit.per, vStep)) {
        const y = this.upright.px(v / unit.per);
        layer.push(el("path", { class: Math.abs(v) < 1e-9 ? "nought" : "square", d: `M${left},${y}H${right}` }), text(left - 7, y + 5, fixed(v, decimalsOf(vStep)), "tick", "end"));
      }
      layer.push(text(4, 16, name, "axis-name"), text(right, height - 6, across, "axis-name", "end"));
      const inside = el("g", { "clip-path": `url(#${clip})` });
      if (doubt) inside.append(el("path", { class: "band", d: this.bandPath(doubt) }));
      ghosts.forEach((ghost, i) => inside.append(el("path", { class: `ghost g${i + 1}`, d: thinned(ghost.t, ghost[this.what], this.across, this.upright) })));
      let from = 0;
      for (const [i, j] of [...run.unseen, [run.t.length, run.t.length]]) {
        if (i > from) inside.append(el("path", { class: "line", d: thinned(run.t, values, this.across, this.upright, Math.max(from - 1, 0), Math.min(i, run.t.length - 1)) }));
        if (i < run.t.length) inside.append(el("path", { class: "line bridged", d: thinned(run.t, values, this.across, this.upright, Math.max(i - 1, 0), Math.min(j + 1, run.t.length - 1)) }));
        from = j + 1;
      }
      if (points) for (const t of dotTimes(run).times) {
        const v = at(run.t, values, t);
        if (v !== null) inside.append(el("circle", { class: "dot", r: 3.5, cx: this.across.px(t).toFixed(1), cy: this.upright.px(v).toFixed(1) }));
      }
      if (fit) inside.append(el("path", { class: "fit", d: fit.map(([t, v], i) => `${i ? "L" : "M"}${this.across.px(t).toFixed(1)},${this.upright.px(v).toFixed(1)}`).join("") }));
      layer.push(inside, ...this.momentMarks(top, bottom, left, right));
      this.cursor = el("path", { class: "cursor", d: `M0,${top}V${bottom}` });
      this.ghostDots = ghosts.map((_, i) => ghostSign(i));
      this.now = el("circle", { class: "now", r: 7 });
      this.over = el("g", {});
      this.svg.replaceChildren(...keep, ...layer, this.cursor, this.over, ...this.ghostDots, this.now);
    }

    bandPath(doubt) {
      const run = this.run, values = run[this.what], width = Math.max(1, Math.floor(run.t.length / 400)), above = [], below = [];
      for (let i = 0; i < run.t.length; i += width) {
        if (values[i] === null) continue;
        above.push(`${this.across.px(run.t[i]).toFixed(1)},${this.upright.px(values[i] + doubt[i]).toFixed(1)}`);
        below.unshift(`${this.across.px(run.t[i]).toFixed(1)},${this.upright.px(values[i] - doubt[i]).toFixed(1)}`);
      }
      return "M" + [...above, ...below].join("L") + "Z";
    }

    momentMarks(top, bottom, left, right) {
      const drawn = [], taken = [];
      for (const moment of this.run.moments) {
        const x = this.across.px(moment.t);
        if (x < left - 1 || x > right + 1) continue;
        const v = at(this.run.t, this.run[this.what], moment.t), row = taken.some((other) => Math.abs(other - x) < 56) ? 38 : 54;
        taken.push(x);
        drawn.push(el("path", { class: "crossing", d: `M${x},${row + 2}V${bottom}` }), text(x, row, moment.label || moment.name, "crossing-name", x < left + 30 ? "start" : x > right - 30 ? "end" : "middle"));
        if (v !== null) drawn.push(sign(moment.role, x, this.upright.px(v)));
      }
      return drawn;
    }

    move(t, ghosts) {
      const v = at(this.run.t, this.run[this.what], t), x = this.across.px(t).toFixed(2);
      this.cursor.setAttribute("transform", `translate(${x},0)`);
      this.now.setAttribute("visibility", v === null ? "hidden" : "visible");
      if (v !== null) this.now.setAttribute("transform", `translate(${x},${this.upright.px(v).toFixed(2)})`);
      ghosts.forEach((ghost, i) => {
        const g = at(ghost.t, ghost[this.what], t);
        put(this.ghostDots[i], g === null ? null : [Number(x), this.upright.px(g)]);
      });
    }
  }

  Object.assign(window.boatrun, { TankMap, TimeGraph, dotTimes, sign });
})();
