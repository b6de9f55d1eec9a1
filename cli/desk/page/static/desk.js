// The page: sends what the maker does, hears what changed, and exchanges just those panels.
import { morph } from "./morph.js";
import { frame } from "./frame.js";
import { cells, marked, unmark } from "./cells.js";

const here = document.body.dataset.here;
const $ = (id) => document.getElementById(id);
sessionStorage.setItem("bench", here.split("/").pop());

export function say(sentence) {
  if ($("said").textContent !== sentence) $("said").textContent = sentence;
}

// ---- sending

async function send(to, body, form) {
  const url = to.startsWith("/") ? to : `${here}/${to}`;
  try {
    const answer = await fetch(url, { method: "POST", body });
    const text = await answer.text();
    say(answer.ok ? text : text.slice(0, 1000) || "That did not work.");
    form?.classList.toggle("refused", !answer.ok);
    return answer.ok;
  } catch {
    say("The desk does not answer. If it was closed, start it again: hitchgrid desk");
    return false;
  }
}

function fieldsOf(form, submitter) {
  const fields = new URLSearchParams(new FormData(form, submitter));
  for (const box of form.querySelectorAll("input[type=checkbox][name]"))
    if (!fields.has(box.name)) fields.append(box.name, "");
  return fields;
}

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (form.matches("[data-touch]")) {
    event.preventDefault();
    const body = new URLSearchParams({ cells: JSON.stringify(marked()), thread: form.thread.value });
    if (await send("touch", body, form)) unmark();
  } else if (form.dataset.to) {
    event.preventDefault();
    const submitter = event.submitter?.name ? event.submitter : undefined;
    if (await send(form.dataset.to, fieldsOf(form, submitter), form) && !("live" in form.dataset)) settle(form);
  }
});

function settle(form) {
  if (form.matches("#thread-form, #gauge-form")) form.reset();
}

document.addEventListener("change", (event) => {
  const { target } = event;
  if (target.dataset.upload) upload(target.dataset.upload, target.files[0], target);
  else if (target.form?.matches("form[data-live]")) target.form.requestSubmit();
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  const { to, ...values } = button.dataset;
  if (to) {
    send(to, new URLSearchParams(values));
    if (to === "choose") choosing(button);
  } else if ("untick" in values) {
    button.form.querySelectorAll("input").forEach((box) => (box.checked = false));
    button.form.requestSubmit();
  } else if ("unmark" in values) unmark();
});

function choosing(button) {
  document.querySelectorAll("[data-choice]").forEach((b) => b.setAttribute("aria-pressed", b === button));
  document.querySelector("[data-band]")?.setAttribute("data-state", "planning");
}

async function upload(to, file, input) {
  if (!file) return;
  if (to === "motif") document.querySelectorAll("[data-choice]").forEach((old) => old.closest("li").remove());
  say(`Taking in ${file.name}…`);
  const picture = to === "motif";
  await send(picture ? `motif?name=${encodeURIComponent(file.name.slice(0, 200))}` : to, file);
  if (input) input.value = "";
  if (picture) refresh("sheet");
}

for (const kind of ["dragover", "drop"])
  document.addEventListener(kind, (event) => {
    if (!event.dataTransfer?.types.includes("Files")) return;
    event.preventDefault();
    if (kind === "drop") upload("motif", event.dataTransfer.files[0]);
  });

// ---- hearing

const asked = new Map();

async function refresh(panel) {
  if (asked.has(panel)) {
    asked.set(panel, true); // once more when the present one is there
    return;
  }
  asked.set(panel, false);
  try {
    const answer = await fetch(`${here}/panel/${panel}`);
    if (answer.ok) {
      const fresh = $(panel).cloneNode(false);
      fresh.innerHTML = await answer.text();
      morph($(panel), fresh);
      wire();
    }
  } finally {
    const more = asked.get(panel);
    asked.delete(panel);
    if (more) refresh(panel);
  }
}

function busy(news) {
  $("busy").hidden = !news.stage;
  if (!news.stage) return;
  $("stage").textContent = news.stage;
  $("note").textContent = news.note ?? "";
  if (news.done) $("done").value = news.done;
  else $("done").removeAttribute("value");
}

let broken = false;
const events = new EventSource(`${here}/events`);
events.onmessage = ({ data }) => {
  for (const [what, value] of Object.entries(JSON.parse(data))) {
    if (what === "busy") busy(value);
    else if (what === "said") value && say(value);
    else if ($(what)) refresh(what);
  }
};
events.onopen = () => {
  if (broken) for (const section of document.querySelectorAll("main section[id]")) refresh(section.id);
  if (broken) say("");
  broken = false;
};
events.onerror = () => {
  broken = true;
  say("The desk does not answer. If it was closed, start it again: hitchgrid desk");
};

function wire() {
  frame(document.querySelector("[data-frame]"));
  cells($("cells"));
}
wire();
