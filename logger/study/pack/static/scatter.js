// Dots with a line that is first drawn by eye, by pulling at its two ends, and only then computed.
"use strict";
(() => {
  const B = window.boatrun, { el, scale, ticks, niceStep, decimalsOf, fixed, fill, words, data } = B;
  const text = (x, y, said, cls, anchor) => { const made = el("text", { x, y, class: cls, "text-anchor": anchor }); made.textContent = said; return made; };

  class Scatter {
    constructor(given) {
      this.given = given; this.svg = document.getElementById(`scatter-${given.key}`);
      const middle = (given.y[0] + given.y[1]) / 2;
      this.ends = [{ x: given.x[0], y: middle }, { x: given.x[1], y: middle }];
      this.tool = false;
      const button = document.getElementById(`tool-${given.key}`);
      button.addEventListener("click", () => { this.tool = !this.tool; button.setAttribute("aria-pressed", this.tool); this.line(); });
    }

    draw() {
      const width = B.room(this.svg), height = 330, g = this.given;
      const [left, right, top, bottom] = [56, width - 16, 34, height - 46];
      this.across = scale(...g.x, left, right); this.upright = scale(...g.y, bottom, top);
      this.svg.setAttribute("viewBox", `0 0 ${width} ${height}`); this.svg.setAttribute("width", width); this.svg.setAttribute("height", height);
      const keep = [...this.svg.querySelectorAll("title, desc")], layer = [el("rect", { class: "paper", x: left, y: top, width: right - left, height: bottom - top })];
      const xStep = niceStep(g.x[1] - g.x[0], width < 420 ? 4 : 7), yStep = niceStep(g.y[1] - g.y[0], 7);
      for (const v of ticks(...g.x, xStep)) layer.push(el("path", { class: v ? "square" : "nought", d: `M${this.across.px(v)},${top}V${bottom}` }), text(this.across.px(v), bottom + 18, fixed(v, decimalsOf(xStep)), "tick", "middle"));
      for (const v of ticks(...g.y, yStep)) layer.push(el("path", { class: v ? "square" : "nought", d: `M${left},${this.upright.px(v)}H${right}` }), text(left - 7, this.upright.px(v) + 5, fixed(v, decimalsOf(yStep)), "tick", "end"));
      layer.push(text(4, 18, g.up.name, "axis-name", "start"), text(right, height - 6, g.name, "axis-name", "end"));
      for (const p of g.points) layer.push(el("circle", { class: p.floor ? "run left-out" : "run", r: 7, cx: this.across.px(p.x), cy: this.upright.px(p.y) }, Object.assign(el("title"), { textContent: p.name })));
      for (const p of g.points) if (p.floor) layer.push(el("path", { class: "more", d: `M${this.across.px(p.x) - 6},${this.upright.px(p.y) - 10}l6,-8l6,8` }));
      if (g.names) for (const p of g.points) layer.push(this.named(p, right));
      this.over = el("g", {});
      this.svg.replaceChildren(...keep, ...layer, this.over);
      this.line();
    }

    // beside its dot, on the side where there is paper, and off the arrow above it
    named(p, right) {
      const [x, y] = [this.across.px(p.x), this.upright.px(p.y)], name = p.name.replace(/^Team /, "");
      return x > right - 70 ? text(x - 12, y + 5, name, "tick", "end") : text(x + (p.floor ? 12 : 9), y - (p.floor ? -5 : 8), name, "tick", "start");
    }

    at(x) { const [a, b] = this.ends; return a.y + ((x - a.x) / (b.x - a.x)) * (b.y - a.y); }

    line() {
      const g = this.given, [a, b] = this.ends, fit = g.fit, told = document.getElementById(`told-${g.key}`);
      const path = (from, to, cls) => el("path", { class: cls, d: `M${this.across.px(from.x)},${this.upright.px(from.y)}L${this.across.px(to.x)},${this.upright.px(to.y)}` });
      this.over.replaceChildren(path(a, b, "ruler yours"));
      const say = (value) => `${fixed(value, g.up.decimals)}\u00a0${g.up.unit}`.trim();
      const change = (slope) => { const by = slope * g.step; return fill(by < 0 ? words.less : words.more, { value: say(Math.abs(by)) }); };
      const step = `${fixed(g.step, decimalsOf(g.step))} ${g.unit}`.trim(), at = (g.x[0] + g.x[1]) / 2;
      document.getElementById(`yours-${g.key}`).textContent = fill(words.line_yours, { step, change: change((b.y - a.y) / (b.x - a.x)), at: `${fixed(at, decimalsOf(g.step) + 1)} ${g.unit}`, there: say(this.at(at)) });
      told.textContent = "";
      if (this.tool) {
        if (!fit) told.textContent = g.none || words.line_few;
        else {
          const line = (x) => fit.at + fit.slope * x;
          const ends = g.x.map((x) => ({ x, y: line(x) }));
          const inside = this.clip(ends[0], ends[1]);
          if (inside) this.over.append(path(inside[0], inside[1], "fit"));
          const exact = g.points.filter((p) => !p.floor), gap = (of) => say(exact.reduce((sum, p) => sum + Math.abs(of(p.x) - p.y), 0) / exact.length);
          told.textContent = [fill(words.line_tool, { step, change: change(fit.slope), doubt: say(Math.max(fit.U * g.step, 10 ** -g.up.decimals)) }), fit.clear ? "" : words.line_not_clear, g.through || "", fill(words.line_gap, { yours: gap((x) => this.at(x)), tool: gap(line) })].filter(Boolean).join(" ");
        }
      }
      this.ends.forEach((end, i) => this.over.append(this.handle(end, i)));
    }

    // the part of a line that is on the paper
    clip(a, b) {
      const [low, high] = this.given.y, slope = (b.y - a.y) / (b.x - a.x), at = (y) => a.x + (y - a.y) / slope;
      const fit = (p) => (p.y < low ? { x: at(low), y: low } : p.y > high ? { x: at(high), y: high } : p);
      const one = fit(a), two = fit(b);
      return one.x > b.x || two.x < a.x ? null : [one, two];
    }

    handle(end, i) {
      const g = this.given, group = el("g", { class: "handle", tabindex: 0, role: "button", transform: `translate(${this.across.px(end.x)},${this.upright.px(end.y)})`,
        "aria-label": fill(words.line_end, { n: i + 1, x: `${fixed(end.x, decimalsOf(g.step))} ${g.unit}`, y: `${fixed(end.y, g.up.decimals)} ${g.up.unit}`.trim() }) },
        el("circle", { class: "reach", r: 22 }), el("circle", { class: "point", r: 9 }));
      const put = (y) => { this.ends[i].y = Math.min(g.y[1], Math.max(g.y[0], y)); this.line(); };
      group.addEventListener("keydown", (event) => {
        const step = { ArrowUp: 1, ArrowDown: -1 }[event.key];
        if (!step) return;
        event.preventDefault(); put(end.y + (step * (g.y[1] - g.y[0])) / (event.shiftKey ? 200 : 40));
        this.over.querySelectorAll(".handle")[i].focus();
      });
      group.addEventListener("pointerdown", (event) => {
        event.preventDefault();
        const go = (e) => put(this.upright.value(e.clientY - this.svg.getBoundingClientRect().top));
        const done = () => { removeEventListener("pointermove", go); removeEventListener("pointerup", done); };
        addEventListener("pointermove", go); addEventListener("pointerup", done);
      });
      return group;
    }
  }

  const all = data.scatters.map((one) => new Scatter(one));
  B.onBand(() => all.forEach((one) => one.draw()));
  for (const part of document.querySelectorAll("details")) part.addEventListener("toggle", () => { if (part.open) all.forEach((one) => one.draw()); });
  let width = 0;
  new ResizeObserver(() => { if (innerWidth !== width) { width = innerWidth; all.forEach((one) => one.draw()); } }).observe(document.body);
  B.begin();
})();
