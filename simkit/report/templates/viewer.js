"use strict";
// Waveforms under the reader's hand: an overview of lowest and highest values, full rate in the
// windows that matter. Wheel, drag, pinch or keys. Without this script the page is whole too.
(() => {
  const COLOURS = ["--blue", "--red", "--green", "--purple"];
  const DASHES = [[], [7, 3], [2, 2], [9, 3, 2, 3]];
  const LEFT = 64, RIGHT = 14, GAP = 16, FOOT = 30, LEAST = 5e-9;
  const box = document.getElementById("viewer");
  const source = document.getElementById("wavedata");
  const $ = (name) => box.querySelector(name);
  let data, overview, windows, view, cursor = null, mark = null, hidden = new Set(), pending = false;

  async function columns(item, kinds) {
    const packed = Uint8Array.from(atob(item.data), (c) => c.charCodeAt(0));
    const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("gzip"));
    const raw = await new Response(stream).arrayBuffer();
    let at = 0;
    return kinds.map((Kind) => {
      const out = new Kind(raw.slice(at, at + item.count * Kind.BYTES_PER_ELEMENT));
      at += item.count * Kind.BYTES_PER_ELEMENT;
      for (let i = 1; i < out.length; i++) out[i] += out[i - 1];
      return out;
    });
  }

  async function load() {
    const n = data.traces.length;
    const steps = await columns(data.overview, Array(2 * n).fill(Uint16Array));
    overview = { ...data.overview, low: [], high: [] };
    data.overview.scales.forEach(([base, step], k) => {
      const [low, high] = [steps[2 * k], steps[2 * k + 1]];
      overview.low.push(Float32Array.from(low, (v, i) => (v > high[i] ? NaN : base + v * step)));
      overview.high.push(Float32Array.from(high, (v, i) => (low[i] > v ? NaN : base + v * step)));
    });
    windows = await Promise.all(data.windows.map(async (w) => {
      const [axis, ...rest] = await columns(w, [Uint32Array, ...Array(n).fill(Uint16Array)]);
      const time = Float64Array.from(axis, (v) => w.start + v * 1e-12);
      const values = rest.map((s, k) => Float32Array.from(s, (v) => w.scales[k][0] + v * w.scales[k][1]));
      return { start: w.start, end: w.end, time, values };
    }));
  }

  const below = (array, x) => { // how many entries lie below x
    let a = 0, b = array.length;
    while (a < b) { const m = (a + b) >> 1; if (array[m] < x) a = m + 1; else b = m; }
    return a;
  };
  const bin = () => (overview.end - overview.start) / overview.count;
  const fine = () => (view.end - view.start > 250 * bin() ? []
    : windows.filter((w) => w.end > view.start && w.start < view.end));

  // Calls back for every piece of a trace in view: samples of windows, bins of the overview.
  function pieces(k, shown, sample, band) {
    for (const w of shown) {
      const a = Math.max(below(w.time, view.start) - 1, 0);
      const b = Math.min(below(w.time, view.end) + 1, w.time.length);
      for (let i = a; i < b; i++) sample(w.time[i], w.values[k][i], i === a);
    }
    const d = bin();
    const first = Math.max(Math.floor((view.start - overview.start) / d), 0);
    const last = Math.min(Math.ceil((view.end - overview.start) / d), overview.count);
    for (let i = first; i < last; i++) {
      const t = overview.start + i * d;
      if (Number.isNaN(overview.low[k][i]) || shown.some((w) => t + d > w.start && t < w.end)) continue;
      band(t, t + d, overview.low[k][i], overview.high[k][i]);
    }
  }

  const nice = (span, count) => {
    const raw = span / count, ten = 10 ** Math.floor(Math.log10(raw));
    return ten * [1, 2, 5, 10].find((m) => m * ten >= raw * 0.999);
  };
  const trim = (x, digits) => parseFloat(x.toPrecision(digits)).toString().replace("-", "−");
  function duration(s) {
    const [f, u] = s < 1e-6 ? [1e9, "ns"] : s < 1e-3 ? [1e6, "µs"] : [1e3, "ms"];
    return `${trim(s * f, 4)} ${u}`;
  }

  function draw() {
    pending = false;
    const canvas = $("canvas"), scale = window.devicePixelRatio || 1;
    const wide = canvas.clientWidth, high = canvas.clientHeight;
    if (!wide) return;
    canvas.width = wide * scale; canvas.height = high * scale;
    const c = canvas.getContext("2d"), style = getComputedStyle(document.documentElement);
    const colour = (name) => style.getPropertyValue(name).trim();
    c.scale(scale, scale);
    c.font = "12px system-ui, sans-serif";
    const shown = fine(), x = (t) => LEFT + (t - view.start) / (view.end - view.start) * (wide - LEFT - RIGHT);
    const each = (high - FOOT - GAP * data.panels.length) / data.panels.length;
    data.panels.forEach((panel, p) => {
      const top = GAP + p * (each + GAP), foot = top + each;
      const mine = data.traces.map((t, k) => [t, k]).filter(([t, k]) => t.panel === p);
      let low = Infinity, top_ = -Infinity;
      for (const [, k] of mine) if (!hidden.has(k)) pieces(k, shown,
        (t, v) => { if (v < low) low = v; if (v > top_) top_ = v; },
        (a, b, l, h) => { if (l < low) low = l; if (h > top_) top_ = h; });
      if (low > top_) { low = 0; top_ = 1; }
      for (const level of panel.levels) if (level.value < top_ + 0.6 * (top_ - low) && level.value > low) top_ = Math.max(top_, level.value);
      const room = 0.08 * (top_ - low) || 1; low -= room; top_ += room;
      const y = (v) => foot - (v - low) / (top_ - low) * each;
      const step = nice(top_ - low, Math.max(each / 34, 2));
      c.lineWidth = 1; c.textBaseline = "middle"; c.textAlign = "right";
      for (let v = Math.ceil(low / step) * step; v <= top_; v += step) {
        c.strokeStyle = colour("--grid"); c.beginPath(); c.moveTo(LEFT, y(v)); c.lineTo(wide - RIGHT, y(v)); c.stroke();
        c.fillStyle = colour("--ink"); c.fillText(trim(Math.abs(v) < step / 1e3 ? 0 : v, 5), LEFT - 6, y(v));
      }
      c.save(); c.beginPath(); c.rect(LEFT, top, wide - LEFT - RIGHT, each); c.clip();
      for (const level of panel.levels) {
        c.strokeStyle = c.fillStyle = colour("--red"); c.setLineDash([10, 4]); c.beginPath();
        c.moveTo(LEFT, y(level.value)); c.lineTo(wide, y(level.value)); c.stroke(); c.setLineDash([]);
        const near = y(level.value) - top < 18;
        c.textAlign = "right"; c.textBaseline = near ? "top" : "bottom"; c.fillText(level.text, wide - RIGHT - 4, y(level.value) + (near ? 3 : -2));
      }
      mine.forEach(([, k], order) => {
        if (hidden.has(k)) return;
        c.strokeStyle = c.fillStyle = colour(COLOURS[order]); c.setLineDash(DASHES[order]); c.lineWidth = 1.5;
        c.beginPath();
        c.globalAlpha = 0.5;
        pieces(k, shown, () => {}, (a, b, l, h) => c.fillRect(x(a), y(h), Math.max(x(b) - x(a), 1), Math.max(y(l) - y(h), 1.2)));
        c.globalAlpha = 1;
        pieces(k, shown, (t, v, start) => (start ? c.moveTo(x(t), y(v)) : c.lineTo(x(t), y(v))), () => {});
        c.stroke(); c.setLineDash([]);
      });
      c.restore();
      c.strokeStyle = colour("--muted"); c.lineWidth = 1; c.strokeRect(LEFT, top, wide - LEFT - RIGHT, each);
      c.fillStyle = colour("--ink"); c.textAlign = "left"; c.textBaseline = "bottom";
      c.fillText(`${panel.title}, ${panel.unit}`, LEFT, top - 2);
    });
    axis(c, x, wide, high, colour);
    for (const [t, dash] of [[cursor, []], [mark, [3, 3]]]) if (t !== null && t >= view.start && t <= view.end) {
      c.strokeStyle = colour("--ink"); c.setLineDash(dash); c.beginPath(); c.moveTo(x(t), GAP); c.lineTo(x(t), high - FOOT); c.stroke(); c.setLineDash([]);
    }
    say(shown);
  }

  function axis(c, x, wide, high, colour) {
    const span = view.end - view.start, step = nice(span, Math.max((wide - LEFT) / 110, 2));
    const base = span > 2e-4 ? 0 : Math.floor(view.start / (step * 10)) * step * 10;
    const [f, u] = base === 0 && span > 2e-4 ? [1e3, "ms"] : span > 2e-6 ? [1e6, "µs"] : [1e9, "ns"];
    c.fillStyle = colour("--ink"); c.textAlign = "center"; c.textBaseline = "top"; c.strokeStyle = colour("--grid");
    for (let n = Math.ceil((view.start - base) / step); base + n * step <= view.end; n++) {
      const at = x(base + n * step);
      c.beginPath(); c.moveTo(at, GAP); c.lineTo(at, high - FOOT); c.globalAlpha = 0.5; c.stroke(); c.globalAlpha = 1;
      c.fillText(`${trim(n * step * f, 6)} ${u}`, at, high - FOOT + 4);
    }
    if (base) { c.textAlign = "left"; c.textBaseline = "bottom"; c.fillText(`from ${(base * 1e3).toFixed(6).replace(/0{1,3}$/, "")} ms`, 4, high); }
  }

  function value(k, t) { // what a trace is at a time: a number, a span, or nothing
    for (const w of fine()) if (t >= w.start && t <= w.end) {
      const i = Math.min(Math.max(below(w.time, t), 1), w.time.length - 1), a = w.values[k][i - 1];
      return trim(a + (w.values[k][i] - a) * (t - w.time[i - 1]) / (w.time[i] - w.time[i - 1]), 4);
    }
    const i = Math.min(Math.floor((t - overview.start) / bin()), overview.count - 1);
    const low = overview.low[k][i];
    return low === undefined || Number.isNaN(low) ? "not run here" : `${trim(low, 3)} to ${trim(overview.high[k][i], 3)}`;
  }

  function say(shown) {
    const span = view.end - view.start;
    const covered = shown.reduce((s, w) => s + Math.max(Math.min(w.end, view.end) - Math.max(w.start, view.start), 0), 0);
    const kind = covered > 0.98 * span ? "full rate" : covered > 0 ? "full rate in part" : `lowest and highest value of each ${duration(bin())}`;
    $(".status").textContent = `${(view.start * 1e3).toFixed(6)} ms to ${(view.end * 1e3).toFixed(6)} ms, ${duration(span)} wide; ${kind}.`;
    const at = cursor === null ? "" : `Cursor ${(cursor * 1e3).toFixed(6)} ms` + (mark === null ? "" : `, ${duration(Math.abs(cursor - mark))} from the mark`);
    $(".cursor").textContent = at;
    data.traces.forEach((t, k) => { box.querySelector(`[data-trace="${k}"]`).textContent = cursor === null ? "" : `${value(k, cursor)} ${data.panels[t.panel].unit}`.replace(/(here) .*/, "$1"); });
    Object.assign(box.dataset, { start: view.start, end: view.end, span, kind });
  }

  function show(start, end) {
    const whole = overview.end - overview.start, span = Math.min(Math.max(end - start, LEAST), whole);
    start = Math.min(Math.max(0.5 * (start + end) - 0.5 * span, overview.start), overview.end - span);
    view = { start, end: start + span };
    if (!pending) { pending = true; requestAnimationFrame(draw); }
  }
  const zoom = (factor, at) => show(at - (at - view.start) * factor, at + (view.end - at) * factor);
  const pan = (share) => { const d = share * (view.end - view.start); show(view.start + d, view.end + d); };
  const centre = () => (cursor !== null && cursor > view.start && cursor < view.end ? cursor : 0.5 * (view.start + view.end));

  function keys(event) {
    const far = event.shiftKey ? 0.5 : 0.1, span = view.end - view.start;
    const acts = {
      ArrowLeft: () => pan(-far), ArrowRight: () => pan(far), "+": () => zoom(0.5, centre()), "=": () => zoom(0.5, centre()),
      "-": () => zoom(2, centre()), Home: () => show(overview.start, overview.end), m: () => { mark = mark === null ? centre() : null; show(view.start, view.end); },
      ",": () => { cursor = centre() - 0.01 * span; show(view.start, view.end); }, ".": () => { cursor = centre() + 0.01 * span; show(view.start, view.end); },
    };
    const jump = data.views[Number(event.key) - 1];
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (acts[event.key]) acts[event.key](); else if (jump) show(jump.start, jump.end); else return;
    event.preventDefault();
  }

  function hands(canvas) {
    const held = new Map();
    let ready = false; // the wheel scrolls the page until the pointer has moved over the waveforms
    const time = (px) => view.start + (px - canvas.getBoundingClientRect().left - LEFT) / (canvas.clientWidth - LEFT - RIGHT) * (view.end - view.start);
    window.addEventListener("scroll", () => { ready = document.activeElement === canvas; }, { passive: true });
    canvas.addEventListener("wheel", (e) => {
      if (!ready && document.activeElement !== canvas) return;
      e.preventDefault();
      if (Math.abs(e.deltaX) > Math.abs(e.deltaY)) pan(e.deltaX / 600); else zoom(2 ** (Math.sign(e.deltaY) * Math.min(Math.abs(e.deltaY) / 200, 1)), time(e.clientX));
    }, { passive: false });
    canvas.addEventListener("pointerdown", (e) => { held.set(e.pointerId, e.clientX); canvas.setPointerCapture(e.pointerId); });
    for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, (e) => held.delete(e.pointerId));
    canvas.addEventListener("pointermove", (e) => {
      ready = true;
      const before = held.get(e.pointerId), perPixel = (view.end - view.start) / (canvas.clientWidth - LEFT - RIGHT);
      if (held.size === 2 && before !== undefined) {
        const other = [...held].find(([id]) => id !== e.pointerId)[1];
        if (Math.abs(e.clientX - other) > 10) zoom(Math.abs(before - other) / Math.abs(e.clientX - other), time(other));
      } else if (held.size === 1 && before !== undefined) show(view.start - (e.clientX - before) * perPixel, view.end - (e.clientX - before) * perPixel);
      if (before !== undefined) held.set(e.pointerId, e.clientX);
      cursor = time(e.clientX); show(view.start, view.end);
    });
    canvas.addEventListener("dblclick", (e) => { mark = time(e.clientX); show(view.start, view.end); });
    canvas.addEventListener("keydown", keys);
  }

  function wire() {
    hands($("canvas"));
    box.querySelectorAll("[data-from]").forEach((b) => b.addEventListener("click", () => show(+b.dataset.from, +b.dataset.to)));
    const acts = { in: () => zoom(0.5, centre()), out: () => zoom(2, centre()), left: () => pan(-0.5), right: () => pan(0.5) };
    box.querySelectorAll("[data-act]").forEach((b) => b.addEventListener("click", acts[b.dataset.act]));
    document.querySelectorAll("a[data-from]").forEach((a) => a.addEventListener("click", () => show(+a.dataset.from, +a.dataset.to)));
    box.querySelectorAll("input[data-toggle]").forEach((i) => i.addEventListener("change", () => {
      hidden[i.checked ? "delete" : "add"](+i.dataset.toggle); show(view.start, view.end);
    }));
    new ResizeObserver(() => show(view.start, view.end)).observe($("canvas"));
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => show(view.start, view.end));
  }

  function sortable(table) {
    table.querySelectorAll("thead th").forEach((head, k) => {
      const button = document.createElement("button");
      button.append(...head.childNodes); head.append(button);
      button.addEventListener("click", () => {
        const up = head.getAttribute("aria-sort") === "descending" ? 1 : -1, body = table.tBodies[0];
        table.querySelectorAll("thead th").forEach((h) => h.removeAttribute("aria-sort"));
        head.setAttribute("aria-sort", up > 0 ? "ascending" : "descending");
        const key = (row) => { const cell = row.cells[k], v = cell.dataset.v; return v === undefined ? cell.textContent.trim() : v === "" ? -Infinity : +v; };
        [...body.rows].sort((a, b) => { const [p, q] = [key(a), key(b)]; return up * (p < q ? -1 : p > q ? 1 : 0); }).forEach((row) => body.append(row));
      });
    });
  }

  document.querySelectorAll("table.sortable").forEach(sortable);
  if (!box || !source || !("DecompressionStream" in window)) return;
  data = JSON.parse(source.textContent);
  load().then(() => {
    document.documentElement.classList.add("viewing");
    view = { start: overview.start, end: overview.end };
    wire();
    const first = data.views[1] || data.views[0];
    show(first.start, first.end);
    document.documentElement.dataset.viewer = "ready";
  });
})();
