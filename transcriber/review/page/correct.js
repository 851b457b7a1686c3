// Correcting by hand: everything about one note, its phrase and its chord, in fields.

import { byId, el } from "./dom.js";
import { showIn } from "./fields.js";

export const KINDS = [["hammer_on", "hammer-on"], ["pull_off", "pull-off"], ["slide", "slide to it"],
  ["slide_in", "slide in"], ["slide_out", "slide out"], ["bend", "bend"], ["pre_bend", "pre-bend"],
  ["release", "release"], ["vibrato", "vibrato"], ["trill", "trill"], ["palm_mute", "palm mute"],
  ["dead_note", "dead note"], ["natural_harmonic", "natural harmonic"], ["staccato", "staccato"],
  ["let_ring", "let ring"], ["grace", "grace"]];
const AMOUNTS = [[0.5, "¼ tone"], [1, "½ tone"], [1.5, "¾ tone"], [2, "full"], [3, "1½ tones"], [4, "2 tones"]];
const FALLS = [[0, "to the fret"], [1, "to ½ tone"], [2, "to full"]];
const VALUES = [[1, 1, "whole"], [3, 4, "dotted half"], [1, 2, "half"], [3, 8, "dotted quarter"], [1, 4, "quarter"],
  [1, 6, "triplet quarter"], [3, 16, "dotted eighth"], [1, 8, "eighth"], [1, 12, "triplet eighth"],
  [1, 16, "sixteenth"], [1, 24, "triplet sixteenth"], [1, 32, "thirty-second"]];

function reduced(top, bottom) {
  const common = (a, b) => (b ? common(b, a % b) : a);
  const by = common(Math.abs(top), bottom) || 1;
  return bottom / by === 1 ? String(top / by) : `${top / by}/${bottom / by}`;
}

function fraction(text) {
  const [top, bottom = "1"] = String(text).split("/");
  return [Number(top), Number(bottom)];
}

export function plus(text, top, bottom) {
  const [a, b] = fraction(text);
  return reduced(a * bottom + top * b, b * bottom);
}

export function valueOf(text) {
  const [a, b] = fraction(text);
  return a / b;
}

/** Gives a technique what its kind needs, from the note it stands on. */
function newTechnique(kind, note) {
  const times = { start_s: note.onset_s, end_s: note.end_s };
  if (kind === "bend") return { kind, ...times, semitones: 2 };
  if (kind === "pre_bend") return { kind, start_s: note.onset_s, end_s: note.onset_s, semitones: 2 };
  if (kind === "release") {
    const middle = Math.round((note.onset_s + note.end_s) * 5000) / 10000;
    return { kind, start_s: middle, end_s: note.end_s, semitones: 0 };
  }
  if (kind === "vibrato") return { kind, ...times, rate_hz: 5.3, depth_semitones: 0.4 };
  if (kind === "slide") return { kind, picked: false };
  if (kind === "slide_in") return { kind, direction: "up" };
  if (kind === "slide_out") return { kind, direction: "down" };
  if (kind === "trill") return { kind, to_fret: (note.fret ?? 0) + 2 };
  return { kind };
}

const ARRIVALS = ["hammer_on", "pull_off", "slide"];

/** The techniques of a note with one kind put on or taken off. */
export function toggled(note, kind) {
  const has = note.techniques.some((one) => one.kind === kind);
  if (has) return note.techniques.filter((one) => one.kind !== kind);
  const rest = note.techniques.filter((one) => !(ARRIVALS.includes(kind) && ARRIVALS.includes(one.kind)));
  return [...rest, newTechnique(kind, note)];
}

function pick(id, label, options, chosen, act) {
  const select = el("select", { id, "aria-label": label, onchange: () => act(select.value) },
    options.map(([value, words]) => el("option", { value: String(value) }, words)));
  select.value = String(chosen);
  return select;
}

/** A field that shows a value of the draft. It is read by its id, as the page may be drawn anew around it. */
function filled(element, value) {
  showIn(element, value);
  return element;
}

function valueAt(id) {
  return byId(id).value.trim();
}

function group(name, ...children) {
  return el("fieldset", {}, el("legend", {}, name), el("div", { class: "row" }, children));
}

export function noteForm(store, note, hooks) {
  const edit = hooks.edits;
  return el("div", { class: "fields" },
    pitchFields(store, note, edit), rhythmFields(store, note, edit), techniqueFields(note, edit),
    wholeFields(store, note, edit), phraseFields(store, note, edit), remarkFields(note, edit));
}

function pitchFields(store, note, edit) {
  const { open_midi: open, highest_fret: highest } = store.sheet.instrument;
  const places = open
    .map((midi, at) => ({ string: at + 1, fret: (note.pitch_midi ?? 0) - midi }))
    .filter((place) => place.fret >= 0 && place.fret <= highest);
  const around = el("input", { type: "checkbox", id: "around-place" });
  const put = (place) => edit.place(note, place.string, place.fret, byId("around-place").checked);
  const buttons = places.map((place) => el("button", { type: "button", "data-place": `${place.string}/${place.fret}`,
    "aria-pressed": String(place.string === note.string && place.fret === note.fret), onclick: () => put(place) },
  `string ${place.string}, fret ${place.fret}`));
  const string = filled(el("input", { type: "number", min: "1", max: String(open.length), id: "on-string", "aria-label": "String" }),
    String(note.string ?? 1));
  const fret = filled(el("input", { type: "number", min: "0", max: String(highest), id: "at-fret", "aria-label": "Fret" }),
    String(note.fret ?? 0));
  return group("Pitch and place",
    el("span", {}, note.name),
    el("button", { type: "button", onclick: () => edit.pitch(note, -1) }, "half-tone lower"),
    el("button", { type: "button", onclick: () => edit.pitch(note, 1) }, "half-tone higher"),
    buttons,
    el("label", {}, around, "finger the phrase around it"),
    el("label", {}, "string ", string), el("label", {}, "fret ", fret),
    el("button", { type: "button", onclick: () => edit.fretted(note, Number(valueAt("on-string")), Number(valueAt("at-fret"))) }, "Set"));
}

function rhythmFields(store, note, edit) {
  const { unit } = store.sheet.timing;
  const lengths = VALUES.map(([top, bottom, words]) => [reduced(top * unit, bottom), words]);
  if (!lengths.some(([value]) => value === note.length) && note.length !== "0") lengths.unshift([note.length, `${note.length} beats`]);
  const bar = filled(el("input", { type: "number", min: "0", id: "bar", "aria-label": "Bar" }), String(note.bar));
  const beat = filled(el("input", { class: "brief", id: "beat-place", "aria-label": "Beat, such as 5/2", pattern: "[1-9][0-9]*(/[1-9][0-9]*)?" }), note.beat);
  const around = el("input", { type: "checkbox", id: "around-rhythm" });
  const length = el("select", { "aria-label": "Length", id: "length" },
    (note.length === "0" ? [["0", "grace"]] : lengths).map(([value, words]) => el("option", { value }, words)));
  showIn(length, note.length);
  const set = () => edit.rhythm(note, Number(valueAt("bar")), valueAt("beat-place"), valueAt("length"), byId("around-rhythm").checked);
  return group("Rhythm",
    el("label", {}, "bar ", bar), el("label", {}, "beat ", beat), length,
    el("label", {}, around, "and the notes around it again"),
    el("button", { type: "button", id: "set-rhythm", onclick: set }, "Set"),
    el("button", { type: "button", onclick: () => edit.nudge(note, -0.01), "aria-label": "Begins 10 milliseconds earlier" }, "10 ms earlier"),
    el("button", { type: "button", onclick: () => edit.nudge(note, 0.01), "aria-label": "Begins 10 milliseconds later" }, "10 ms later"));
}

function techniqueFields(note, edit) {
  const listed = note.techniques.map((one, at) => {
    const id = `${one.kind}-${at}`;
    const change = (changed) => edit.changeTechnique(note, one, changed);
    const words = (KINDS.find(([kind]) => kind === one.kind) || [one.kind, one.kind])[1];
    const parts = [el("span", {}, words)];
    if (one.kind === "bend" || one.kind === "pre_bend") parts.push(pick(`${id}-height`, `Height of the ${words}`, amounts(one.semitones), one.semitones, (value) => change({ semitones: Number(value) })));
    if (one.kind === "release") parts.push(pick(`${id}-height`, `Height of the ${words}`, falls(one.semitones), one.semitones, (value) => change({ semitones: Number(value) })));
    if (one.kind === "slide") parts.push(check(`${id}-picked`, "picked again", one.picked, (on) => change({ picked: on })));
    if (one.direction) parts.push(pick(`${id}-way`, `Way of the ${words}`, [["up", "up"], ["down", "down"]], one.direction, (value) => change({ direction: value })));
    if (one.kind === "trill") parts.push(number(`${id}-fret`, "with fret ", one.to_fret, 0, 36, (value) => change({ to_fret: value })));
    if (one.kind === "vibrato") parts.push(number(`${id}-depth`, "depth, half-tones ", one.depth_semitones, 0, 4, (value) => change({ depth_semitones: value }), "0.1"));
    parts.push(check(`${id}-optional`, "optional", Boolean(one.optional), (on) => change({ optional: on })));
    parts.push(el("button", { type: "button", "aria-label": `Remove ${words}`,
      onclick: () => edit.removeTechnique(note, one) }, "Remove"));
    return el("div", { class: "row" }, parts);
  });
  const free = KINDS.filter(([kind]) => !note.techniques.some((one) => one.kind === kind));
  const add = el("select", { id: "add-technique", "aria-label": "Add a technique", onchange: () => add.value && edit.technique(note, add.value) },
    el("option", { value: "" }, "add…"), free.map(([kind, words]) => el("option", { value: kind }, words)));
  return group("How it is played", listed.length ? listed : el("span", {}, "picked"), add);
}

function amounts(own) {
  if (AMOUNTS.some(([value]) => value === own)) return AMOUNTS;
  const near = [...AMOUNTS].sort((a, b) => Math.abs(a[0] - own) - Math.abs(b[0] - own))[0];
  return [[own, `${near[1]} (heard: ${(own / 2).toFixed(2)} tones)`], ...AMOUNTS];
}

function falls(own) {
  return FALLS.some(([value]) => value === own) ? FALLS : [[own, `to ${own} half-tones`], ...FALLS];
}

function check(id, words, on, act) {
  const box = el("input", { type: "checkbox", id, checked: Boolean(on), onchange: () => act(box.checked) });
  return el("label", {}, box, words);
}

function number(id, words, value, low, high, act, step = "1") {
  const box = filled(el("input", { type: "number", id, min: String(low), max: String(high), step, onchange: () => act(Number(box.value)) }), String(value));
  return el("label", {}, words, box);
}

function wholeFields(store, note, edit) {
  const act = (name, words, key) => el("button", { type: "button", id: name, onclick: () => edit[name](note) }, words, " ", el("kbd", {}, key));
  return group("The note itself", act("split", "Part in two", "S"), act("join", "Join with the next", "J"),
    act("insert", "Insert a note after it", "I"), act("remove", "Delete", "Del"), act("confirm", "All of it is right", "Y"));
}

function phraseFields(store, note, edit) {
  const phrase = store.sheet.phrases.find((one) => one.start_s <= note.onset_s && note.onset_s < one.end_s);
  const parts = [];
  if (phrase) {
    const name = filled(el("input", { "aria-label": "Name of the phrase", placeholder: "name", id: "phrase-name" }), phrase.name);
    const remark = filled(el("input", { "aria-label": "Remark on the phrase", placeholder: "remark on the phrase", id: "phrase-remark" }), phrase.remark || "");
    parts.push(name, remark, el("button", { type: "button", id: "set-phrase",
      onclick: () => edit.phrase(phrase, valueAt("phrase-name"), valueAt("phrase-remark")) }, "Keep"));
    if (phrase.first_note !== note.id) parts.push(el("button", { type: "button", onclick: () => edit.cutPhrase(phrase, note) }, "A phrase begins here"));
  } else {
    parts.push(el("button", { type: "button", onclick: () => edit.newPhrase(note) }, "A phrase begins here"));
  }
  const at = store.sheet.chords.find((one) => one.bar === note.bar && one.beat === note.beat);
  const chord = filled(el("input", { class: "brief", "aria-label": "Chord from this note on", placeholder: "Am7", id: "chord" }), at ? at.name : "");
  parts.push(el("label", {}, "chord from here ", chord), el("button", { type: "button", id: "set-chord", onclick: () => edit.chord(note, valueAt("chord")) }, "Keep"));
  return group("Phrase and chord", parts);
}

function remarkFields(note, edit) {
  const text = filled(el("textarea", { "aria-label": "Remark on the note", id: "remark" }), note.remark || "");
  return group("Your remark", text, el("button", { type: "button", id: "set-remark", onclick: () => edit.remark(note, valueAt("remark")) }, "Keep"));
}
