"use strict";
// Drawings of the live bench: the operating map and the dead-time window, as SVG elements.

const SVG = "http://www.w3.org/2000/svg";

function shape(name, attributes, text) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  if (text !== undefined) element.textContent = text;
  return element;
}

// Round steps of 1, 2 or 5 times a power of ten, about `count` of them.
function ticks(low, high, count) {
  const raw = (high - low) / count || 1;
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((k) => k * power).find((s) => s >= raw);
  const found = [];
  for (let k = Math.ceil(low / step - 1e-9); k * step <= high + 1e-9 * step; k++) found.push(k * step);
  return found;
}

function plain(value) {
  return String(Number(value.toPrecision(6))).replace("-", "\u2212");
}

// Stretches of equal value: [first index, last index, value].
function runs(values) {
  const found = [];
  values.forEach((value, k) => {
    const last = found[found.length - 1];
    if (last && last[2] === value) last[1] = k;
    else found.push([k, k, value]);
  });
  return found;
}

// What the strip says of one frequency: over, kept as far as the fast model knows, or not known:
// below resonance it knows no recovery, and where it found no steady operation it knows nothing.
function known(ratio, mode) {
  if (ratio !== null && ratio > 1) return "over";
  return ratio !== null && mode === "inductive" ? "under" : "unknown";
}

const MAP = { left: 58, right: 14, top: 22, gap: 30, bottom: 62, upper: 150, lower: 120, strip: 9 };

function drawMap(place, answer, width) {
  const { left, right, top, gap, upper, lower, bottom, strip } = MAP;
  const height = top + upper + gap + lower + bottom;
  const data = answer.map, f = data.frequency, n = f.length;
  const x = (value) => left + ((value - f[0]) / (f[n - 1] - f[0])) * (width - left - right);
  const edge = (k) => (k <= 0 ? f[0] : k >= n ? f[n - 1] : 0.5 * (f[k - 1] + f[k]));
  const svg = shape("svg", { viewBox: `0 0 ${width} ${height}`, role: "img", tabindex: "-1" });
  svg.append(shape("title", {}, `Operating map with ${answer.load}. ${answer.sentence}`));
  const pattern = shape("pattern", { id: "hatch", width: 7, height: 7, patternUnits: "userSpaceOnUse",
    patternTransform: "rotate(45)" });
  pattern.append(shape("line", { x1: 0, y1: 0, x2: 0, y2: 7, class: "hatch" }));
  svg.append(pattern);
  const base = top + upper + gap + lower;
  for (const [a, b, mode] of runs(data.mode)) {
    if (!mode) continue; // the fast model has no answer there, and nothing is drawn
    const box = { x: x(edge(a)), y: top, width: Math.max(x(edge(b + 1)) - x(edge(a)), 0), height: base - top };
    svg.append(shape("rect", { ...box, class: mode }));
    if (mode === "capacitive") svg.append(shape("rect", { ...box, fill: "url(#hatch)" }));
  }
  for (const [a, b, kind] of runs(data.over.map((ratio, k) => known(ratio, data.mode[k])))) {
    const over = kind === "over";
    svg.append(shape("rect", { x: x(edge(a)), y: base + (over ? 3 : 6), width: Math.max(x(edge(b + 1)) - x(edge(a)), 0),
      height: over ? strip + 2 : strip - 4, class: kind }));
  }
  panel(svg, data.power.map((p) => (p === null ? null : p / 1000)), top, upper, "input power [kW]", "power", x, f, width, true);
  panel(svg, data.turn_off, top + upper + gap, lower, "turn-off current [A]", "turn", x, f, width, false);
  for (const value of ticks(f[0] / 1000, f[n - 1] / 1000, width < 500 ? 4 : 8)) {
    svg.append(shape("text", { x: x(value * 1000), y: base + strip + 20, "text-anchor": "middle" }, plain(value)));
  }
  svg.append(shape("text", { x: width - right, y: base + strip + 38, "text-anchor": "end" }, "drive frequency [kHz]"));
  const at = x(answer.resonance);
  if (at >= left && at <= width - right) {
    svg.append(shape("line", { x1: at, x2: at, y1: top, y2: base, class: "resonance" }));
    const side = at > width - 120 ? "end" : at < 160 ? "start" : "middle";
    svg.append(shape("text", { x: side === "start" ? Math.max(at, 125) : at, y: top - 7, "text-anchor": side }, "resonance"));
  }
  const here = x(answer.frequency);
  svg.append(shape("line", { x1: here, x2: here, y1: top, y2: base + strip + 4, class: "here" }));
  svg.append(shape("circle", { cx: here, cy: base + 4 + strip / 2, r: 5, class: "dot" }));
  place.replaceChildren(svg);
  return (pixel) => f[0] + ((pixel - left) / (width - left - right)) * (f[n - 1] - f[0]);
}

function panel(svg, values, top, height, title, kind, x, f, width, fromZero) {
  // Far from resonance everything is small: the scale follows what lies within the drive's range.
  const known = values.filter((value) => value !== null);
  const high = Math.max(...known, fromZero ? 0.1 : 1), low = fromZero ? 0 : Math.min(...known, -1);
  const y = (value) => top + height - ((value - low) / (high - low)) * height;
  for (const value of ticks(low, high, 4)) {
    svg.append(shape("line", { x1: MAP.left, x2: width - MAP.right, y1: y(value), y2: y(value),
      class: value === 0 ? "axis" : "grid" }));
    svg.append(shape("text", { x: MAP.left - 6, y: y(value) + 4, "text-anchor": "end" }, plain(value)));
  }
  for (const [a, b, is] of runs(values.map((value) => value !== null))) {
    if (!is) continue;
    const points = values.slice(a, b + 1).map((value, k) => `${x(f[a + k]).toFixed(1)},${y(value).toFixed(1)}`).join(" ");
    svg.append(shape("polyline", { points, class: `curve ${kind}` }));
  }
  svg.append(shape("text", { x: 4, y: top - 7 }, title));
}

function drawWindow(place, found, width) {
  const left = 8, right = 12, top = 24, height = 26;
  const ends = [found.dead, found.reversal, found.needed].filter((value) => value !== null);
  const high = 1.15 * Math.max(...ends, 1e-9);
  const x = (value) => left + (Math.min(value, high) / high) * (width - left - right);
  const svg = shape("svg", { viewBox: `0 0 ${width} ${top + height + 24}`, role: "img" });
  svg.append(shape("title", {}, found.words));
  svg.append(shape("line", { x1: left, x2: width - right, y1: top + height, y2: top + height, class: "axis" }));
  if (found.needed !== null && found.reversal !== null && found.reversal > found.needed) {
    svg.append(shape("rect", { x: x(found.needed), y: top, width: x(found.reversal) - x(found.needed), height, class: "window" }));
  }
  if (found.dead === null) { place.replaceChildren(svg); return; }
  const dead = x(found.dead);
  svg.append(shape("line", { x1: dead, x2: dead, y1: top - 6, y2: top + height, class: "here" }));
  svg.append(shape("text", { x: dead, y: top - 10, "text-anchor": dead > width / 2 ? "end" : "start" },
    `turns on after ${found.texts.dead}`));
  for (const value of ticks(0, high * 1e9, 4)) {
    svg.append(shape("text", { x: x(value / 1e9), y: top + height + 17, "text-anchor": value ? "middle" : "start", class: "muted" },
      value ? plain(value) : "0 ns"));
  }
  place.replaceChildren(svg);
}
