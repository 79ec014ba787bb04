// How far the work is, by server-sent events; at its end the page goes where its result is.
"use strict";
{
  const live = document.getElementById("live"), list = document.querySelector("[data-news]");
  const part = (name) => live.querySelector(`[data-${name}]`);
  const begun = Date.now(), drawing = part("drawing");
  let drawn = 0;
  setInterval(() => { part("seconds").textContent = Math.round((Date.now() - begun) / 1000); }, 1000);
  list.replaceChildren();
  const source = new EventSource(live.dataset.events);
  source.addEventListener("open", () => list.replaceChildren());
  source.addEventListener("news", (event) => {
    const { sentences, last, drawn: there } = JSON.parse(event.data);
    for (const sentence of sentences) {
      const line = document.createElement("li");
      line.textContent = sentence;
      list.append(line);
    }
    if (last.length) part("last").textContent = last[0];
    if (there) { drawing.src = `${live.dataset.sketch}?${drawn++}`; drawing.hidden = false; }
  });
  source.addEventListener("end", (event) => {
    source.close();
    location.assign(JSON.parse(event.data).where);
  });
}
