// The closer look: a question with its moment, its readings to hear and see, and what else can be corrected.

import { el, notice, renewAround, say } from "./dom.js";
import { drawCloseup } from "./closeup.js";
import { noteForm } from "./correct.js";
import { follows, isTyped, showLike, typedInto } from "./fields.js";
import { drawLine, layOut } from "./score.js";

const ASPECTS = [["pitch", "its pitch"], ["onset", "its beginning"], ["place", "its place"],
  ["rhythm", "its rhythm"], ["technique", "how it is played"]];

const ABOVE = ["bend", "pre_bend", "release", "vibrato", "trill", "palm_mute", "let_ring"];

/** Which aspect of a note is asked about; a question about a phrase or the whole take has only one. */
export function aspectOf({ aspect }) {
  return ASPECTS.some(([key]) => key === aspect) ? aspect : undefined;
}

function nameOf(element) {
  return element.id || element.getAttribute("aria-label") || element.textContent;
}

/** What was typed into fields or ticked and not kept yet outlives the drawing anew after another change. */
function carry(old, fresh, but) {
  for (const field of old.querySelectorAll("#further :is(input, select, textarea)[id]")) {
    const like = fresh.querySelector(`#${field.id}`);
    if (!like || field === but) continue;
    // A tick that says how the next change is made is nobody's but the person's; others show the draft.
    if (field.id.startsWith("around-")) like.checked = field.checked;
    else if (isTyped(field)) like.value = field.value;
  }
}

export class Look {
  constructor(store, view, player, hooks) {
    Object.assign(this, { store, view, player, hooks, question: null, alike: false });
  }

  get open() {
    return this.question !== null;
  }

  async show(about, aspect) {
    this.asked = (this.asked || 0) + 1;
    const mine = this.asked;
    const before = this.hooks.chosen();
    let question;
    try {
      question = await this.store.question(about, aspect);
    } catch (error) {
      notice(error.message, { bad: true, key: "question" });
      return;
    }
    // Another question was asked for meanwhile: that one is shown.
    if (mine !== this.asked) return;
    // Whoever went on to another note, or began to type, is not called back.
    const called = this.hooks.chosen() === before;
    const same = this.open && this.question.about === about && Boolean(this.view.inset);
    this.question = question;
    this.alike = false;
    const first = question.notes[0];
    this.view.mark("asked", first);
    if (called) {
      this.view.mark("chosen", first);
      this.hooks.choose(first);
    }
    const stays = this.put(this.build(question), first, same);
    this.drawReadings();
    if (stays || !called || typedInto()) return;
    this.reveal(first);
    say(`${question.words} ${question.readings.map((one, at) => `${at + 1}: ${one.words}.`).join(" ")}`);
  }

  /** Puts a look into the sheet, in place of the one before; tells whether the keyboard stays where it was in it. */
  put(inset, first, same) {
    const old = this.view.inset;
    if (!same) {
      this.view.unplace();
      this.view.place(inset, first);
      return false;
    }
    const details = [old, inset].map((one) => one.querySelector("#further"));
    if (details[0] && details[1]) details[1].open = details[0].open;
    const here = old.contains(document.activeElement) ? document.activeElement : null;
    const like = here && follows(here) ? inset.querySelector(`#${here.id}`) : null;
    carry(old, inset, here);
    if (like) {
      showLike(here, like);
      renewAround(old, inset, here, like);
      this.view.place(old, first);
      return true;
    }
    this.view.unplace();
    this.view.place(inset, first);
    const again = here && this.reachable().find((element) => nameOf(element) === nameOf(here));
    if (again) again.focus({ preventScroll: true });
    return Boolean(again);
  }

  reveal(first) {
    const { inset } = this.view;
    this.view.reveal(first, false);
    inset.focus({ preventScroll: true });
    const short = inset.getBoundingClientRect().bottom - (window.innerHeight - 150);
    const room = this.view.spot(first).getBoundingClientRect().top - 90;
    if (short > 0) window.scrollBy({ top: Math.min(short, Math.max(room, 0)) });
  }

  reachable() {
    return [...this.view.inset.querySelectorAll("button, input, select, textarea, summary")];
  }

  close() {
    this.asked = (this.asked || 0) + 1;
    this.question = null;
    this.view.unplace();
    this.view.mark("asked", null);
  }

  build(question) {
    const note = this.store.notes.get(question.about);
    const readings = question.readings.map((reading, at) => this.readingItem(reading, at));
    const parts = [
      el("div", { class: "over" },
        el("h2", { id: "question-words" }, question.words),
        el("button", { type: "button", onclick: () => this.hooks.close(), "aria-label": "Close the closer look" }, "Close ", el("kbd", {}, "Esc"))),
      question.meaning ? el("p", { id: "meaning", class: "small" }, question.meaning) : null,
      el("div", { class: "grid" },
        el("div", {},
          drawCloseup(question.closeup, this.store.sheet, question.notes),
          el("div", { class: "row" },
            el("button", { type: "button", id: "hear-moment", disabled: !this.store.sheet.take, onclick: () => this.hearMoment() },
              "Hear the take here ", el("kbd", {}, "0")),
            question.alike ? this.alikeBox(question) : null)),
        el("ol", { class: question.aspect === "take" ? "readings wide" : "readings", "aria-label": "Readings" }, readings)),
    ];
    if (note) {
      parts.push(el("div", { class: "row small" }, "Ask about ",
        ASPECTS.map(([key, words]) => el("button", { type: "button", "aria-pressed": String(key === question.aspect),
          onclick: () => this.show(question.about, key) }, words))));
      parts.push(el("details", { id: "further" },
        el("summary", {}, "Correct it by hand"), noteForm(this.store, note, this.hooks)));
    }
    return el("section", { id: "inset", tabindex: "-1", "aria-labelledby": "question-words" }, parts);
  }

  alikeBox(question) {
    const box = el("input", { type: "checkbox", id: "alike", onchange: () => { this.alike = box.checked; } });
    return el("label", { class: "small" }, box, ` the same for ${question.alike} more like it `, el("kbd", {}, "A"));
  }

  readingItem(reading, at) {
    const number = at + 1;
    const hear = el("button", { type: "button", "aria-label": `Hear reading ${number}: ${reading.words}`,
      onclick: () => this.hearReading(at) }, "Hear");
    const take = el("button", { type: "button", class: "main", "data-reading": reading.key,
      "aria-label": `Take reading ${number}: ${reading.words}`, onclick: () => this.take(at) }, "Take ", el("kbd", {}, String(number)));
    return el("li", { class: "reading" },
      el("p", {}, reading.words, at === 0 ? el("span", { class: "small" }, " drafted") : null),
      el("div", { class: "written", "aria-hidden": "true" }),
      el("div", { class: "row" }, hear, take));
  }

  drawReadings() {
    const boxes = this.view.inset.querySelectorAll(".written");
    this.question.readings.forEach((reading, at) => {
      const sheet = { ...this.store.sheet, bars: reading.bars, events: reading.events, chords: [], phrases: [] };
      const notes = new Map(reading.notes.map((note) => [note.id, note]));
      const order = reading.notes.map((note) => note.id);
      const options = { notes, order, small: true };
      const room = Math.max(boxes[at].clientWidth, 150);
      const line = layOut(sheet, 1e6, options)[0];
      const host = el("div", {});
      boxes[at].append(host);
      const drawn = drawLine(host, sheet, line, options);
      const full = line.bars.reduce((sum, bar) => sum + bar.width, 0);
      const spots = this.question.notes.flatMap((id) => drawn.spots.get(id) || []);
      const whole = this.question.aspect === "take";
      if (!whole) spots.forEach((spot) => spot.group.classList.add("asked"));
      // The window shows the part of the bar around the moment, at a size that can be read; of the take its first bars.
      const shown = Math.min(full, room / (whole ? 0.7 : 0.82));
      const middle = spots.length ? spots[0].x : full / 2;
      const left = Math.min(Math.max(middle - shown / 2, 0), full - shown);
      const bar = drawn.bars[0];
      const above = reading.notes.some((note) => note.techniques.some((one) => ABOVE.includes(one.kind)));
      const tuplets = reading.bars.some((one) => one.tuplets.length);
      const top = bar.top - (above ? 44 : 24);
      const height = bar.bottom + (tuplets ? 62 : 44) - top;
      drawn.svg.setAttribute("viewBox", `${left} ${top} ${shown} ${height}`);
      drawn.svg.style.width = `${room}px`;
      drawn.svg.style.height = `${(height * room) / shown}px`;
      drawn.svg.style.overflow = "hidden";
    });
  }

  hearMoment() {
    const { about } = this.question;
    this.player.once(`sound/moment?${new URLSearchParams({ about })}`).catch((error) => notice(error.message, { bad: true }));
  }

  hearReading(at) {
    const { about, aspect, readings, revision } = this.question;
    if (!readings[at]) return;
    const query = new URLSearchParams({ about, reading: readings[at].key, revision });
    if (aspectOf({ aspect })) query.set("aspect", aspect);
    this.player.once(`sound/reading?${query}`).catch((error) => notice(error.message, { bad: true }));
  }

  async take(at) {
    const { about, aspect, readings } = this.question;
    // A second key before the next question is seen must not answer it.
    if (!readings[at] || this.taking) return;
    this.taking = true;
    const body = { about, reading: readings[at].key, alike: this.alike };
    if (aspectOf({ aspect })) body.aspect = aspect;
    try {
      await this.hooks.send(() => ({ path: "answer", body, words: `${readings[at].words}.` }));
      if (this.open && this.question.about === about && this.question.aspect === aspect) await this.hooks.next(about);
    } finally {
      this.taking = false;
    }
  }

  toggleAlike() {
    const box = document.getElementById("alike");
    if (!box) return;
    box.checked = !box.checked;
    this.alike = box.checked;
  }
}
