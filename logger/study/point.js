// Pointing at a picture: click, or move the cross by keys. `look` holds the picture and an SVG laid over it, with the
// groups `drawn` and `cross`. What a point means is for the caller to say. Buttons of `pad` move the last point by a pixel,
// for a fingertip is wider than that; so do arrow keys there, with Shift ten times as far.
"use strict";
function pointAt(look, { set, undo, shapes, move, pad }) {
  const WIDTH = Number(look.dataset.width), HEIGHT = Number(look.dataset.height), UNIT = WIDTH / 640;
  const image = look.querySelector("img"), part = (name) => look.querySelector(`[data-part="${name}"]`);
  let cross = [(WIDTH - 1) / 2, (HEIGHT - 1) / 2];
  const near = document.createElement("canvas");
  near.width = near.height = 132;
  near.hidden = true;
  near.setAttribute("aria-hidden", "true");
  look.append(near);
  function made(tag, attributes, words) {
    const one = document.createElementNS("http://www.w3.org/2000/svg", tag);
    for (const [key, value] of Object.entries(attributes)) one.setAttribute(key, value);
    if (words) one.textContent = words;
    return one;
  }
  // A piece of the picture about the cross, four times as large; it keeps to the side away from the cross.
  function magnify() {
    const [u, v] = cross, span = 33, pen = near.getContext("2d");
    if (!image.naturalWidth) return;
    const scale = image.naturalWidth / WIDTH;
    pen.fillStyle = "#000";
    pen.fillRect(0, 0, 132, 132);
    pen.drawImage(image, (u + 0.5 - span / 2) * scale, (v + 0.5 - span / 2) * scale, span * scale, span * scale, 0, 0, 132, 132);
    pen.strokeStyle = "#ffd23f";
    pen.beginPath();
    pen.moveTo(66, 0); pen.lineTo(66, 58); pen.moveTo(66, 74); pen.lineTo(66, 132);
    pen.moveTo(0, 66); pen.lineTo(58, 66); pen.moveTo(74, 66); pen.lineTo(132, 66);
    pen.stroke();
    near.classList.toggle("left", u > WIDTH / 2 && v < HEIGHT / 2);
    near.hidden = false;
  }
  function show() {
    const drawn = part("drawn");
    drawn.replaceChildren();
    for (const shape of shapes()) {
      if (shape.from) drawn.append(made("line", { x1: shape.from[0], y1: shape.from[1], x2: shape.at[0], y2: shape.at[1], stroke: "#ffd23f", "stroke-width": 1.5 * UNIT }));
      drawn.append(made("circle", { cx: shape.at[0], cy: shape.at[1], r: 4 * UNIT, fill: "none", stroke: "#ff3b1f", "stroke-width": 1.5 * UNIT }));
      if (shape.words) drawn.append(made("text", { x: shape.at[0] + 6 * UNIT, y: shape.at[1] - 6 * UNIT, fill: "#ffd23f", stroke: "#12343f", "stroke-width": 3 * UNIT, "paint-order": "stroke", "font-size": 15 * UNIT, "font-weight": "bold" }, shape.words));
    }
    const [u, v] = cross;
    part("cross").replaceChildren(
      made("path", { d: `M${u - 9 * UNIT},${v}H${u + 9 * UNIT}M${u},${v - 9 * UNIT}V${v + 9 * UNIT}`, stroke: "#fff", "stroke-width": UNIT, fill: "none" }));
  }
  function under(event) {
    const box = image.getBoundingClientRect();
    const inside = (value, most) => Math.min(Math.max(value, -0.5), most - 0.5);
    return [inside((event.clientX - box.left) / box.width * WIDTH - 0.5, WIDTH), inside((event.clientY - box.top) / box.height * HEIGHT - 0.5, HEIGHT)];
  }
  look.addEventListener("click", (event) => {
    cross = under(event);
    look.focus({ preventScroll: true });
    set(cross);
    magnify();
    show();
  });
  look.addEventListener("pointermove", (event) => {
    if (event.pointerType !== "mouse") return;
    const kept = cross;
    cross = under(event);
    magnify();
    cross = kept;
  });
  look.addEventListener("pointerleave", () => { near.hidden = true; });
  look.addEventListener("blur", () => { near.hidden = true; });
  const within = ([u, v]) => [Math.min(Math.max(u, 0), WIDTH - 1), Math.min(Math.max(v, 0), HEIGHT - 1)];
  function wayOf(event) {
    const step = event.shiftKey ? 10 : event.altKey ? 0.25 : 1;
    return { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
  }
  function nudge([du, dv]) {
    const at = move(([u, v]) => within([u + du, v + dv]));
    if (!at) return;
    cross = at;
    magnify();
    show();
  }
  for (const button of pad.querySelectorAll("[data-move]")) button.addEventListener("click", () => nudge(button.dataset.move.split(",").map(Number)));
  pad.addEventListener("keydown", (event) => {
    const way = wayOf(event);
    if (way) { nudge(way); event.preventDefault(); }
  });
  pad.addEventListener("focusout", () => { near.hidden = true; });
  pad.hidden = false;
  look.addEventListener("keydown", (event) => {
    const way = wayOf(event);
    if (way) { cross = within([cross[0] + way[0], cross[1] + way[1]]); magnify(); }
    else if (event.key === "Enter") set(cross);
    else if (event.key === "Backspace") undo();
    else return;
    show();
    event.preventDefault();
  });
  show();
  return { show, to(at) { cross = at; show(); } };
}
