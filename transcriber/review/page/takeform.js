// What concerns the whole take: tempo, meter, bar lines by tapping, key; what the draft noticed; the keys.

import { byId, el } from "./dom.js";
import { give, showIn } from "./fields.js";

const MODES = ["major", "minor", "dorian", "phrygian", "lydian", "mixolydian", "locrian"];
const TONICS = ["C", "C#", "Db", "D", "Eb", "E", "F", "F#", "Gb", "G", "Ab", "A", "Bb", "B"];
const KEYS = [["Space", "play, stop"], ["← →", "note before, note after"], ["Enter", "closer look at the note"],
  ["N", "next question"], ["1 to 5", "take a reading and go on"], ["Shift 1 to 5", "hear a reading"],
  ["0", "hear the take at this moment"], ["A", "the same answer for all alike"], ["Y", "all of the note is right"],
  ["Esc", "close"], ["Z, Shift Z", "undo, redo"], ["↑ ↓", "half-tone higher, lower"],
  ["Shift ↑ ↓", "another string, same pitch"], [", .", "a sixteenth earlier, later"], ["- +", "half as long, twice as long"],
  ["H P L B V", "hammer-on, pull-off, slide, bend, vibrato: on or off"], ["S J I Del", "part, join, insert, delete"],
  ["R", "round and round"], ["C", "click the beat"], ["T", "tap a first beat while it plays"],
  ["O", "over an attempt: change over between it and the take"]];

export class TakeForm {
  /** Is put together once and shows each new sheet in place, so that nothing typed or focused is lost. */
  constructor(store, player, edits) {
    Object.assign(this, { store, player, edits });
    this.tempo = el("input", { type: "number", min: "20", max: "400", step: "0.1", id: "new-tempo" });
    this.meter = el("input", { class: "brief", id: "new-meter" });
    this.tonic = el("select", { id: "tonic", "aria-label": "Tonic" }, el("option", { value: "" }, "no key"),
      TONICS.map((one) => el("option", { value: one }, one)));
    this.mode = el("select", { id: "mode", "aria-label": "Mode" }, MODES.map((one) => el("option", { value: one }, one)));
    this.heading = el("summary", {});
    this.taps = el("span", { id: "taps" });
    this.noticed = el("fieldset", { hidden: true });
    byId("take-wide").replaceChildren(this.details(), this.keys());
    this.showTaps();
  }

  details() {
    const act = (id, words, onclick) => el("button", { type: "button", id, onclick }, words);
    const group = (name, ...parts) => el("fieldset", {}, el("legend", {}, name), el("div", { class: "row" }, parts));
    return el("details", { id: "take-details" }, this.heading, el("div", { class: "fields" },
      group("Tempo and meter", el("label", {}, "tempo ", this.tempo), el("label", {}, "meter ", this.meter),
        act("set-timing", "Write the rhythm anew", () => this.giveTiming())),
      group("Bar lines", el("span", { class: "small" }, "Play, and press T on the first beat of a bar, once or more."),
        this.taps, act("set-downbeat", "Put the bar lines there", () => this.giveTaps())),
      group("Key", this.tonic, this.mode, act("set-key", "Keep", () => this.giveKey())),
      this.noticed));
  }

  keys() {
    return el("details", {}, el("summary", {}, "Keys"),
      el("ul", { id: "keys" }, KEYS.map(([key, words]) => el("li", {}, el("kbd", {}, key), ` ${words}`))));
  }

  show(sheet) {
    const { timing, key } = sheet;
    showIn(this.tempo, String(Math.round(timing.tempo_bpm * 10) / 10));
    showIn(this.meter, timing.meter);
    showIn(this.tonic, key ? key.tonic : "");
    showIn(this.mode, key ? key.mode : "major");
    const noticed = [...sheet.issues.map((one) => one.message), ...sheet.problems];
    this.heading.textContent = noticed.length ? `The whole take (${noticed.length} to look at)` : "The whole take";
    this.noticed.hidden = !noticed.length;
    this.noticed.replaceChildren(el("legend", {}, "What the draft noticed"),
      el("ul", {}, noticed.map((text) => el("li", {}, text))));
  }

  showTaps() {
    const { length } = this.player.taps;
    this.taps.textContent = length ? `${length} tapped` : "no taps yet";
  }

  giveTiming() {
    const { tempo, meter } = this;
    return give([tempo, meter], () => this.edits.retime(Number(tempo.value), meter.value.trim()));
  }

  giveKey() {
    const { tonic, mode } = this;
    const key = tonic.value ? { tonic: tonic.value, mode: mode.value } : null;
    return give([tonic, mode], () => this.edits.key(key));
  }

  async giveTaps() {
    const { taps } = this.player;
    if (!(await this.edits.downbeat(taps)) || this.player.taps !== taps) return;
    // They are said; those of another try begin anew.
    this.player.taps = [];
    this.showTaps();
  }
}
