// A picture that is fetched again and again while the page is looked at; where none comes any more, that is said instead.
"use strict";
for (const figure of document.querySelectorAll("[data-again]")) {
  const silent = figure.querySelector("[data-silent]"), every_ms = 1000 * Number(figure.dataset.everyS);
  const again = () => {
    if (document.hidden) { setTimeout(again, every_ms); return; }
    const old = figure.querySelector("img"), fresh = new Image();
    fresh.className = "drawing";
    fresh.alt = figure.dataset.words;
    fresh.onload = () => {
      if (old) old.replaceWith(fresh); else figure.prepend(fresh);
      silent.hidden = true;
      setTimeout(again, every_ms);
    };
    fresh.onerror = () => {
      if (old) old.hidden = true;
      silent.hidden = false;
      setTimeout(again, every_ms);
    };
    fresh.src = `${figure.dataset.again}?${Date.now()}`;
  };
  setTimeout(again, every_ms);
}
