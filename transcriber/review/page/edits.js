// Every correction a person can make, as what is sent to the journal.
//
// What is sent is worked out when its turn comes, from the newest draft: a second key pressed before the first was
// answered goes on from what the first made of the note.

import { plus, toggled, valueOf } from "./correct.js";
import { placeOf, timeOf } from "./player.js";

const SHORTEST_S = 0.03;
// Where these lie does not follow from their pitch.
const FREE_KINDS = ["natural_harmonic", "dead_note"];

export function makeEdits(store, send) {
  const newest = (given) => store.notes.get(given?.id) || store.sheet.phrases.find((one) => one.id === given?.id) || given;
  return Object.fromEntries(Object.entries(changesOf(store))
    .map(([name, make]) => [name, (...given) => send(() => make(...given.map(newest)))]));
}

/** For each correction, what is to be sent: where to, what, and what is said of it; nothing where none is due. */
function changesOf(store) {
  const keep = (corrections, words) => ({ path: "keep", body: { corrections }, words });
  const change = (body, words) => ({ path: "change", body, words });
  const one = (note, action, values, words) => keep([{ action, note: note.id, values }], words);
  const after = (note) => store.notes.get(store.order[store.order.indexOf(note.id) + 1]);
  const places = (midi) => store.sheet.instrument.open_midi
    .map((open, at) => ({ string: at + 1, fret: midi - open }))
    .filter((place) => place.fret >= 0 && place.fret <= store.sheet.instrument.highest_fret);
  const middle = (note) => Math.round(((note.onset_s + note.end_s) / 2) * 1e4) / 1e4;

  const edits = {
    pitch(note, step) {
      const midi = (note.pitch_midi ?? 60) + step;
      const near = places(midi).sort((a, b) => (a.string !== note.string) - (b.string !== note.string) ||
        Math.abs(a.fret - (note.fret ?? 0)) - Math.abs(b.fret - (note.fret ?? 0)))[0];
      return one(note, "change_note", { pitch_midi: midi, ...near }, step > 0 ? "Higher." : "Lower.");
    },
    place(note, string, fret, around) {
      const words = `String ${string}, fret ${fret}.`;
      if (around) return change({ kind: "refinger", note: note.id, string, fret }, words);
      // The string alone keeps the pitch, and finds its fret anew should the take be drafted with another capo or tuning.
      const free = note.pitch_midi === null || note.techniques.some(({ kind }) => FREE_KINDS.includes(kind));
      return one(note, "change_note", free ? { string, fret } : { string }, words);
    },
    fretted: (note, string, fret) => one(note, "change_note", { string, fret }, `String ${string}, fret ${fret}.`),
    otherPlace(note, step) {
      const found = places(note.pitch_midi ?? -1);
      const at = found.findIndex((place) => place.string === note.string);
      const place = found[(at + step + found.length) % found.length];
      return place && found.length > 1 ? edits.place(note, place.string, place.fret, false) : undefined;
    },
    rhythm: (note, bar, beat, length, around) => change({ kind: "rhythm", note: note.id, bar, beat, length, around },
      `Bar ${bar}, beat ${beat}.`),
    shift(note, top, bottom) {
      const { beats, unit } = store.sheet.timing;
      let beat = plus(note.beat, top * unit, bottom);
      let { bar } = note;
      if (valueOf(beat) < 1) { beat = plus(beat, beats, 1); bar -= 1; }
      if (valueOf(beat) >= beats + 1) { beat = plus(beat, -beats, 1); bar += 1; }
      return edits.rhythm(note, bar, beat, note.length, false);
    },
    longer(note, factor) {
      const [top, bottom = "1"] = note.length.split("/");
      const length = factor > 1 ? plus("0", Number(top) * 2, Number(bottom)) : plus("0", Number(top), Number(bottom) * 2);
      return edits.rhythm(note, note.bar, note.beat, length, false);
    },
    nudge(note, step) {
      const onset = Math.max(0, Math.round((note.onset_s + step) * 1e4) / 1e4);
      return one(note, "change_note", { onset_s: Math.min(onset, note.end_s - SHORTEST_S) }, "Moved.");
    },
    techniques: (note, techniques) => one(note, "replace_techniques", { techniques }, "How it is played was changed."),
    technique: (note, kind) => edits.techniques(note, toggled(note, kind)),
    changeTechnique(note, old, changed) {
      const at = standsAt(note, old);
      const listed = note.techniques.map((each, index) => (index === at ? { ...each, ...changed } : each));
      return at < 0 ? undefined : edits.techniques(note, listed);
    },
    removeTechnique(note, old) {
      const at = standsAt(note, old);
      return at < 0 ? undefined : edits.techniques(note, note.techniques.filter((_, index) => index !== at));
    },
    split(note) {
      const half = plus(plus("0", ...halfOf(note.length)), 0, 1);
      const [bar, beat] = moved(note, half);
      return one(note, "split_note", { at_s: middle(note), bar, beat }, "Parted in two.");
    },
    join(note) {
      const next = after(note);
      return next ? one(note, "merge_notes", { notes: [next.id] }, "Joined with the next.") : undefined;
    },
    insert(note) {
      const { timing } = store.sheet;
      const next = after(note);
      const end = placeOf(note, timing) + valueOf(note.length);
      const room = next ? placeOf(next, timing) - end : timing.beats;
      if (note.length !== "0" && room > 0.05) return intoRest(note, next, room);
      const half = plus("0", ...halfOf(note.length));
      const [bar, beat] = moved(note, half);
      return keep([
        { action: "change_note", note: note.id, values: { length: half, end_s: middle(note) } },
        { action: "add_note", values: { onset_s: middle(note), end_s: note.end_s, ...placed(note), bar, beat, length: half } },
      ], "A note was inserted.");
    },
    remove: (note) => one(note, "remove_note", {}, "Deleted."),
    confirm: (note) => one(note, "confirm_note", {}, "All of it is right."),
    remark: (note, text) => one(note, "set_remark", { remark: text.trim() || null }, "The remark is kept."),
    phrase: (phrase, name, remark) => keep([{ action: "set_phrase", phrase: phrase.id,
      values: { name: name.trim(), remark: remark.trim() || null } }], "The phrase is kept."),
    cutPhrase(phrase, note) {
      const taken = new Set(store.sheet.phrases.map((other) => other.id));
      let number = store.sheet.phrases.length + 1;
      while (taken.has(`p${number}`)) number += 1;
      return keep([
        { action: "set_phrase", phrase: phrase.id, values: { end_s: note.onset_s } },
        { action: "set_phrase", phrase: `p${number}`, values: { start_s: note.onset_s, end_s: phrase.end_s } },
      ], "A phrase begins here.");
    },
    newPhrase(note) {
      const next = store.sheet.phrases.find((phrase) => phrase.start_s > note.onset_s);
      const end = next ? next.start_s : store.sheet.source.duration_s;
      return keep([{ action: "set_phrase", phrase: `p${store.sheet.phrases.length + 1}`,
        values: { start_s: note.onset_s, end_s: end } }], "A phrase begins here.");
    },
    chord(note, name) {
      const { beats } = store.sheet.timing;
      const plain = ({ name: own, bar, beat, length }) => ({ name: own, bar, beat, length });
      const rest = store.sheet.chords.filter((other) => other.bar !== note.bar || other.beat !== note.beat).map(plain);
      if (name) rest.push({ name, bar: note.bar, beat: note.beat, length: String(beats) });
      rest.sort((a, b) => a.bar - b.bar || valueOf(a.beat) - valueOf(b.beat));
      return keep([{ action: "set_chords", values: { chords: rest } }], "The chord is kept.");
    },
    key: (key) => keep([{ action: "set_key", values: { key } }], "The key is kept."),
    retime: (tempo, meter) => change({ kind: "retime", tempo_bpm: tempo, meter }, "The rhythm was written anew."),
    downbeat: (times) => change({ kind: "downbeat", times_s: times }, "The bar lines were moved."),
    undo: () => ({ path: "undo", body: {}, words: "Taken back." }),
    redo: () => ({ path: "redo", body: {}, words: "Done again." }),
  };

  /** Where a technique stands that was seen on a note, though it may have been changed since. */
  function standsAt(note, old) {
    const same = note.techniques.findIndex((each) => JSON.stringify(each) === JSON.stringify(old));
    return same < 0 ? note.techniques.findIndex((each) => each.kind === old.kind) : same;
  }

  function placed({ pitch_midi, string, fret }) {
    return { pitch_midi, string, fret };
  }

  /** Puts a note into the rest behind another: as long as the rest, and at most as long as the note before. */
  function intoRest(note, next, room) {
    const [bar, beat] = moved(note, note.length);
    const length = next && room < valueOf(note.length) ? between(note, next) : note.length;
    const start = timeOf(placeOf(note, store.sheet.timing) + valueOf(note.length), store.sheet.timing);
    const onset = Math.round(start * 1e4) / 1e4;
    const limit = next ? next.onset_s : store.sheet.source.duration_s;
    const end = Math.min(limit, onset + Math.max(note.end_s - note.onset_s, 0.05));
    const values = { onset_s: onset, end_s: Math.round(end * 1e4) / 1e4, ...placed(note), bar, beat, length };
    const cut = note.end_s > onset ? [{ action: "change_note", note: note.id, values: { end_s: onset } }] : [];
    return keep([...cut, { action: "add_note", values }], "A note was inserted.");
  }

  /** Written time between the end of a note and the start of the next, exact. */
  function between(note, next) {
    const { beats } = store.sheet.timing;
    const [bar, beat] = moved(note, note.length);
    const [top, bottom = "1"] = beat.split("/");
    return plus(plus(next.beat, (next.bar - bar) * beats, 1), -Number(top), Number(bottom));
  }

  function halfOf(length) {
    const [top, bottom = "1"] = String(length).split("/");
    return [Number(top), Number(bottom) * 2];
  }

  function moved(note, by) {
    const [top, bottom = "1"] = String(by).split("/");
    const { beats } = store.sheet.timing;
    const beat = plus(note.beat, Number(top), Number(bottom));
    return valueOf(beat) >= beats + 1 ? [note.bar + 1, plus(beat, -beats, 1)] : [note.bar, beat];
  }

  return edits;
}
