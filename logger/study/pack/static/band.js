// The age that a page speaks to: chosen at its top, kept in the address, so that a link leads on in the same band.
"use strict";
(() => {
  const B = window.boatrun;
  document.documentElement.classList.add("script");
  const data = JSON.parse(document.getElementById("data").textContent);
  const chooser = document.getElementById("band"), listeners = [];
  const known = data.bands.map((one) => one.name);
  const asked = () => (/band=([\d-]+)/.exec(location.hash) || [])[1];
  let name = known.includes(asked()) ? asked() : data.band;

  function show() {
    chooser.value = name;
    document.documentElement.dataset.band = name;
    for (const part of document.querySelectorAll("[data-bands]")) part.hidden = !part.dataset.bands.split(" ").includes(name);
    for (const link of document.querySelectorAll("a.keep")) link.hash = `band=${name}`;
    listeners.forEach((listen) => listen());
  }
  chooser.addEventListener("change", () => { name = chooser.value; history.replaceState(null, "", `#band=${name}`); show(); });
  addEventListener("hashchange", () => { if (known.includes(asked()) && asked() !== name) { name = asked(); show(); } });

  const band = () => data.bands.find((one) => one.name === name);
  const number = (value, what) => B.fixed(value * band()[what].per, band()[what].decimals);
  const spoken = (value, what) => `${number(value, what)} ${band()[what].words}`;
  const short = (value, what) => `${number(value, what)}\u00a0${band()[what].sign}`;
  // half the width in which 95 of 100 such values lie: two digits, none finer than the value's, never nought
  const doubt = (value, what) => {
    const scale = band()[what], least = 10 ** -scale.decimals, shown = Math.max(value * scale.per, least);
    const places = Math.min(scale.decimals, Math.max(0, 1 - Math.floor(Math.log10(shown))));
    return `±\u00a0${B.fixed(shown, places)}\u00a0${scale.sign}`;
  };
  Object.assign(B, { data, words: data.words, band, number, spoken, short, doubt,
    onBand: (listen) => listeners.push(listen), begin: show });
})();
