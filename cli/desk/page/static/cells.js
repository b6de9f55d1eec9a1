// The cells of the band: seen, pointed at and marked. Drawn on one canvas, spoken on the line below it.
let band = null;
let canvas = null;
let at = [0, 0]; // index of the row, index of the knot in it
let marks = new Map();
let moved = new Set();

export const marked = () => [...marks.values()];
export function unmark() {
  marks = new Map();
  draw();
}

export async function cells(element) {
  if (!element) {
    canvas = null;
    return;
  }
  const address = element.dataset.cells;
  if (canvas !== element) {
    canvas = element;
    listen();
  } else if (band?.address === address) return;
  const before = band;
  const answer = await fetch(address);
  if (!answer.ok) return;
  const fresh = { ...(await answer.json()), address };
  moved = before ? changed(before, fresh) : new Set();
  band = fresh;
  if (at[0] >= band.rows.length) at = [0, 0];
  draw();
  if (moved.size) tell(`${moved.size} cell${moved.size === 1 ? "" : "s"} changed; they carry a dot.`);
}

const key = (row, knot) => `${row.picture},${knot[0]}`;

function changed(before, after) {
  const colour = (b, thread) => b.threads[thread][1];
  const shown = new Map(before.rows.flatMap((r) => r.picture === null ? [] : r.knots.map((k) => [key(r, k), colour(before, k[1])])));
  const found = new Set();
  for (const row of after.rows)
    for (const knot of row.knots)
      if (shown.has(key(row, knot)) && shown.get(key(row, knot)) !== colour(after, knot[1])) found.add(key(row, knot));
  return found;
}

// ---- places: rows run along the band, positions across it; a band that lies has its first row at the left

function shape() {
  const lies = Boolean(canvas.dataset.lies);
  const room = canvas.parentElement.clientWidth;
  const size = lies
    ? Math.max(9, Math.min(22, Math.floor(room / band.rows.length)))
    : Math.max(9, Math.min(20, Math.floor(room / band.strands)));
  return { lies, size };
}

function box(r, knot) {
  const { lies, size } = shape();
  const wide = band.rows[r].worked === "diagonal" ? 2 : 1;
  const across = knot[0] + (wide === 2 ? 0 : 0.5);
  return lies
    ? [r * size, (band.strands - across - wide) * size, size, wide * size]
    : [across * size, r * size, wide * size, size];
}

function draw() {
  if (!canvas || !band) return;
  const { lies, size } = shape();
  const [w, h] = lies ? [band.rows.length, band.strands] : [band.strands, band.rows.length];
  const dense = window.devicePixelRatio || 1;
  [canvas.width, canvas.height] = [w * size * dense, h * size * dense];
  Object.assign(canvas.style, { width: `${w * size}px`, height: `${h * size}px` });
  const ink = canvas.getContext("2d");
  ink.scale(dense, dense);
  band.rows.forEach((row, r) => row.knots.forEach((knot) => cell(ink, row, r, knot, size)));
  const row = band.rows[at[0]];
  if (document.activeElement === canvas && row?.knots[at[1]]) outline(ink, box(at[0], row.knots[at[1]]), "#000", "#fff", 3);
}

function cell(ink, row, r, knot, size) {
  const [x, y, w, h] = box(r, knot);
  ink.fillStyle = band.threads[knot[1]][1];
  ink.fillRect(x, y, w, h);
  ink.strokeStyle = "rgb(128 128 128 / 0.35)";
  ink.lineWidth = 1;
  ink.strokeRect(x + 0.5, y + 0.5, w, h);
  const middle = [x + w / 2, y + h / 2];
  if (knot[3]) ring(ink, middle, size * 0.3, band.threads[knot[2]]?.[1]);
  if (moved.has(key(row, knot))) ring(ink, middle, size * 0.12, "#fff");
  if (row.picture !== null && marks.has(key(row, knot))) outline(ink, [x, y, w, h], "#fff", "#a3301d", 2);
}

function ring(ink, [x, y], radius, fill) {
  ink.beginPath();
  ink.arc(x, y, radius, 0, 2 * Math.PI);
  ink.fillStyle = fill ?? "transparent";
  ink.fill();
  ink.lineWidth = 2.5;
  ink.strokeStyle = "#fff";
  ink.stroke();
  ink.lineWidth = 1;
  ink.strokeStyle = "#000";
  ink.stroke();
}

function outline(ink, [x, y, w, h], outer, inner, thick) {
  ink.lineWidth = thick;
  ink.strokeStyle = outer;
  ink.strokeRect(x + 1, y + 1, w - 2, h - 2);
  ink.lineWidth = thick / 2;
  ink.strokeStyle = inner;
  ink.strokeRect(x + 2.5, y + 2.5, w - 5, h - 5);
}

// ---- pointing and keys

function found(event) {
  const { left, top } = canvas.getBoundingClientRect();
  const [px, py] = [event.clientX - left, event.clientY - top];
  const { lies, size } = shape();
  const r = Math.floor((lies ? px : py) / size);
  const k = band.rows[r]?.knots.findIndex((knot) => {
    const [x, y, w, h] = box(r, knot);
    return px >= x && px < x + w && py >= y && py < y + h;
  });
  return k >= 0 ? [r, k] : null;
}

function mark(on) {
  const row = band.rows[at[0]];
  const knot = row.knots[at[1]];
  if (row.picture === null) return tell("This row only moves strands; it has no cell of the picture.");
  const name = key(row, knot);
  if (on ?? !marks.has(name)) marks.set(name, [row.picture, knot[0]]);
  else marks.delete(name);
  spoken();
}

function spoken() {
  const row = band.rows[at[0]];
  const knot = row.knots[at[1]];
  const name = (thread) => band.threads[thread][0];
  const wants = knot[2] !== null && knot[2] !== knot[1] ? `, wanted ${name(knot[2])}` : "";
  const marking = row.picture !== null && marks.has(key(row, knot)) ? ", marked" : "";
  tell(`Row ${at[0] + 1}, position ${knot[0] + 1}: shows ${name(knot[1])}${wants}${marking}. ${knot[3] ?? ""}`);
}

function tell(sentence) {
  document.getElementById("cell-said").textContent = sentence;
}

function go(rows, across) {
  const r = Math.max(0, Math.min(band.rows.length - 1, at[0] + rows));
  const position = band.rows[at[0]].knots[at[1]][0] + across;
  const { knots } = band.rows[r];
  if (!knots.length) return;
  const near = (k) => Math.abs(k[0] - position) - 0.1 * Math.sign(across) * (k[0] - position);
  at = [r, knots.reduce((best, k, i) => (near(k) < near(knots[best]) ? i : best), 0)];
  draw();
  spoken();
}

function listen() {
  const element = canvas;
  let painting = null;
  element.addEventListener("pointerdown", (event) => {
    const cell = band && found(event);
    if (!cell) return;
    at = cell;
    const row = band.rows[cell[0]];
    painting = !marks.has(key(row, row.knots[cell[1]]));
    mark(painting);
    draw();
  });
  element.addEventListener("pointermove", (event) => {
    const cell = painting !== null && event.buttons ? found(event) : null;
    if (!cell || (cell[0] === at[0] && cell[1] === at[1])) return;
    at = cell;
    mark(painting);
    draw();
  });
  element.addEventListener("pointerup", () => (painting = null));
  element.addEventListener("focus", draw);
  element.addEventListener("blur", draw);
  element.addEventListener("keydown", (event) => {
    if (!band || event.ctrlKey || event.metaKey || event.altKey) return;
    const lies = Boolean(element.dataset.lies);
    const far = event.shiftKey ? 5 : 1;
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (step) {
      const [x, y] = step;
      if (lies) go(far * x, far * -y * 1);
      else go(far * y, far * x);
    } else if (event.key === " ") {
      mark();
      draw();
    } else return;
    event.preventDefault();
  });
}
window.addEventListener("resize", draw);
