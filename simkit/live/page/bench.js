"use strict";
// The live bench: every change is asked of the fast model at once, the newest question wins.

const $ = (id) => document.getElementById(id);
// A reload is the same page; another tab is another one.
const page = sessionStorage.page ||= Array.from(crypto.getRandomValues(new Uint8Array(12)), (b) => b.toString(16).padStart(2, "0")).join("");
const state = { machine: null, set: {}, load: null, frequency: null, answer: null, at: null };
const timing = []; // milliseconds from a change to the drawn map, newest last

function element(name, properties = {}, ...inner) {
  const made = Object.assign(document.createElement(name), properties);
  made.append(...inner);
  return made;
}

async function post(address, body) {
  const answer = await fetch(address, { method: "POST", body: JSON.stringify(body),
    headers: { "Content-Type": "application/json" } });
  const found = await answer.json().catch(() => ({ problems: [{ key: "", text: "The bench gave no answer." }] }));
  return found;
}

// --- one question at a time; while one is under way only the newest waits

let asking = false, again = false;

async function ask() {
  if (asking) { again = true; return; }
  asking = true;
  do {
    again = false;
    const started = performance.now();
    let found;
    try {
      found = await post("answer", { set: state.set, load: state.load, frequency: state.frequency });
    } catch {
      found = { problems: [{ key: "", text: "The bench has ended: start simkit bench again." }] };
    }
    show(found);
    timing.push(performance.now() - started);
    document.documentElement.dataset.answers = timing.length;
  } while (again);
  asking = false;
}

function show(found) {
  troubles(found.problems || []);
  $("answers").classList.toggle("stale", Boolean(found.problems?.length));
  if (found.problems?.length) return;
  state.answer = found;
  state.load = found.load;
  $("load").value = found.load;
  $("now").className = `now ${found.headline.state}`;
  $("mode").textContent = found.headline.words;
  $("sentence").textContent = found.sentence;
  draw();
  facts($("readings"), found.readings);
  $("window-words").textContent = found.window.words;
  const w = found.window.texts;
  facts($("window-facts"), [["Dead time set", w.set], ["Other pair turns on after", w.dead],
    ["Node needs", w.needed], ["Current reverses after", w.reversal]]);
  $("limits").replaceChildren(...found.limits.map(limitRow));
  $("unknown").textContent = `Only a rehearsal answers: ${found.unknown.join("; ")}.`;
  $("loads").replaceChildren(...found.loads.map(loadRow));
  slider();
}

function draw() {
  if (!state.answer) return;
  state.at = drawMap($("map"), state.answer, Math.max($("map").clientWidth, 300));
  drawWindow($("window"), state.answer.window, Math.max($("window").clientWidth, 240));
}

function troubles(problems) {
  for (const row of document.querySelectorAll(".row")) {
    const mine = problems.filter((p) => p.key === row.dataset.key);
    row.classList.toggle("wrong", mine.length > 0);
    row.querySelector("input").setAttribute("aria-invalid", mine.length > 0);
    row.querySelector(".problem").textContent = mine.map((p) => p.text).join(" ");
  }
  const rest = problems.filter((p) => !document.querySelector(`.row[data-key="${CSS.escape(p.key)}"]`));
  $("trouble").textContent = rest.map((p) => (p.key ? `${p.key}: ${p.text}` : p.text)).join(" ");
  $("trouble").hidden = rest.length === 0;
}

function facts(place, pairs) {
  place.replaceChildren(...pairs.map(([name, value]) =>
    element("div", {}, element("dt", { textContent: name }), element("dd", { textContent: value }))));
}

// Green where the fast model knows a limit kept above resonance; below, it knows no recovery: grey.
function bar(ratio, mode) {
  if (ratio === null) return "\u2013";
  const made = element("span", { className: `bar ${ratio > 1 ? "over" : mode === "inductive" ? "" : "unknown"}` }, element("i"), element("b"));
  const scale = 1.5;
  made.children[0].style.width = `${(100 * Math.min(ratio, scale)) / scale}%`;
  made.children[1].style.left = `${100 / scale}%`;
  return made;
}

function percent(ratio, mode) {
  if (ratio === null) return "";
  const least = ratio <= 1 && mode !== "inductive" ? "\u2265 " : "";
  return `${ratio > 1 ? "\u2716 " : least}${Number((100 * ratio).toPrecision(3))} %`;
}

function limitRow(row) {
  const mode = state.answer.mode, share = percent(row.ratio, mode);
  const made = element("tr", { className: row.ratio > 1 ? "over" : mode === "inductive" ? "ok" : "unknown", title: `${row.why} Known to help, not tried: ${row.change}` },
    element("th", { scope: "row", textContent: row.name }),
    element("td", { className: "n" }, bar(row.ratio, mode), ` ${share}`),
    element("td", { className: "n", textContent: row.value }),
    element("td", { className: "n", textContent: row.limit }));
  return made;
}

function loadRow(row) {
  const chosen = row.name === state.answer.load;
  return element("tr", { className: chosen ? "chosen" : "" },
    element("th", { scope: "row", textContent: `${row.name}${chosen ? " (shown)" : ""}`, title: row.title }),
    element("td", { className: "n", textContent: row.resonance_text }),
    element("td", { className: `mode ${row.mode}`, textContent: row.mode || "no answer" }),
    element("td", { className: "n", textContent: row.power }),
    element("td", { className: "n", textContent: row.turn_off }),
    element("td", { className: "n" }, bar(row.worst, row.mode), ` ${percent(row.worst, row.mode)}`));
}

// --- inputs

function introduce(machine) {
  state.machine = machine;
  document.title = `${machine.name}: simkit bench`;
  $("title").textContent = machine.title;
  const groups = new Map();
  for (const value of machine.values) {
    const name = value.key.split(".").slice(0, -1).join(" ");
    if (!groups.has(name)) groups.set(name, []);
    groups.get(name).push(valueRow(value));
  }
  $("inputs").replaceChildren(...[...groups].map(([name, rows]) =>
    element("fieldset", { className: "group" }, element("legend", { textContent: name }), ...rows)));
  $("load").replaceChildren(...machine.loads.map((l) => element("option", { value: l.name, textContent: l.name, title: l.title })));
  $("scenario").replaceChildren(...machine.scenarios.map((s) => element("option", { value: s.file, textContent: s.title })));
  about();
}

function valueRow(value) {
  const id = `value-${value.key}`;
  const input = element("input", { id, value: value.written, spellcheck: false, inputMode: "text" });
  const problem = element("span", { className: "problem", id: `${id}-problem` });
  input.setAttribute("aria-describedby", problem.id);
  const name = value.key.split(".").pop().replaceAll("_", " ");
  const label = element("label", { htmlFor: id, title: value.meaning }, name, element("small", { textContent: `${value.written}, ${value.source}` }));
  const row = element("div", { className: "row" }, label, input, problem);
  row.dataset.key = value.key;
  input.addEventListener("input", () => {
    const text = input.value.trim();
    if (text === value.written) delete state.set[value.key];
    else state.set[value.key] = text;
    changed(row, text !== value.written);
    ask();
  });
  return row;
}

function changed(row, is) {
  row.classList.toggle("changed", is);
  const pairs = Object.entries(state.set);
  $("reset").hidden = $("command-box").hidden = pairs.length === 0;
  const quoted = (text) => (/^[\w.=/-]+$/.test(text) ? text : `'${text.replaceAll("'", "'\\''")}'`);
  const folder = state.machine.file.replace(/[^/]*$/, "");
  const sets = pairs.map(([key, text]) => ` --set ${quoted(`${key}=${text}`)}`).join("");
  const file = $("scenario").value.startsWith("screen:") ? "SCENARIO" : folder + $("scenario").value;
  $("command").textContent = `simkit run ${quoted(file)}${sets}`;
}

$("reset").addEventListener("click", () => {
  state.set = {};
  for (const value of state.machine.values) $(`value-${value.key}`).value = value.written;
  document.querySelectorAll(".row").forEach((row) => changed(row, false));
  ask();
});

$("load").addEventListener("change", () => { state.load = $("load").value; state.frequency = null; ask(); });

function slider() {
  const [low, high] = [state.answer.map.frequency[0], state.answer.map.frequency.at(-1)];
  $("frequency").min = low;
  $("frequency").max = high;
  $("frequency").step = 10;
  if (document.activeElement !== $("frequency")) $("frequency").value = state.answer.frequency;
  $("frequency-text").textContent = state.answer.frequency_text;
  $("frequency").setAttribute("aria-valuetext", state.answer.frequency_text);
}

$("frequency").addEventListener("input", () => { state.frequency = Number($("frequency").value); ask(); });

let dragging = false;
function point(event) {
  const svg = $("map").querySelector("svg");
  if (!svg || !state.at) return;
  const box = svg.getBoundingClientRect();
  const pixel = ((event.clientX - box.left) / box.width) * svg.viewBox.baseVal.width;
  const found = state.at(pixel);
  const [low, high] = [state.answer.map.frequency[0], state.answer.map.frequency.at(-1)];
  state.frequency = Math.min(Math.max(found, low), high);
  $("frequency").value = state.frequency;
  ask();
}
$("map").addEventListener("pointerdown", (event) => { dragging = true; point(event); });
$("map").addEventListener("pointermove", (event) => { if (dragging) point(event); });
window.addEventListener("pointerup", () => { dragging = false; });
window.addEventListener("resize", draw);

// --- rehearsals

const jobs = new Map();
const VERDICTS = { within_limits: "\u2713 within the limits checked", over_limit: "\u2716 over a limit", no_verdict: "? no verdict" };

function about() {
  const found = state.machine.scenarios.find((s) => s.file === $("scenario").value);
  if (found) $("about").textContent = found.file.startsWith("screen:") ? found.description
    : `${found.description} The scenario brings its own frequency and load; the values are those on this page.`.trim();
  changed(document.createElement("div"), false);
}
$("scenario").addEventListener("change", about);

$("rehearse").addEventListener("click", async () => {
  const found = await post("rehearse", { page, scenario: $("scenario").value, set: state.set,
    load: state.answer?.load, frequency: state.answer?.frequency });
  if (found.problems) troubles(found.problems);
  else jobShown(found);
});

function left(seconds) {
  if (seconds === null) return "time left not known yet";
  return seconds < 90 ? `about ${Math.ceil(seconds)} s left` : `about ${Math.ceil(seconds / 60)} min left`;
}

function jobShown(job) {
  let item = jobs.get(job.job);
  if (!item) {
    item = element("li");
    jobs.set(job.job, item);
    $("jobs").prepend(item);
  }
  item.className = job.verdict || job.state;
  const sets = Object.entries(job.changed).map(([k, v]) => `${k} = ${v}`).join(", ");
  const word = VERDICTS[job.verdict] || job.state;
  const parts = [element("h3", {}, `${job.scenario}: ${word}`, element("small", { textContent: sets || "values of the file" }))];
  if (job.state === "running" || job.state === "waiting") {
    const shown = element("progress", { max: 1, value: job.share });
    shown.setAttribute("aria-label", `Progress of ${job.scenario}`);
    const stop = element("button", { type: "button", textContent: "Stop" });
    stop.addEventListener("click", () => post("stop", { page, job: job.job }));
    parts.push(shown, element("p", { className: "note" }, `${Math.round(100 * job.share)} %, ${job.state === "waiting" ? "waiting for its turn" : left(job.left_s)} `, stop));
  } else if (job.reason) parts.push(element("p", { textContent: job.reason }));
  if (job.folder) {
    parts.push(element("p", {}, element("a", { href: `reports/${job.folder}/index.html`, target: "_blank", textContent: "Open the report" })));
    $("all").hidden = false;
  }
  item.replaceChildren(...parts);
}

const events = new EventSource(`events?page=${page}`);
events.onmessage = (message) => jobShown(JSON.parse(message.data));

fetch("machine").then((r) => r.json()).then((machine) => {
  if (machine.problems) return troubles(machine.problems);
  introduce(machine);
  return ask();
}).then(() => { document.documentElement.dataset.bench = "ready"; });
