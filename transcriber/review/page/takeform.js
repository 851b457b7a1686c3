// What concerns the whole take: tempo, meter, bar lines by tapping, key; what the draft noticed; the keys.

import { byId, el } from "./dom.js";

const MODES = ["major", "minor", "dorian", "phrygian", "lydian", "mixolydian", "locrian"];
const TONICS = ["C", "C#", "Db", "D", "Eb", "E", "F", "F#", "Gb", "G", "Ab", "A", "Bb", "B"];
const KEYS = [["Space", "play, stop"], ["← →", "note before, note after"], ["Enter", "closer look at the note"],
  ["N", "next question"], ["1 to 5", "take a reading and go on"], ["Shift 1 to 5", "hear a reading"],
  ["0", "hear the take at this moment"], ["A", "the same answer for all alike"], ["Y", "all of the note is right"],
  ["Esc", "close"], ["Z, Shift Z", "undo, redo"], ["↑ ↓", "half-tone higher, lower"],
  ["Shift ↑ ↓", "another string, same pitch"], [", .", "a sixteenth earlier, later"], ["- +", "half as long, twice as long"],
  ["H P L B V", "hammer-on, pull-off, slide, bend, vibrato: on or off"], ["S J I Del", "part, join, insert, delete"],
  ["R", "round and round"], ["C", "click the beat"], ["T", "tap a first beat while it plays"]];

export function takeForm(store, player, edits) {
  const { sheet } = store;
  const tempo = el("input", { type: "number", min: "20", max: "400", step: "0.1", value: String(Math.round(sheet.timing.tempo_bpm * 10) / 10), id: "new-tempo" });
  const meter = el("input", { class: "brief", value: sheet.timing.meter, id: "new-meter" });
  const tonic = el("select", { id: "tonic", "aria-label": "Tonic" }, el("option", { value: "" }, "no key"), TONICS.map((one) => el("option", { value: one }, one)));
  const mode = el("select", { id: "mode", "aria-label": "Mode" }, MODES.map((one) => el("option", { value: one }, one)));
  tonic.value = sheet.key ? sheet.key.tonic : "";
  mode.value = sheet.key ? sheet.key.mode : "major";
  const open = byId("take-details");
  const noticed = sheet.issues.length + sheet.problems.length;
  const details = el("details", { id: "take-details", open: Boolean(open && open.open) },
    el("summary", {}, noticed ? `The whole take (${noticed} to look at)` : "The whole take"),
    el("div", { class: "fields" },
      el("fieldset", {}, el("legend", {}, "Tempo and meter"), el("div", { class: "row" },
        el("label", {}, "tempo ", tempo), el("label", {}, "meter ", meter),
        el("button", { type: "button", id: "set-timing", onclick: () => edits.retime(Number(tempo.value), meter.value.trim()) }, "Write the rhythm anew"))),
      el("fieldset", {}, el("legend", {}, "Bar lines"), el("div", { class: "row" },
        el("span", { class: "small" }, "Play, and press T on the first beat of a bar, once or more."),
        el("span", { id: "taps" }, "no taps yet"),
        el("button", { type: "button", id: "set-downbeat", onclick: () => edits.downbeat(player.taps || []) }, "Put the bar lines there"))),
      el("fieldset", {}, el("legend", {}, "Key"), el("div", { class: "row" }, tonic, mode,
        el("button", { type: "button", id: "set-key", onclick: () => edits.key(tonic.value ? { tonic: tonic.value, mode: mode.value } : null) }, "Keep"))),
      sheet.issues.length || sheet.problems.length
        ? el("fieldset", {}, el("legend", {}, "What the draft noticed"), el("ul", {},
          [...sheet.issues.map((one) => one.message), ...sheet.problems].map((text) => el("li", {}, text))))
        : null));
  const keys = el("details", {}, el("summary", {}, "Keys"),
    el("ul", { id: "keys" }, KEYS.map(([key, words]) => el("li", {}, el("kbd", {}, key), ` ${words}`))));
  byId("take-wide").replaceChildren(details, keys);
}
