// Puts the page together.

import { byId, clearNotice, el, notice, say } from "./dom.js";
import { makeEdits } from "./edits.js";
import { factsOf } from "./facts.js";
import { typedInto } from "./fields.js";
import { Hearing } from "./hearing.js";
import { AttemptView } from "./attempt.js";
import { aspectOf, Look } from "./look.js";
import { Player } from "./player.js";
import { Store } from "./store.js";
import { TakeForm } from "./takeform.js";
import { View } from "./view.js";

const REFRESH_MS = 4000;

function tokenOf() {
  const given = location.hash.slice(1);
  if (given) {
    sessionStorage.setItem("token", given);
    history.replaceState(null, "", location.pathname);
  }
  return given || sessionStorage.getItem("token") || "";
}

function label(note) {
  const place = note.string === null ? "off the neck" : `string ${note.string}, fret ${note.fret}`;
  return `${note.where}: ${note.name}, ${place}, ${note.how}${note.unsure ? ", unsure" : ""}${note.remark ? `, remark: ${note.remark}` : ""}`;
}

async function laidOver() {
  const answer = await fetch("api/laid_over");
  if (!answer.ok) throw new Error(await answer.text());
  return answer.json();
}

class Page {
  constructor() {
    this.store = new Store(tokenOf());
    this.chosen = null;
    this.player = new Player((kind, revision) => (kind === "attempt" ? "sound/attempt" : `sound/whole?kind=${kind}&revision=${revision}`));
    this.view = new View(byId("sheet"), { label: (note) => label(note) + (this.attempt ? this.attempt.label(note) : "") });
    this.nextButton = el("button", { id: "next-question", type: "button", class: "main", onclick: () => this.nextQuestion() },
      "Next question ", el("kbd", {}, "N"));
    this.closerButton = el("button", { id: "closer", type: "button", disabled: true, onclick: () => this.toggleLook() },
      "Closer look ", el("kbd", {}, "Enter"));
    this.hearing = new Hearing(this.player, this.view, {
      staff: (on) => this.setStaff(on),
      buttons: [this.nextButton, this.closerButton],
    });
    this.send = this.send.bind(this);
    this.edits = makeEdits(this.store, this.send);
    this.look = new Look(this.store, this.view, this.player, {
      edits: this.edits,
      send: this.send,
      chosen: () => this.chosen,
      choose: (id) => this.setChosen(id),
      close: () => this.closeLook(),
      next: () => this.nextQuestion(),
    });
    this.take = new TakeForm(this.store, this.player, this.edits);
    this.store.onChange((sheet) => this.show(sheet));
    byId("undo").addEventListener("click", () => this.edits.undo());
    byId("redo").addEventListener("click", () => this.edits.redo());
    byId("sheet").addEventListener("click", (event) => this.clicked(event));
    byId("sheet").addEventListener("dblclick", (event) => this.looked(event));
    document.addEventListener("keydown", (event) => this.pressed(event));
    setInterval(() => this.follow(), 30);
    setInterval(() => document.visibilityState === "visible" && this.refresh(), REFRESH_MS);
    window.addEventListener("focus", () => this.refresh());
  }

  async start() {
    await window.document.fonts.load("30px Bravura");
    window.VexFlow.setFonts("Bravura", "Arial");
    await this.store.load();
    if (!this.store.sheet.take) notice("The recording was not found beside the draft: only the draft can be heard. Start again with --take FILE.", { key: "take" });
    if (!this.store.token) notice("This address lacks its key, so nothing can be corrected here. Open the address that was printed.", { bad: true, key: "token" });
    this.offerWaiting();
    document.body.dataset.ready = "yes";
  }

  show(sheet) {
    document.title = sheet.name;
    byId("title").textContent = sheet.name;
    byId("facts").textContent = factsOf(sheet);
    const open = sheet.questions.length;
    const { corrections, minutes } = sheet.totals;
    byId("asked").textContent = `${open === 0 ? "No questions left" : open === 1 ? "1 question left" : `${open} questions left`} · ` +
      `${corrections} ${corrections === 1 ? "correction" : "corrections"}${minutes >= 0.1 ? ` in ${minutes} min` : ""}`;
    this.nextButton.disabled = open === 0;
    byId("undo").disabled = !sheet.can_undo;
    byId("redo").disabled = !sheet.can_redo;
    const onNote = document.activeElement && document.activeElement.closest("#sheet .spot");
    this.showAttempt(sheet);
    this.view.show(sheet, this.store.notes, this.store.order);
    this.setChosen(this.store.notes.has(this.chosen) ? this.chosen : null);
    this.view.mark("chosen", this.chosen);
    // The line was drawn anew: whoever stood on a note with the keyboard stands there still.
    const again = onNote && this.chosen ? this.view.spot(this.chosen) : null;
    if (again) again.focus({ preventScroll: true });
    this.hearing.show(sheet);
    this.take.show(sheet);
  }

  showAttempt(sheet) {
    if (!sheet.attempt) return;
    const { store, view, player, hearing } = this;
    this.attempt ||= new AttemptView({ store, view, player, hearing, choose: (id) => this.choose(id, true), bring: laidOver });
    this.attempt.show(sheet);
  }

  setStaff(on) {
    this.view.staff = on;
    this.view.show(this.store.sheet, this.store.notes, this.store.order);
  }

  /** Sends what `make` gives when its turn comes, shows what came of it and tells whether it was kept. */
  async send(make) {
    // How many are under way can be seen from outside.
    document.body.dataset.busy = String(Number(document.body.dataset.busy || 0) + 1);
    try {
      return await this.sendAndShow(make);
    } finally {
      document.body.dataset.busy = String(Number(document.body.dataset.busy) - 1);
    }
  }

  async sendAndShow(make) {
    let known = new Set();
    let sent = null;
    try {
      sent = await this.store.send(() => {
        known = new Set(this.store.order);
        return make();
      });
    } catch (error) {
      this.refused(error, make);
      return false;
    }
    if (!sent) return false;
    const added = this.store.order.filter((id) => !known.has(id));
    const inserted = sent.path === "keep" && sent.body.corrections.some((one) => one.action === "add_note");
    if (inserted && added.length === 1) this.choose(added[0], !this.look.open && !typedInto());
    clearNotice("kept");
    if (sent.words) say(sent.words);
    if (sent.path !== "answer") await this.renewLook();
    return true;
  }

  refused(error, make) {
    const actions = [];
    if (error.again) actions.push(["Make my change all the same", () => this.send(() => error.again)], ["Leave it", () => undefined]);
    if (error.waits) actions.push(["Try again", () => this.send(make)]);
    notice(error.message, { bad: true, actions, key: "kept" });
  }

  /** Asks what is looked at anew, as the draft is now. */
  async renewLook() {
    if (!this.look.open) return;
    const { about, aspect } = this.look.question;
    const { notes, sheet } = this.store;
    const known = notes.has(about) || [...sheet.phrases.map((one) => one.id), ...sheet.questions.map((one) => one.about)].includes(about);
    if (known) await this.look.show(about, aspectOf({ aspect }));
    else this.closeLook();
  }

  offerWaiting() {
    const waiting = this.store.waiting();
    if (!waiting) return;
    if (waiting.seen !== this.store.sheet.revision) {
      // It had reached the journal before the page heard of it.
      this.store.remember(null);
      return;
    }
    notice("A change was under way when the page or its server ended.", { key: "kept", actions: [
      ["Make it now", () => this.send(() => ({ ...waiting, words: "Kept." }))],
      ["Drop it", () => this.store.remember(null)]] });
  }

  async refresh() {
    try {
      if (!(await this.store.refresh())) return;
      say("The draft was changed elsewhere and is shown anew.");
      await this.renewLook();
    } catch {
      // The next change will say that the server is gone.
    }
  }

  noteAt(event) {
    const spot = event.target.closest ? event.target.closest(".spot") : null;
    return spot && !spot.closest("#inset") ? spot.dataset.note : null;
  }

  clicked(event) {
    const id = this.noteAt(event);
    if (!id) return;
    this.choose(id, false);
    this.player.play(Math.max(this.store.notes.get(id).onset_s - 0.02, 0)).catch((error) => notice(error.message, { bad: true, key: "sound" }));
  }

  looked(event) {
    const id = this.noteAt(event);
    if (!id) return;
    this.player.stop();
    this.look.show(id);
  }

  setChosen(id) {
    this.chosen = id;
    this.closerButton.disabled = id === null;
  }

  toggleLook() {
    if (this.look.open && this.look.question.about === this.chosen) this.closeLook();
    else this.look.show(this.chosen);
  }

  choose(id, focus) {
    this.setChosen(id);
    this.view.mark("chosen", id);
    this.view.reveal(id, focus);
    const note = this.store.notes.get(id);
    if (focus) say(label(note));
  }

  step(by) {
    const { order } = this.store;
    const at = this.chosen ? order.indexOf(this.chosen) + by : by > 0 ? 0 : order.length - 1;
    if (at >= 0 && at < order.length) this.choose(order[at], true);
  }

  nextQuestion() {
    const { questions } = this.store.sheet;
    if (!questions.length) {
      this.closeLook();
      say("No questions left.");
      byId("undo").focus();
      return undefined;
    }
    const here = this.look.open ? questions.findIndex((one) => one.about === this.look.question.about) : -1;
    const next = questions[(here + 1) % questions.length];
    this.player.stop();
    return this.look.show(next.about, aspectOf(next));
  }

  closeLook() {
    const id = this.chosen;
    this.look.close();
    if (id && this.store.notes.has(id)) this.choose(id, true);
  }

  /** Marks the note that sounds. */
  follow() {
    if (!this.player.playing) {
      if (this.sounding) this.view.mark("sounding", null);
      this.sounding = null;
      return;
    }
    const id = this.noteSounding(this.player.time);
    if (id === this.sounding) return;
    this.sounding = id;
    this.view.mark("sounding", id);
    if (id && !this.look.open) this.view.reveal(id, false);
  }

  noteSounding(time) {
    const { notes } = this.store.sheet;
    let low = 0;
    let high = notes.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (notes[middle].onset_s <= time + 0.01) low = middle + 1;
      else high = middle;
    }
    const note = notes[low - 1];
    return note && time < note.end_s + 0.03 ? note.id : null;
  }

  tapped() {
    if (!this.player.playing) return;
    this.player.taps = [...this.player.taps, this.player.time];
    this.take.showTaps();
  }

  pressed(event) {
    const typing = event.target.closest("input:not([type=checkbox]):not([type=range]), textarea, select");
    if (event.ctrlKey || event.metaKey) {
      if (event.key.toLowerCase() === "z" && !typing) {
        event.preventDefault();
        if (event.shiftKey) this.edits.redo(); else this.edits.undo();
      }
      return;
    }
    if (event.altKey) return;
    if (event.key === "Escape") {
      if (typing) event.target.blur();
      else if (this.look.open) this.closeLook();
      return;
    }
    if (typing) return;
    const onButton = event.target.closest("button, summary, input");
    if ((event.key === " " || event.key === "Enter") && onButton) return;
    const act = this.actionOf(event);
    if (!act) return;
    event.preventDefault();
    act();
  }

  actionOf(event) {
    const figure = /^Digit(\d)$/.exec(event.code);
    if (figure && this.look.open) {
      const number = Number(figure[1]);
      if (number === 0) return () => this.look.hearMoment();
      return event.shiftKey ? () => this.look.hearReading(number - 1) : () => this.look.take(number - 1);
    }
    const note = this.chosen ? this.store.notes.get(this.chosen) : null;
    const { edits } = this;
    const plain = {
      " ": () => this.hearing.toggle(),
      ArrowLeft: () => this.step(-1),
      ArrowRight: () => this.step(1),
      n: () => this.nextQuestion(),
      z: () => edits.undo(),
      Z: () => edits.redo(),
      a: () => this.look.toggleAlike(),
      r: () => { this.hearing.round.checked = !this.hearing.round.checked; this.hearing.setRound(); },
      c: () => { this.hearing.beat.checked = !this.hearing.beat.checked; this.player.click = this.hearing.beat.checked; },
      t: () => this.tapped(),
      ...(this.attempt && { o: () => this.attempt.changeOver() }),
    };
    if (plain[event.key]) return plain[event.key];
    if (!note) return null;
    const own = {
      Enter: () => this.toggleLook(),
      ArrowUp: () => (event.shiftKey ? edits.otherPlace(note, -1) : edits.pitch(note, 1)),
      ArrowDown: () => (event.shiftKey ? edits.otherPlace(note, 1) : edits.pitch(note, -1)),
      ",": () => edits.shift(note, -1, 16),
      ".": () => edits.shift(note, 1, 16),
      "-": () => edits.longer(note, 0.5),
      "+": () => edits.longer(note, 2),
      h: () => edits.technique(note, "hammer_on"),
      p: () => edits.technique(note, "pull_off"),
      l: () => edits.technique(note, "slide"),
      b: () => edits.technique(note, "bend"),
      v: () => edits.technique(note, "vibrato"),
      s: () => edits.split(note),
      j: () => edits.join(note),
      i: () => edits.insert(note),
      y: () => edits.confirm(note),
      Delete: () => edits.remove(note),
      Backspace: () => edits.remove(note),
    };
    return own[event.key] || null;
  }
}

const page = new Page();
window.page = page;
page.start().catch((error) => notice(`The page could not start: ${error.message}`, { bad: true }));
