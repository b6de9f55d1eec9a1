// The frame that crops the picture, and pointing at its ground. The fields beside it do the same by keyboard.
const EDGES = ["left", "top", "right", "bottom"];

export function frame(box) {
  if (!box) return;
  const form = box.closest("form");
  show(box, edgesOf(form));
  if (box.wired) return;
  box.wired = true;
  const point = form.querySelector("[data-point]");
  let from = null;

  box.addEventListener("pointerdown", (event) => {
    const at = place(box, event);
    if (point.getAttribute("aria-pressed") === "true") {
      point.setAttribute("aria-pressed", "false");
      set(form, "background", colourAt(box.querySelector("img"), at));
      return;
    }
    from = at;
    box.setPointerCapture(event.pointerId);
    event.preventDefault();
  });
  box.addEventListener("pointermove", (event) => from && show(box, between(from, place(box, event))));
  box.addEventListener("pointerup", (event) => {
    if (!from) return;
    const edges = between(from, place(box, event));
    from = null;
    if (edges[2] - edges[0] < 0.02 || edges[3] - edges[1] < 0.02) return show(box, edgesOf(form));
    crop(form, edges);
  });
  form.addEventListener("input", (event) => {
    if (event.target.dataset.edge) show(box, typed(form));
  });
  form.addEventListener("change", (event) => {
    if (event.target.dataset.edge) form.elements.crop.value = spelled(typed(form));
    if ("ground" in event.target.dataset) form.elements.background.value = event.target.value;
  }, true);
  form.addEventListener("click", (event) => {
    const { dataset } = event.target;
    if ("whole" in dataset) crop(form, [0, 0, 1, 1]);
    if ("unground" in dataset) set(form, "background", "");
    if ("point" in dataset) point.setAttribute("aria-pressed", point.getAttribute("aria-pressed") !== "true");
  });
}

const typed = (form) => EDGES.map((edge) => Number(form.querySelector(`[data-edge=${edge}]`).value) / 100);
const spelled = (edges) => (edges.join() === "0,0,1,1" ? "" : edges.map((e) => Math.round(e * 1e4) / 1e4).join());
const between = (a, b) => [Math.min(a[0], b[0]), Math.min(a[1], b[1]), Math.max(a[0], b[0]), Math.max(a[1], b[1])];

function edgesOf(form) {
  return (form.elements.crop.value || "0,0,1,1").split(",").map(Number);
}

function place(box, event) {
  const { left, top, width, height } = box.querySelector("img").getBoundingClientRect();
  const within = (share) => Math.min(1, Math.max(0, share));
  return [within((event.clientX - left) / width), within((event.clientY - top) / height)];
}

function show(box, [left, top, right, bottom]) {
  const cut = box.querySelector(".cut");
  cut.hidden = left <= 0 && top <= 0 && right >= 1 && bottom >= 1;
  Object.assign(cut.style, {
    left: `${100 * left}%`, top: `${100 * top}%`, width: `${100 * (right - left)}%`, height: `${100 * (bottom - top)}%`,
  });
}

function set(form, name, value) {
  form.elements[name].value = value;
  form.requestSubmit();
}

function crop(form, edges) {
  EDGES.forEach((edge, i) => (form.querySelector(`[data-edge=${edge}]`).value = Math.round(edges[i] * 1000) / 10));
  set(form, "crop", spelled(edges));
}

function colourAt(image, [x, y]) {
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [image.naturalWidth, image.naturalHeight];
  const ink = canvas.getContext("2d");
  ink.drawImage(image, 0, 0);
  const px = Math.min(canvas.width - 1, Math.floor(x * canvas.width));
  const py = Math.min(canvas.height - 1, Math.floor(y * canvas.height));
  return "#" + [...ink.getImageData(px, py, 1, 1).data.slice(0, 3)].map((n) => n.toString(16).padStart(2, "0")).join("");
}
