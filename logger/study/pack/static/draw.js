// Drawing by numbers: straight scales, round steps, a line of any length thinned to what a screen can show.
"use strict";
(() => {
  const NS = "http://www.w3.org/2000/svg";

  function el(name, attributes = {}, ...children) {
    const made = document.createElementNS(NS, name);
    for (const [key, value] of Object.entries(attributes)) if (value !== null) made.setAttribute(key, value);
    made.append(...children);
    return made;
  }

  const fixed = (value, decimals) => {
    // as pupils round: a five goes up; a number counts as what it prints as
    const sign = value < 0 ? -1 : 1, text = String(Math.abs(value));
    const shifted = text.includes("e") ? Math.abs(value) * 10 ** decimals : Number(text + "e" + decimals);
    const whole = Math.round(shifted);
    const shown = Number(whole + "e-" + decimals).toFixed(decimals);
    return whole === 0 ? shown : (sign < 0 ? "−" : "") + shown;
  };

  const read = (shown) => Number(shown.replace("−", "-"));

  function niceStep(span, aboutCount) {
    const wanted = span / Math.max(aboutCount, 1), power = 10 ** Math.floor(Math.log10(wanted));
    return [1, 2, 5, 10].map((step) => step * power).find((step) => step >= wanted * (1 - 1e-9));
  }

  function ticks(low, high, step) {
    const found = [];
    for (let i = Math.ceil(low / step - 1e-9); i <= Math.floor(high / step + 1e-9); i += 1) found.push(i * step);
    return found;
  }

  const decimalsOf = (step) => Math.max(0, -Math.floor(Math.log10(step) + 1e-9));

  // a scale from values to pixels and back
  function scale(low, high, from, to) {
    return { low, high, from, to,
      px: (value) => from + ((value - low) / (high - low)) * (to - from),
      value: (px) => low + ((px - from) / (to - from)) * (high - low) };
  }

  // index of the last moment that is not after t
  function indexAt(times, t) {
    let low = 0, high = times.length - 1;
    if (t <= times[0]) return 0;
    if (t >= times[high]) return Math.max(high - 1, 0);
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (times[middle] <= t) low = middle; else high = middle;
    }
    return low;
  }

  // the value at t in a straight line between two moments; null where there is none
  function at(times, values, t) {
    if (times.length === 1) return values[0];
    const i = indexAt(times, t), a = values[i], b = values[i + 1];
    if (a === null || b === null || t < times[0] - 1e-9 || t > times[times.length - 1] + 1e-9) return null;
    return a + ((t - times[i]) / (times[i + 1] - times[i])) * (b - a);
  }

  // a graph's line as path data: of all points in one column of pixels only first, least, most and last are kept
  function thinned(times, values, across, upright, from = 0, to = times.length - 1) {
    const parts = [];
    let column = null, open = false;
    const flush = () => {
      if (!column) return;
      const seen = [...new Set([column.first, column.least, column.most, column.last])].sort((a, b) => a - b);
      for (const i of seen) {
        parts.push((open ? "L" : "M") + across.px(times[i]).toFixed(1) + "," + upright.px(values[i]).toFixed(1));
        open = true;
      }
      column = null;
    };
    for (let i = from; i <= to; i += 1) {
      if (values[i] === null) { flush(); open = false; continue; }
      const px = Math.round(across.px(times[i]));
      if (column && column.px !== px) flush();
      if (!column) column = { px, first: i, least: i, most: i, last: i };
      if (values[i] < values[column.least]) column.least = i;
      if (values[i] > values[column.most]) column.most = i;
      column.last = i;
    }
    flush();
    return parts.join("");
  }

  // a way on the map as path data, without points nearer than half a pixel to the one before
  function way(xs, ys, px, py) {
    const parts = [];
    let last = null;
    for (let i = 0; i < xs.length; i += 1) {
      const x = px(xs[i]), y = py(ys[i]);
      if (last && i < xs.length - 1 && Math.abs(x - last[0]) < 0.5 && Math.abs(y - last[1]) < 0.5) continue;
      parts.push((last ? "L" : "M") + x.toFixed(1) + "," + y.toFixed(1));
      last = [x, y];
    }
    return parts.join("");
  }

  // how wide a drawing may be inside its figure; a window may be nearly nothing for a moment
  function room(svg) {
    const box = svg.parentElement, style = getComputedStyle(box);
    return Math.max(200, Math.floor(box.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight)));
  }

  const fill = (text, values) => text.replace(/\{(\w+)\}/g, (whole, key) => (key in values ? values[key] : whole));

  window.boatrun = { el, fixed, read, niceStep, ticks, decimalsOf, scale, at, indexAt, thinned, way, fill, room };
})();
