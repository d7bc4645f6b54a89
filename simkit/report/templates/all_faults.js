"use strict";
// Show the situations of one family only.
(() => {
  const choice = document.getElementById("family");
  const rows = [...document.querySelectorAll("tr[data-family]")];
  document.getElementById("choice").hidden = false;
  choice.addEventListener("change", () => {
    for (const row of rows) row.hidden = choice.value !== "" && row.dataset.family !== choice.value;
  });
})();
