"use strict";
// Tables that sort by a click on a heading; without this script the page is whole too.
document.querySelectorAll("table.sortable").forEach((table) => {
  const value = (row, column) => {
    const cell = row.cells[column], number = parseFloat(cell.dataset.v);
    return cell.dataset.v === undefined ? cell.textContent.trim() : Number.isNaN(number) ? -Infinity : number;
  };
  [...table.tHead.rows[0].cells].forEach((head, column) => {
    const button = document.createElement("button");
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => {
      const order = head.getAttribute("aria-sort") === "descending" ? 1 : -1;
      [...table.tHead.rows[0].cells].forEach((other) => other.removeAttribute("aria-sort"));
      head.setAttribute("aria-sort", order > 0 ? "ascending" : "descending");
      const rows = [...table.tBodies[0].rows];
      rows.sort((a, b) => {
        const [p, q] = [value(a, column), value(b, column)];
        return order * (p < q ? -1 : p > q ? 1 : 0);
      });
      table.tBodies[0].append(...rows);
    });
  });
});
