// The strip at the foot: what is heard, how fast, the beat, which bars go round.

import { byId, el, notice } from "./dom.js";
import { settle, showIn } from "./fields.js";
import { tappedBeats } from "./player.js";

const SLOWEST = 0.25;
const KINDS = [["take", "the take"], ["draft", "the draft"], ["both", "one in each ear"]];
const OF_DRAFT = ["draft", "both"];

export class Hearing {
  constructor(player, view, hooks) {
    Object.assign(this, { player, view, hooks, own: 120, revision: 0 });
    this.build();
    player.onChange(() => this.showState());
  }

  build() {
    this.playButton = el("button", { id: "play", class: "main", type: "button", onclick: () => this.toggle() }, "Play");
    this.kinds = el("select", { id: "kind", onchange: () => this.choose() },
      KINDS.map(([value, words]) => el("option", { value }, words)));
    this.tempo = el("input", { id: "tempo", type: "number", step: "1", onchange: () => this.setTempo() });
    this.own = el("span", { class: "small seldom" });
    this.making = el("span", { id: "making", class: "small", role: "status", hidden: true }, "its sound is being made…");
    this.beat = el("input", { id: "beat", type: "checkbox", onchange: () => { this.player.click = this.beat.checked; } });
    this.from = el("input", { id: "from", type: "number", min: "0", onchange: () => this.setRound() });
    this.to = el("input", { id: "to", type: "number", min: "0", onchange: () => this.setRound() });
    this.round = el("input", { id: "round", type: "checkbox", onchange: () => this.setRound() });
    this.phrase = el("select", { id: "phrase", onchange: () => this.choosePhrase() });
    this.level = el("input", { id: "level", type: "range", min: "0", max: "1", step: "0.01", value: "0.3",
      "aria-label": "Level", oninput: () => this.player.setLevel(Number(this.level.value)) });
    this.staff = el("input", { id: "staff", type: "checkbox", onchange: () => this.hooks.staff(this.staff.checked) });
    const strip = byId("hearing");
    this.more = el("button", { id: "more", type: "button", "aria-expanded": "false", onclick: () => {
      const all = strip.classList.toggle("all");
      this.more.setAttribute("aria-expanded", String(all));
    } }, "More");
    strip.replaceChildren(
      el("div", { class: "row" },
        this.playButton,
        this.hooks.buttons || [],
        el("label", {}, "hear ", this.kinds),
        this.making,
        el("label", {}, "at ", this.tempo, " BPM ", this.own),
        el("label", { class: "seldom", title: "It starts at a modest level; turn it up as you need." }, "level ", this.level,
          el("span", { class: "small" }, "starts quiet")),
        this.more),
      el("div", { class: "row rarely" },
        el("label", {}, this.beat, "click the beat"),
        el("label", {}, this.round, "round and round: bars "), this.from, el("span", {}, "to"), this.to,
        el("label", {}, "or ", this.phrase),
        el("label", {}, this.staff, "notation staff")));
    this.from.setAttribute("aria-label", "First bar to repeat");
    this.to.setAttribute("aria-label", "Last bar to repeat");
    this.phrase.setAttribute("aria-label", "Phrase to repeat");
  }

  show(sheet) {
    const opening = !this.sheet;
    const slower = this.sheet ? this.player.rate : 1;
    this.sheet = sheet;
    if (opening && sheet.attempt && sheet.attempt.has_sound) this.kinds.append(el("option", { value: "attempt" }, "the attempt"));
    this.player.setBeats(tappedBeats(sheet.timing));
    const numbers = sheet.bars.map((bar) => bar.number);
    const [low, high] = [numbers[0] ?? 1, numbers[numbers.length - 1] ?? 1];
    for (const field of [this.from, this.to]) Object.assign(field, { min: String(low), max: String(high) });
    if (opening) {
      this.from.value = String(low);
      this.to.value = String(Math.min(high, low + 1));
    }
    this.showPhrases(sheet.phrases.map((phrase, at) => [phrase.id, phrase.name || `phrase ${at + 1}`]));
    if (!sheet.take) {
      for (const option of this.kinds.options) option.disabled = !["draft", "attempt"].includes(option.value);
      if (this.kinds.selectedOptions[0].disabled) this.kinds.value = "draft";
    }
    this.showTempo(slower);
    if (this.player.span) this.setRound();
    return this.choose();
  }

  /** A list that somebody has opened stays as it is, unless the phrases are others now. */
  showPhrases(phrases) {
    const listed = JSON.stringify(phrases);
    if (listed === this.listed) return;
    this.listed = listed;
    const chosen = this.phrase.value;
    this.phrase.replaceChildren(el("option", { value: "" }, "a phrase"),
      ...phrases.map(([id, name]) => el("option", { value: id }, name)));
    this.phrase.value = phrases.some(([id]) => id === chosen) ? chosen : "";
  }

  /** The tempo of what is heard: an attempt has its own. */
  showTempo(slower) {
    const { attempt, timing } = this.sheet;
    const other = this.kinds.value === "attempt" && attempt.tempo_bpm;
    this.takeTempo = other || timing.tempo_bpm;
    this.tempo.max = String(Math.round(this.takeTempo));
    this.tempo.min = String(Math.ceil(this.takeTempo * SLOWEST));
    this.own.textContent = `(the ${other ? "attempt" : "take"}: ${Math.round(this.takeTempo)})`;
    showIn(this.tempo, String(Math.round(this.takeTempo * slower)));
  }

  /** Hears another sound from the same moment on. */
  hear(kind) {
    this.kinds.value = kind;
    return this.choose();
  }

  async choose() {
    try {
      this.showTempo(this.player.rate);
      const kind = this.kinds.value;
      await this.player.choose(kind, OF_DRAFT.includes(kind) ? this.sheet.revision : 0);
    } catch (error) {
      notice(error.message, { bad: true, key: "sound" });
    }
  }

  toggle() {
    if (this.player.playing || this.player.waiting) this.player.stop();
    else this.player.play().catch((error) => notice(error.message, { bad: true, key: "sound" }));
  }

  setTempo() {
    const wanted = Math.min(Math.max(Number(this.tempo.value) || this.takeTempo, this.takeTempo * SLOWEST), this.takeTempo);
    settle(this.tempo, String(Math.round(wanted)));
    const rate = Math.round(wanted) >= Math.round(this.takeTempo) ? 1 : wanted / this.takeTempo;
    this.player.setRate(rate);
  }

  setRound() {
    if (!this.round.checked) {
      this.player.setSpan(null);
      this.view.setRound(null, null);
      return;
    }
    const first = Number(this.from.value);
    const last = Math.max(first, Number(this.to.value));
    this.to.value = String(last);
    const inside = this.sheet.bars.filter((bar) => bar.number >= first && bar.number <= last);
    if (!inside.length) return;
    const end = Math.min(inside[inside.length - 1].ends_s, this.sheet.source.duration_s - 0.02);
    this.player.setSpan([Math.max(inside[0].starts_s, 0), end]);
    this.view.setRound(first, last);
    this.phrase.value = "";
  }

  choosePhrase() {
    const phrase = this.sheet.phrases.find((one) => one.id === this.phrase.value);
    if (!phrase) return;
    this.round.checked = true;
    this.player.setSpan([Math.max(phrase.start_s - 0.05, 0), Math.min(phrase.end_s, this.sheet.source.duration_s - 0.02)]);
    const bars = this.sheet.bars.filter((bar) => bar.ends_s > phrase.start_s && bar.starts_s < phrase.end_s);
    if (bars.length) this.view.setRound(bars[0].number, bars[bars.length - 1].number);
  }

  showState() {
    const { playing, waiting, kind } = this.player;
    this.playButton.textContent = playing || waiting ? "Stop" : "Play";
    this.playButton.setAttribute("aria-pressed", String(Boolean(playing || waiting)));
    this.making.hidden = !waiting || kind === "take";
  }
}
