"use strict";
// Steps, undo and the kept place. All texts enter the page as text, never as markup.
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const $ = (id) => document.getElementById(id);
  const SVG = "http://www.w3.org/2000/svg";
  const CELL = 38, TALL = 34, TAB = 30;
  const store = "hitchgrid " + data.key;
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
      list.push({ ...line, ...step, before, threads: [...threads], of: line });
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
  let state = { at: 0, before: [] };

  function load() {
    try {
      const kept = JSON.parse(localStorage.getItem(store) || "null");
      if (!kept || !Number.isInteger(kept.at) || !Array.isArray(kept.before)) return;
      state.at = clamp(kept.at, 0, steps.length);
      state.before = kept.before.filter(Number.isInteger).slice(-500);
    } catch {
      keeps = false;
    }
  }

  function save() {
    try {
      localStorage.setItem(store, JSON.stringify(state));
    } catch {
      keeps = false;
    }
    if (!keeps) $("kept").textContent = "This browser does not keep your place here: note the number when you stop.";
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
      holder.scrollLeft = seen - holder.clientWidth / 2;
    }
  }

  function note(id, text) {
    $(id).hidden = !text;
    $(id).textContent = text;
  }

  function show() {
    const list = steps, index = state.at, over = index >= list.length;
    const step = list[over ? list.length - 1 : index];
    const tied = list.slice(0, index).reduce((sum, s) => sum + s.knots.length, 0);
    $("progress").max = Math.max(1, data.knots);
    $("progress").value = tied;
    const sections = data.narrow.length;
    const where = sections > 1 && step ? `section ${step.section + 1} of ${sections} · ` : "";
    $("place").textContent = `${where}${tied} of ${data.knots} knots tied`;
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
      $("now").textContent = "The last knot is tied: taper, braid the ties, and fit the band.";
      note("join", "");
      note("unlike", "");
      note("check", `Order at the end, left to right: ${counted(step.threads)}`);
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
    note("check", step.check ? `Check after this step. Order of threads, left to right: ${counted(step.threads)}` : "");
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
  window.addEventListener("storage", (event) => { if (event.key === store) { load(); show(); } });

  load();
  $("all").open = false;
  $("bench").hidden = false;
  show();
})();
