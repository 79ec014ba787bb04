// What is chosen is sent at once; without scripts the button beside it does.
"use strict";
for (const chosen of document.querySelectorAll("input[data-send]")) {
  chosen.addEventListener("change", () => { if (chosen.files.length) document.getElementById(chosen.dataset.send).click(); });
}
