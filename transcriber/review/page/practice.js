// The page that is sent to a student: the sheet to read, hear and practise with, nothing to correct.

import { AttemptView } from "./attempt.js";
import { byId, notice } from "./dom.js";
import { factsOf } from "./facts.js";
import { Hearing } from "./hearing.js";
import { Player } from "./player.js";
import { View } from "./view.js";

const TYPING = "input:not([type=checkbox]):not([type=range]), select";

function dataOf(id) {
  return JSON.parse(byId(id).textContent);
}

function addressOf({ type, base64 }) {
  const text = atob(base64);
  const bytes = new Uint8Array(text.length);
  for (let at = 0; at < text.length; at += 1) bytes[at] = text.charCodeAt(at);
  return URL.createObjectURL(new Blob([bytes], { type }));
}

function wordsFor(note) {
  const place = note.string === null ? "off the neck" : `string ${note.string}, fret ${note.fret}`;
  return `${note.where}: ${note.name}, ${place}, ${note.how}${note.remark ? `, remark: ${note.remark}` : ""}`;
}

async function practise() {
  const sheet = dataOf("draft");
  const addresses = Object.fromEntries(Object.entries(dataOf("sounds")).map(([kind, one]) => [kind, addressOf(one)]));
  const notes = new Map(sheet.notes.map((note) => [note.id, note]));
  const order = sheet.notes.map((note) => note.id);
  await document.fonts.load("30px Bravura");
  window.VexFlow.setFonts("Bravura", "Arial");
  const player = new Player((kind) => addresses[kind]);
  let attempt = null;
  const view = new View(byId("sheet"), { label: (note) => wordsFor(note) + (attempt ? attempt.label(note) : "") });
  const hearing = new Hearing(player, view, { staff: (on) => { view.staff = on; view.show(sheet, notes, order); } });
  byId("title").textContent = sheet.name;
  byId("facts").textContent = factsOf(sheet);
  if (sheet.notes.some((note) => note.unsure)) byId("practice").append(" ? stands over a note that the draft is not sure of.");
  if (sheet.notes.some((note) => note.techniques.some((one) => one.optional))) byId("practice").append(" Signs in parentheses may be left out.");
  document.title = sheet.name;
  let chosen = null;
  const choose = (id, focus) => {
    chosen = id;
    view.mark("chosen", id);
    view.reveal(id, focus);
  };
  if (sheet.attempt) {
    const laidOver = dataOf("laid_over");
    const bring = async () => laidOver;
    attempt = new AttemptView({ store: { sheet, notes }, view, player, hearing, choose: (id) => choose(id, true), bring });
    attempt.show(sheet);
  }
  view.show(sheet, notes, order);
  for (const option of hearing.kinds.options) option.disabled = !(option.value in addresses);
  await hearing.show(sheet);
  byId("sheet").addEventListener("click", (event) => {
    const spot = event.target.closest(".spot");
    if (!spot) return;
    choose(spot.dataset.note, false);
    player.play(Math.max(notes.get(spot.dataset.note).onset_s - 0.02, 0));
  });
  document.addEventListener("keydown", (event) => {
    if (event.target.closest(TYPING) || event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key === " " && !event.target.closest("button, input")) {
      event.preventDefault();
      hearing.toggle();
    } else if (event.key === "ArrowRight" || event.key === "ArrowLeft") {
      const at = order.indexOf(chosen) + (event.key === "ArrowRight" ? 1 : -1);
      if (order[at]) choose(order[at], true);
    } else if (event.key.toLowerCase() === "o" && attempt) {
      attempt.changeOver();
    }
  });
  let sounding = null;
  setInterval(() => {
    const time = player.time;
    const note = player.playing ? sheet.notes.filter((one) => one.onset_s <= time + 0.01).pop() : null;
    const id = note && time < note.end_s + 0.03 ? note.id : null;
    if (id !== sounding) view.mark("sounding", id);
    if (id && id !== sounding) view.reveal(id, false);
    sounding = id;
  }, 30);
  document.body.dataset.ready = "yes";
}

practise().catch((error) => notice(`The page could not start: ${error.message}`, { bad: true }));
