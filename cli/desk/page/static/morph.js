// Makes one element like another while keeping what is the same, so that focus and what is being typed stay.
export function morph(old, fresh) {
  if (old.isEqualNode(fresh)) return;
  for (const { name } of [...old.attributes]) if (!fresh.hasAttribute(name) && !ours(old, name)) old.removeAttribute(name);
  for (const { name, value } of fresh.attributes)
    if (old.getAttribute(name) !== value && !ours(old, name)) old.setAttribute(name, value);
  const typing = old === document.activeElement && old.matches("input:not([type=checkbox]), textarea");
  if (old.matches("input") && !typing && old.type !== "file") {
    old.value = fresh.getAttribute("value") ?? "";
    old.checked = fresh.hasAttribute("checked");
  }
  if (old.tagName === "CANVAS") return;
  const named = new Map([...old.children].filter((c) => c.id).map((c) => [c.id, c]));
  let at = old.firstChild;
  for (const next of [...fresh.childNodes]) {
    const same = next.id ? named.get(next.id) : at && !at.id && at.nodeName === next.nodeName ? at : null;
    if (!same) {
      old.insertBefore(next, at);
      continue;
    }
    if (same === at) at = at.nextSibling;
    else old.insertBefore(same, at);
    if (same.nodeType === Node.ELEMENT_NODE) morph(same, next);
    else if (same.data !== next.data) same.data = next.data;
  }
  while (at) {
    const after = at.nextSibling;
    at.remove();
    at = after;
  }
  if (old.tagName === "SELECT" && old !== document.activeElement) {
    const chosen = [...old.options].findIndex((o) => o.hasAttribute("selected"));
    old.selectedIndex = chosen < 0 ? 0 : chosen;
  }
}

// What the page itself sets on an element is left alone.
function ours(element, name) {
  if (element.tagName === "DETAILS") return name === "open";
  if (element.tagName === "CANVAS") return ["width", "height", "style"].includes(name);
  return name === "style" || (element.matches("[data-point]") && name === "aria-pressed") || (element.matches("form") && name === "class");
}
