// Small helpers to put elements together. Text is only ever set as text.

export function el(name, attributes = {}, ...children) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === undefined || value === null || value === false) continue;
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (key in element && key !== "list" && typeof value !== "string") element[key] = value;
    else element.setAttribute(key, value === true ? "" : value);
  }
  for (const child of children.flat(Infinity)) {
    if (child !== null && child !== undefined) element.append(child);
  }
  return element;
}

/** Puts the children of `fresh` in place of those of `old`; `kept`, somewhere in `old`, stays in place of `like`. */
export function renewAround(old, fresh, kept, like) {
  const stays = [...old.children].find((child) => child.contains(kept));
  const nodes = [...fresh.childNodes];
  const at = nodes.findIndex((node) => node.contains(like));
  [...old.childNodes].forEach((child) => child !== stays && child.remove());
  stays.before(...nodes.slice(0, at));
  stays.after(...nodes.slice(at + 1));
  if (stays !== kept) renewAround(stays, nodes[at], kept, like);
}

export function byId(id) {
  return document.getElementById(id);
}

export function say(text) {
  byId("spoken").textContent = text;
}

export function notice(text, { bad = false, actions = [], key = "" } = {}) {
  const box = byId("notices");
  if (key) box.querySelectorAll("p").forEach((old) => old.dataset.key === key && old.remove());
  const line = el("p", { class: bad ? "bad" : undefined }, text);
  line.dataset.key = key;
  for (const [label, act] of actions) {
    line.append(el("button", { type: "button", onclick: () => { line.remove(); act(); } }, label));
  }
  if (!actions.length) {
    line.append(el("button", { type: "button", "aria-label": "Put this notice away", onclick: () => line.remove() }, "×"));
  }
  box.append(line);
  return line;
}

export function clearNotice(key) {
  byId("notices").querySelectorAll("p").forEach((old) => old.dataset.key === key && old.remove());
}
