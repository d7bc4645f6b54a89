"use strict";
// Two reports side by side: shares of the limits, and what the instruments would show.
(() => {
  const data = JSON.parse(document.getElementById("indexdata").textContent);
  const section = document.getElementById("comparison");
  const boxes = [...document.querySelectorAll("td.pick input")];
  let picked = [];
  document.documentElement.classList.add("viewing");

  const cell = (kind, text, name) => {
    const out = document.createElement(kind);
    out.textContent = text;
    if (kind === "th") out.scope = "row";
    if (name) out.className = name;
    return out;
  };
  const share = (ratio) => (typeof ratio === "number" ? `${(100 * ratio).toPrecision(3)} %` : "–");

  function change(a, b) {
    if (!a || !b || typeof a.ratio !== "number" || typeof b.ratio !== "number") return cell("td", "–", "n");
    const step = b.ratio - a.ratio, sure = Math.abs(step) > (a.error || 0) + (b.error || 0) && a.error !== null && b.error !== null;
    const text = `${step < 0 ? "−" : "+"}${(100 * Math.abs(step)).toPrecision(2)} points`;
    const out = cell("td", "", "n");
    out.append(cell(sure ? "strong" : "small", sure ? text : `${text}, within the error`));
    return out;
  }

  function compare([first, second]) {
    const [a, b] = [first, second].map((name) => data.find((r) => r.folder === name));
    const [caption, head, body] = ["caption", "thead", "tbody"].map((n) => section.querySelector(n));
    caption.textContent = `${a.folder}: ${a.verdict}. ${b.folder}: ${b.verdict}.`;
    const top = document.createElement("tr");
    for (const title of ["Quantity", a.folder, b.folder, "Change"]) { const th = cell("th", title); th.scope = "col"; top.append(th); }
    head.replaceChildren(top);
    const keys = [...new Set([...a.limits, ...b.limits].map((r) => r.key))];
    const rows = keys.map((key) => [a, b].map((r) => r.limits.find((l) => l.key === key)));
    const worst = (pair) => Math.max(...pair.map((r) => (r && typeof r.ratio === "number" ? r.ratio : 0)));
    rows.sort((p, q) => worst(q) - worst(p));
    body.replaceChildren(...rows.map((pair) => {
      const tr = document.createElement("tr");
      tr.append(cell("th", (pair[0] || pair[1]).name));
      for (const r of pair) {
        const td = cell("td", r ? `${share(r.ratio)} ` : "–", r && r.status === "over" ? "n worse" : "n");
        if (r) td.append(cell("small", `${r.value}, ${r.part}`));
        tr.append(td);
      }
      tr.append(change(...pair));
      return tr;
    }));
    for (const [k, point] of a.points.entries()) {
      const tr = document.createElement("tr");
      tr.append(cell("th", `${point.name}, after`), cell("td", point.value, "n"), cell("td", b.points[k] ? b.points[k].value : "–", "n"), cell("td", ""));
      body.append(tr);
    }
    section.hidden = false;
    section.scrollIntoView({ block: "start" });
  }

  boxes.forEach((box) => box.addEventListener("change", () => {
    picked = picked.filter((name) => name !== box.value);
    if (box.checked) picked = [...picked, box.value].slice(-2);
    boxes.forEach((b) => { b.checked = picked.includes(b.value); });
    if (picked.length === 2) compare(picked); else section.hidden = true;
  }));
})();
