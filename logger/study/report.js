// One moment of the run, shown on the map and on both graphs at once. Without script the page says all the same things.
document.documentElement.classList.add("script");
for (const run of document.querySelectorAll("[data-moments]")) {
  const moments = JSON.parse(run.dataset.moments || "[]");
  const slider = run.querySelector("input[type=range]");
  if (!slider || !moments.length) continue;
  const dots = run.querySelectorAll(".now");
  const told = run.querySelector("output");
  slider.addEventListener("input", () => {
    const [words, ...places] = moments[Number(slider.value)];
    dots.forEach((dot, i) => {
      dot.setAttribute("cx", places[i][0]);
      dot.setAttribute("cy", places[i][1]);
      dot.setAttribute("visibility", "visible");
    });
    told.textContent = words;
    slider.setAttribute("aria-valuetext", words);
  });
}
