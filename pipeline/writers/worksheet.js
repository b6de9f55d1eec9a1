"use strict";
// Steps, undo and the kept place. All texts enter the page as text, never as markup.
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const $ = (id) => document.getElementById(id);
  const SVG = "http://www.w3.org/2000/svg";
  const CELL = 38, TALL = 34, TAB = 30;
  const store = "hitchgrid " + data.key; // the first band tied from this page; others have a number behind it
  const MOST = 20;
  let copies = 1, copy = 1;
  const placeOf = (number) => number === 1 ? store : `${store} ${number}`;
  const steps = tieAll(data.lines, data.start);

  // Ties every step, so that each knows the threads that hang before and after it.
  function tieAll(lines, start) {
    const list = [], threads = [...start];
    for (const line of lines) for (const step of line.steps) {
      const before = [...threads], laid = [...(step.laid || [])];
      for (const [p, kind] of step.knots) {
        const leftTies = kind % 2 === 0;
        if (laid.length) { // a step with a join is one knot
          const [thread, tying] = laid.shift();
          threads[p + (leftTies === Boolean(tying) ? 0 : 1)] = thread;
        }
        if (kind < 2) [threads[p], threads[p + 1]] = [threads[p + 1], threads[p]];
      }
      const earlier = list.length && list[list.length - 1].of === line ? list[list.length - 1] : null;
      const from = earlier && line.along ? earlier.from + earlier.knots.length : line.row;
      list.push({ ...line, ...step, from, before, threads: [...threads], of: line });
    }
    return list;
  }

  function counted(threads) {
    const runs = [];
    for (const thread of threads) {
      if (runs.length && runs[runs.length - 1][1] === thread) runs[runs.length - 1][0]++;
      else runs.push([1, thread]);
    }
    return runs.map(([count, thread]) => `${count} ${data.labels[thread]}`).join(", ");
  }

  const clamp = (value, low, high) => Math.min(high, Math.max(low, value));
  let keeps = true;
  const drawn = steps.flatMap((step, index) => step.knots.map(([p, , shown], k) => ({ index, row: step.from + step.along * k, p, shown })));
  let state = { at: 0, before: [] };

  function load() {
    state = { at: 0, before: [] };
    try {
      const bands = JSON.parse(localStorage.getItem(store + " bands") || "null");
      const sane = (n) => Number.isInteger(n) && n >= 1 && n <= MOST;
      if (bands && sane(bands.copies) && sane(bands.copy)) {
        copies = bands.copies;
        copy = Math.min(bands.copy, copies);
      }
      const kept = JSON.parse(localStorage.getItem(placeOf(copy)) || "null");
      if (!kept || !Number.isInteger(kept.at) || !Array.isArray(kept.before)) return;
      state.at = clamp(kept.at, 0, steps.length);
      state.before = kept.before.filter(Number.isInteger).slice(-500);
    } catch {
      keeps = false;
    }
  }

  function save() {
    try {
      localStorage.setItem(placeOf(copy), JSON.stringify(state));
      if (copies > 1) localStorage.setItem(store + " bands", JSON.stringify({ copies, copy }));
    } catch {
      keeps = false;
    }
    if (!keeps) $("kept").textContent = "This browser does not keep your place here: note the number when you stop.";
  }

  function choose(number) {
    copies = Math.max(copies, number);
    copy = number;
    try {
      localStorage.setItem(store + " bands", JSON.stringify({ copies, copy }));
    } catch {
      keeps = false;
    }
    load();
    save();
    show();
  }

  function bands() {
    $("copy").replaceChildren(...Array.from({ length: copies }, (_, i) => {
      const option = document.createElement("option");
      option.value = i + 1;
      option.textContent = i + 1;
      option.selected = i + 1 === copy;
      return option;
    }));
    $("another").disabled = copies >= MOST;
  }

  // What "go to" counts: rows of the chart where some lines are rows, else steps.
  const place = (step) => data.rows ? step.row : step.number;

  function move(to, undoing) {
    const next = clamp(to, 0, steps.length);
    if (!undoing && next !== state.at) state.before = [...state.before, state.at].slice(-500);
    state.at = next;
    save();
    show();
  }

  const forward = () => { if (state.at < steps.length) move(state.at + 1, false); };
  const undo = () => { if (state.before.length) move(state.before.pop(), true); };

  function make(parent, name, attributes, text) {
    const element = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    if (text !== undefined) element.textContent = text;
    parent.append(element);
    return element;
  }

  // Kinds: 0 forward, 1 backward, 2 forward-backward, 3 backward-forward.
  function slab(kind, x, y, width, height, lean) {
    const w = width / 2, h = height / 2, turn = kind % 2 ? -1 : 1;
    const side = [[w - lean, -h]];
    if (kind > 1) side.push([w - 0.78 * lean, -0.28 * height], [w - 0.48 * lean - 0.21 * width, 0.02 * height], [w - 0.18 * lean, 0.32 * height]);
    return [[-w, -h], ...side, [w, h], [lean - w, h]].map(([px, py]) => `${x + turn * px},${y + py}`).join(" ");
  }

  function tab(svg, x, y, thread, down) {
    const { colour, ink } = data.threads[thread];
    const half = 12, tip = 5, tall = TAB - 7;
    const corners = down
      ? [[-half, 0], [half, 0], [half, tall], [0, tall + tip], [-half, tall]]
      : [[-half, tall + tip], [half, tall + tip], [half, tip], [0, 0], [-half, tip]];
    make(svg, "polygon", { points: corners.map(([a, b]) => `${x + a},${y + b}`).join(" "), fill: colour, stroke: "#17212b", "stroke-width": 1.5 });
    make(svg, "text", { x, y: y + (down ? 16 : 21), "text-anchor": "middle", "font-size": 13, "font-weight": 700, fill: ink }, thread + 1);
  }

  function strip(index) {
    const list = steps, step = list[index];
    const line = [];
    for (let i = index; i >= 0 && list[i].of === step.of; i--) line.unshift(i);
    for (let i = index + 1; i < list.length && list[i].of === step.of; i++) line.push(i);
    const { before } = step, strands = before.length;
    const middle = 20 + TAB + 8, width = strands * CELL + 16, height = middle + TALL + 8 + TAB + 8;
    const svg = document.createElementNS(SVG, "svg");
    for (const [key, value] of Object.entries({ width, height, viewBox: `0 0 ${width} ${height}`, role: "img" })) svg.setAttribute(key, value);
    make(svg, "title", {}, `${step.label}: ${step.text}. Order of threads after it: ${counted(step.threads)}`);
    const active = new Set(step.knots.flatMap((k) => [k[0], k[0] + 1]));
    for (let p = 0; p < strands; p++) {
      const x = 8 + (p + 0.5) * CELL;
      make(svg, "text", { x, y: 14, "text-anchor": "middle", "font-size": 12, "font-weight": active.has(p) ? 700 : 400, fill: active.has(p) ? "#17212b" : "#566472" }, p + 1);
      tab(svg, x, 20, before[p], true);
      tab(svg, x, middle + TALL + 8, step.threads[p], false);
    }
    // Knots that follow one strand stand side by side; pairs leave room between them.
    const places = line.flatMap((i) => list[i].knots.map((k) => k[0]));
    const close = places.some((p, i) => i && Math.abs(p - places[i - 1]) < 2) || data.narrow[step.section];
    let first = null;
    for (const i of line) {
      for (const [p, kind, shown, wanted] of list[i].knots) {
        const x = 8 + (p + 1) * CELL, y = middle + TALL / 2, wide = close ? CELL - 4 : 2 * CELL - 18;
        const { colour, ink } = data.threads[shown];
        const now = i === index, past = i < index;
        const group = make(svg, "g", past ? { opacity: 0.35 } : {});
        make(group, "polygon", { points: slab(kind, x, y, wide, TALL - 6, wide * 0.22), fill: colour, stroke: "#17212b", "stroke-width": now ? 3 : 1.2 });
        make(group, "text", { x: x + (kind === 2 ? -3 : kind === 3 ? 3 : 0), y: y + 5, "text-anchor": "middle", "font-size": 15, "font-weight": 700, fill: ink }, shown + 1);
        if (wanted !== undefined) make(group, "text", { x: x + wide / 2 - 2, y: y - 9, "text-anchor": "middle", "font-size": 12, "font-weight": 700, fill: "#a8321f", stroke: "#fff", "stroke-width": 3, "paint-order": "stroke" }, "≠");
        if (now) {
          make(svg, "line", { x1: x - wide / 2, x2: x + wide / 2, y1: y + TALL / 2 + 3, y2: y + TALL / 2 + 3, stroke: "#17212b", "stroke-width": 4 });
          if (first === null) first = x;
        }
      }
    }
    const holder = $("strip");
    holder.replaceChildren(svg);
    if (first !== null) {
      const xs = step.knots.map((k) => 8 + (k[0] + 1) * CELL);
      const centre = (Math.min(...xs) + Math.max(...xs)) / 2;
      const seen = Math.max(...xs) - Math.min(...xs) < holder.clientWidth - 2 * CELL ? centre : first;
      holder.scrollTo({ left: seen - holder.clientWidth / 2, behavior: "instant" });
    }
  }

  function note(id, text) {
    $(id).hidden = !text;
    $(id).textContent = text;
  }

  // --- the whole band ------------------------------------------------------------------------------
  // The band as it will be, turned a quarter so that its start lies at the left; what is not tied yet is pale.
  function map() {
    const canvas = $("map"), wide = Math.max(canvas.clientWidth, 1), tall = Math.max(canvas.clientHeight, 1);
    const ratio = window.devicePixelRatio || 1;
    canvas.width = wide * ratio;
    canvas.height = tall * ratio;
    const pen = canvas.getContext("2d");
    const across = canvas.width / Math.max(1, data.count), down = canvas.height / Math.max(1, data.start.length - 1);
    const now = state.at;
    let here = -1;
    for (const { index, row, p, shown } of drawn) {
      pen.globalAlpha = index <= now ? 1 : 0.28;
      pen.fillStyle = data.threads[shown].colour;
      const narrow = data.narrow[steps[index].section];
      const side = data.start.length - 2 - p;
      const top = narrow ? side : Math.max(0, side - 0.5);
      pen.fillRect(Math.floor((row - 1) * across), Math.floor(top * down), Math.ceil(across), Math.ceil((narrow ? 1 : 2) * down));
      if (index === now) here = Math.max(here, row);
    }
    pen.globalAlpha = 1;
    const step = steps[now];
    if (here < 0) here = data.count;
    pen.fillStyle = getComputedStyle(document.documentElement).getPropertyValue("--signal");
    pen.fillRect(Math.min(canvas.width - 3 * ratio, (here - 0.5) * across - 1.5 * ratio), 0, 3 * ratio, canvas.height);
    $("map-says").textContent = step ? `The whole band, its start at the left. You are in row ${here} of ${data.count}, at the upright line.` : `The whole band, its start at the left: all ${data.count} rows are tied.`;
  }

  function show() {
    const list = steps, index = state.at, over = index >= list.length;
    const step = list[over ? list.length - 1 : index];
    const tied = list.slice(0, index).reduce((sum, s) => sum + s.knots.length, 0);
    $("progress").max = Math.max(1, data.knots);
    $("progress").value = tied;
    const sections = data.narrow.length;
    const where = sections > 1 && step ? `section ${step.section + 1} of ${sections} · ` : "";
    const chart = !over && step && step.chart ? `${step.chart} · ` : "";
    $("place").textContent = `${where}${chart}${tied} of ${data.knots} knots tied`;
    bands();
    map();
    $("undo").disabled = !state.before.length;
    $("done").disabled = over || !step;
    $("row").max = list.reduce((most, s) => Math.max(most, place(s)), 1);
    $("jump-unit").textContent = data.rows ? "row" : "step";
    if (!step) {
      $("label").textContent = "No rows";
      return;
    }
    $("leads").replaceChildren();
    $("spoken").textContent = over ? "All tied." : `${step.label}, ${step.opening ? step.opening + ": " : ""}${step.text}. ${step.join || ""}`;
    if (over) {
      $("label").textContent = "All tied";
      $("opening").textContent = "";
      $("now").textContent = "The last knot is tied: go on with the ends and the fit, at the foot of this page.";
      note("join", "");
      for (const id of ["unlike", "again", "shows", "measure"]) note(id, "");
      note("check", `Order at the end, left to right: ${counted(step.threads)}`);
      $("after").open = true;
      $("then").textContent = "";
      $("strip").hidden = true;
      return;
    }
    $("strip").hidden = false;
    $("label").textContent = step.label;
    $("opening").textContent = step.opening;
    $("now").textContent = step.text;
    if (step.lead) {
      const [strand, thread, taken] = step.lead;
      const swatch = document.createElement("span"), number = document.createElement("span"), name = document.createElement("span");
      swatch.className = `swatch t${thread + 1}`;
      number.textContent = thread + 1;
      swatch.append(number);
      name.textContent = `${taken ? "Strand taken" : "Leader"}: ${data.threads[thread].name}, strand ${strand + 1}`;
      $("leads").append(swatch, name);
    }
    note("join", step.join || "");
    note("again", step.again);
    note("shows", step.shows || "");
    note("check", step.check ? `Look back. ${step.check}` : "");
    note("measure", step.measure || "");
    note("unlike", step.knots.some((k) => k.length > 3) ? "≠ in the drawing: this knot shows another thread than the picture wanted. Tie it as written." : "");
    const next = list[index + 1];
    $("then").textContent = !next ? "This is the last step." : next.of === step.of ? `Then: ${next.text}` : `Then ${next.label.toLowerCase()}, ${next.opening ? next.opening + ": " : ""}${next.text}`;
    strip(index);
  }

  // --- keeping the screen on: only where the browser offers it -------------------------------------
  let lock = null;
  async function keepAwake() {
    try {
      if ($("awake").checked && document.visibilityState === "visible") lock = await navigator.wakeLock.request("screen");
      else if (lock) { await lock.release(); lock = null; }
    } catch {
      $("awake").checked = false;
    }
  }
  if ("wakeLock" in navigator) {
    $("awake-line").hidden = false;
    $("awake").addEventListener("change", keepAwake);
    document.addEventListener("visibilitychange", () => { if ($("awake").checked) keepAwake(); });
  }

  $("done").addEventListener("click", forward);
  $("undo").addEventListener("click", undo);
  $("jump").addEventListener("submit", (event) => {
    event.preventDefault();
    const asked = Number($("row").value);
    const fits = steps.filter((s) => place(s) >= asked);
    const here = steps[Math.min(state.at, steps.length - 1)];
    // Steps are counted afresh in each section: the present one is meant first.
    const found = (!data.rows && fits.find((s) => s.section === here.section)) || fits[0];
    if (found) move(steps.indexOf(found), false);
  });
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const inside = event.target instanceof Element ? event.target.closest("input, button, summary, a, textarea") : null;
    const inStrip = event.target === $("strip");
    if (event.key === " " && !inside) { event.preventDefault(); forward(); }
    else if (event.key === "ArrowRight" && !(inside && inside.matches("input")) && !inStrip) { event.preventDefault(); forward(); }
    else if (event.key === "ArrowLeft" && !(inside && inside.matches("input")) && !inStrip) { event.preventDefault(); undo(); }
    else if ((event.key === "u" || event.key === "U") && !(inside && inside.matches("input[type=number]"))) undo();
  });
  window.addEventListener("storage", (event) => { if (event.key === placeOf(copy)) { load(); show(); } });

  $("copy").addEventListener("change", () => choose(Number($("copy").value)));
  $("another").addEventListener("click", () => choose(copies + 1));
  $("map").addEventListener("click", (event) => {
    const row = 1 + Math.floor(event.offsetX / Math.max(1, $("map").clientWidth) * data.count);
    const found = drawn.find((cell) => cell.row >= row);
    if (found) move(found.index, false);
  });
  window.addEventListener("resize", show);
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { if (steps.length) map(); });

  load();
  for (const id of ["all", "knots", "words", "after"]) $(id).open = false;
  $("before").open = state.at === 0;
  $("bench").hidden = false;
  show();
  if (state.at > 0) $("bench").scrollIntoView(); // a maker who comes back goes on at once
})();
