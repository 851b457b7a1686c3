// The sheet: bars laid out in lines and drawn with VexFlow, the signs of the trade drawn over them.

import { drawSigns } from "./signs.js";

const STRING_GAP = 13;
// Room above a line: for bar numbers and cues; for bends; and over these for chords, then names of phrases.
const ABOVE = { bare: 38, bent: 56, chords: 68, names: 82 };
const BELOW_TAB = 72;
// Under a staff the tab has no stems.
const BARE_BELOW = 40;
const STAFF_HEIGHT = 118;
const LEAD = 18;
const GRACE_SIZE = 6.5;
const GRACE_GAP = 14;
const CLEF_WIDTH = 34;
const METER_WIDTH = 26;
const WIDTHS = { 1: 46, 2: 42, 4: 36, 8: 30, 16: 26, 32: 24, 64: 22 };

const NAMES = { 1: "w", 2: "h", 4: "q", 8: "8", 16: "16", 32: "32", 64: "64" };
const SHARP_KEYS = ["c", "c#", "d", "d#", "e", "f", "f#", "g", "g#", "a", "a#", "b"];
const FLAT_KEYS = ["c", "db", "d", "eb", "e", "f", "gb", "g", "ab", "a", "bb", "b"];
const MODE_STEPS = { major: 0, minor: 3, dorian: 10, phrygian: 8, lydian: 7, mixolydian: 5, locrian: 1 };
const SIGNATURES = ["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"];
const LETTERS = { C: 0, D: 2, E: 4, F: 5, G: 7, A: 9, B: 11 };

/** Parts the bars into lines that fill the width; gives for each its bars and their widths. */
export function layOut(sheet, width, options) {
  const lines = [];
  let bars = [];
  let taken = 0;
  sheet.bars.forEach((bar, index) => {
    const first = bars.length === 0;
    const wanted = wantedWidth(sheet, bar, first, index === 0, options);
    if (!first && taken + wanted > width) {
      lines.push({ bars, taken });
      bars = [];
      taken = 0;
    }
    const own = bars.length === 0 ? wantedWidth(sheet, bar, true, index === 0, options) : wanted;
    bars.push({ index, wanted: own });
    taken += own;
  });
  if (bars.length) lines.push({ bars, taken });
  return lines.map((line, place) => {
    const last = place === lines.length - 1;
    const stretch = last && line.taken < 0.7 * width ? 1.15 : width / line.taken;
    return {
      bars: line.bars.map((bar) => ({ index: bar.index, width: Math.min(bar.wanted * stretch, width) })),
      ...heights(sheet, line.bars, options),
    };
  });
}

function heights(sheet, bars, options) {
  const shown = new Set();
  let above = ABOVE.bare;
  for (const { index } of bars) {
    const bar = sheet.bars[index];
    for (const piece of bar.pieces) {
      const event = piece.event === null ? null : sheet.events[piece.event];
      if (event) [...event.notes, ...event.graces].forEach((id) => shown.add(id));
    }
    const chorded = (sheet.chords || []).some((one) => one.start >= bar.start && one.start < bar.start + bar.length);
    if (chorded) above = Math.max(above, ABOVE.chords);
  }
  if ([...shown].some((id) => options.notes.get(id).techniques.length)) above = Math.max(above, ABOVE.bent);
  if ((sheet.phrases || []).some((one) => one.name && shown.has(one.first_note))) above = ABOVE.names;
  const strings = (sheet.instrument.open_midi.length - 1) * STRING_GAP;
  return { above, height: above + strings + (options.staff ? BARE_BELOW + STAFF_HEIGHT : BELOW_TAB) };
}

function wantedWidth(sheet, bar, first, opening, options) {
  let width = LEAD + (first ? CLEF_WIDTH : 0) + (opening ? METER_WIDTH : 0);
  if (first && options.staff && sheet.key) width += 40;
  for (const piece of bar.pieces) {
    width += WIDTHS[piece.value] || 24;
    if (piece.event === null) continue;
    const event = sheet.events[piece.event];
    width += 18 * event.graces.length;
    for (const id of event.notes) {
      const kinds = options.notes.get(id).techniques.map((one) => one.kind);
      if (kinds.includes("bend") || kinds.includes("pre_bend")) width += 14;
      if (kinds.includes("release")) width += 12;
      if (kinds.includes("slide_in") || kinds.includes("slide_out")) width += 8;
    }
  }
  return Math.max(width, 64);
}

/** Draws some bars into an element. Gives back where each note stands, to mark and to click. */
export function drawLine(host, sheet, line, options) {
  const V = window.VexFlow;
  const renderer = new V.Renderer(host, V.Renderer.Backends.SVG);
  const width = line.bars.reduce((sum, bar) => sum + bar.width, 0);
  renderer.resize(width + 1, line.height);
  const context = renderer.getContext();
  const svg = host.querySelector("svg");
  svg.setAttribute("class", "notes");
  svg.setAttribute("role", "presentation");
  const drawn = { svg, bars: [], notes: [], sheet, options, top: 0, above: line.above };
  let x = 0;
  line.bars.forEach((place, number) => {
    drawn.bars.push(drawBar(context, sheet, place, x, number === 0, options, drawn));
    x += place.width;
  });
  drawSigns(drawn);
  return drawn;
}

function drawBar(context, sheet, place, x, first, options, drawn) {
  const V = window.VexFlow;
  const bar = sheet.bars[place.index];
  const strings = sheet.instrument.open_midi.length;
  const opening = place.index === 0 && !options.small;
  const tabTop = drawn.above + (options.staff ? STAFF_HEIGHT : 0);
  const tab = new V.TabStave(x, tabTop - 4 * STRING_GAP, place.width, { numLines: strings });
  tab.setY(tabTop - (tab.getYForLine(0) - tab.getY()));
  const staves = [tab];
  if (first && !options.small) tab.addClef("tab");
  if (opening) tab.addTimeSignature(sheet.timing.meter);
  let staff = null;
  if (options.staff) {
    staff = new V.Stave(x, 0, place.width);
    staff.setY(drawn.above - (staff.getYForLine(0) - staff.getY()));
    if (first) staff.addClef("treble", "default", "8vb");
    if (first && sheet.key) staff.addKeySignature(signature(sheet.key));
    if (opening) staff.addTimeSignature(sheet.timing.meter);
    staves.push(staff);
  }
  if (place.index === sheet.bars.length - 1 && !options.small) {
    staves.forEach((one) => one.setEndBarType(V.Barline.type.END));
  }
  const begin = Math.max(...staves.map((one) => one.getNoteStartX())) + (first ? 4 : 0);
  staves.forEach((one) => one.setNoteStartX(begin));
  staves.forEach((one) => one.setContext(context).draw());

  const low = bar.pieces.map((piece) => tabNote(sheet, piece, options));
  const high = staff ? bar.pieces.map((piece) => staffNote(sheet, piece, options)) : null;
  const columns = [[low, tab, -1]];
  if (high) columns.push([high, staff, 1]);
  const voices = [];
  const after = [];
  for (const [notes, stave] of columns) {
    const isTab = stave === tab;
    if (!isTab || !staff) after.push(...beamsOf(sheet, bar, notes, isTab));
    after.push(...tupletsOf(bar, notes, isTab, Boolean(staff)));
    const voice = new V.Voice({ numBeats: 4, beatValue: 4 }).setMode(V.Voice.Mode.SOFT);
    voice.addTickables(notes);
    if (!isTab) V.Accidental.applyAccidentals([voice], sheet.key ? signature(sheet.key) : "C");
    voices.push([voice, stave]);
  }
  const formatter = new V.Formatter();
  for (const [voice] of voices) formatter.joinVoices([voice]);
  const room = Math.max(tab.getNoteEndX() - begin - 12, 20);
  formatter.format(voices.map(([voice]) => voice), room);
  for (const [voice, stave] of voices) voice.draw(context, stave);
  after.forEach((one) => one.setContext(context).draw());

  bar.pieces.forEach((piece, number) => {
    if (piece.event === null) return;
    const event = sheet.events[piece.event];
    const note = low[number];
    const graceX = note.graceNotes ? note.graceNotes.map((one) => one.getAbsoluteX()) : [];
    event.graces.forEach((id, at) => addSpot(drawn, id, graceX[at], tab, piece, place.index, true));
    const heads = high ? headsOf(high[number], inPitch(event, options)) : {};
    event.notes.forEach((id) => addSpot(drawn, id, note.getAbsoluteX(), tab, piece, place.index, false, heads[id]));
  });
  return {
    index: place.index,
    x,
    width: place.width,
    begin,
    top: tab.getYForLine(0),
    bottom: tab.getYForLine(strings - 1),
    over: staff ? staff.getYForLine(0) : tab.getYForLine(0),
  };
}

/** A note where it is drawn; `head` is its head on the notation staff, if there is one. */
function addSpot(drawn, id, x, tab, piece, bar, grace, head) {
  const note = drawn.options.notes.get(id);
  const line = note.string === null ? 0 : note.string - 1;
  drawn.notes.push({ id, note, x, y: tab.getYForLine(line), piece, bar, grace, head, tied: piece.tied_in });
}

/** Where the heads of a written note stand on the staff, by the ids of the notes in order of pitch. */
function headsOf(written, ids) {
  const [from, to] = [written.getNoteHeadBeginX(), written.getNoteHeadEndX()];
  const stemUp = written.getStemDirection() > 0;
  return Object.fromEntries(written.getYs().map((y, at) => [ids[at], { from, to, y, stemUp }]));
}

function inPitch(event, options) {
  return [...event.notes].sort((a, b) => pitchOf(options, a) - pitchOf(options, b));
}

function tabNote(sheet, piece, options) {
  const V = window.VexFlow;
  const duration = NAMES[piece.value];
  if (piece.event === null) {
    if (options.staff) return new V.GhostNote({ duration, dots: piece.dots });
    const rest = new V.StaveNote({ keys: ["b/4"], duration: `${duration}r`, dots: piece.dots });
    if (piece.dots) V.Dot.buildAndAttach([rest]);
    // Rests of a staff of five lines, moved to the middle of the strings.
    const strings = sheet.instrument.open_midi.length;
    rest.setKeyLine(0, (strings - 1) / 2 - (strings > 4 ? -0.5 : 0) + (piece.value === 1 ? 1 : 0));
    return rest;
  }
  const event = sheet.events[piece.event];
  const positions = event.notes.map((id) => {
    const note = options.notes.get(id);
    return { str: note.string === null ? 1 : note.string, fret: fretText(note, piece.tied_in) };
  });
  const note = new V.TabNote({ positions, duration, dots: piece.dots, stemDirection: -1 }, !options.staff);
  if (piece.value === 1 || options.staff) note.renderOptions.drawStem = false;
  if (piece.dots && !options.staff) V.Dot.buildAndAttach([note]);
  if (event.graces.length && !piece.tied_in) {
    note.graceNotes = event.graces.map((id) => {
      const grace = options.notes.get(id);
      const str = grace.string === null ? 1 : grace.string;
      const small = new V.GraceTabNote({ positions: [{ str, fret: fretText(grace, false) }], duration: "8" });
      small.fretElement.forEach((text) => text.setFontSize(GRACE_SIZE));
      return small;
    });
    const group = new V.GraceNoteGroup(note.graceNotes, false);
    // Set apart from the note, so that 7 before 8 is not read as 78.
    group.getWidth = () => group.width + GRACE_GAP;
    note.addModifier(group);
  }
  return note;
}

function fretText(note, tied) {
  const kinds = note.techniques.map((one) => one.kind);
  if (kinds.includes("dead_note")) return "X";
  if (note.fret === null) return note.name;
  if (tied) return `(${note.fret})`;
  return kinds.includes("natural_harmonic") ? `<${note.fret}>` : String(note.fret);
}

function staffNote(sheet, piece, options) {
  const V = window.VexFlow;
  const duration = NAMES[piece.value];
  if (piece.event === null) {
    const rest = new V.StaveNote({ keys: ["b/4"], duration: `${duration}r`, dots: piece.dots });
    if (piece.dots) V.Dot.buildAndAttach([rest]);
    return rest;
  }
  const spell = flatKey(sheet.key) ? FLAT_KEYS : SHARP_KEYS;
  const key = (id) => {
    const note = options.notes.get(id);
    const midi = (note.pitch_midi ?? 59) + 12;
    const cross = note.techniques.some((one) => one.kind === "dead_note") ? "/x2" : "";
    return `${spell[midi % 12]}/${Math.floor(midi / 12) - 1}${cross}`;
  };
  const event = sheet.events[piece.event];
  const keys = inPitch(event, options).map(key);
  const note = new V.StaveNote({ keys, duration, dots: piece.dots, autoStem: true });
  if (piece.dots) V.Dot.buildAndAttach([note], { all: true });
  if (event.graces.length && !piece.tied_in) {
    const graces = event.graces.map((id) => new V.GraceNote({ keys: [key(id)], duration: "8", slash: true }));
    note.addModifier(new V.GraceNoteGroup(graces, true));
  }
  return note;
}

function pitchOf(options, id) {
  return options.notes.get(id).pitch_midi ?? 0;
}

function beamsOf(sheet, bar, notes, isTab) {
  const V = window.VexFlow;
  const { beats, tap } = sheet.timing;
  const group = tap > 1 ? tap : sheet.timing.unit >= 8 ? beats : 1;
  const offset = bar.start - (bar.number - 1) * beats;
  const runs = [];
  let run = [];
  let beat = null;
  let tuplet = null;
  bar.pieces.forEach((piece, index) => {
    const here = Math.floor((offset + piece.start + 1e-9) / group);
    const beamed = piece.event !== null && piece.value >= 8;
    if (!beamed || here !== beat || piece.tuplet !== tuplet) {
      if (run.length > 1) runs.push(run);
      run = [];
    }
    if (beamed) run.push(notes[index]);
    beat = here;
    tuplet = piece.tuplet;
  });
  if (run.length > 1) runs.push(run);
  return runs.map((one) => {
    const beam = new V.Beam(one, !isTab);
    beam.renderOptions.flatBeams = isTab;
    if (isTab) beam.renderOptions.flatBeamOffset = undefined;
    return beam;
  });
}

function tupletsOf(bar, notes, isTab, withStaff) {
  const V = window.VexFlow;
  return bar.tuplets.flatMap(([actual, normal], number) => {
    const inside = notes.filter((_, index) => bar.pieces[index].tuplet === number);
    const location = isTab ? V.Tuplet.LOCATION_BOTTOM : V.Tuplet.LOCATION_TOP;
    const tuplet = new V.Tuplet(inside, {
      numNotes: actual, notesOccupied: normal, location, bracketed: true, ratioed: false,
    });
    // With a staff above, the tab only needs the time that the tuplet takes, not a second bracket.
    return isTab && withStaff ? [] : [tuplet];
  });
}

function flatKey(key) {
  if (!key) return false;
  const name = signature(key);
  return name.length > 1 ? name[1] === "b" : name === "F";
}

/** The major key with the same signature. */
function signature(key) {
  const shift = key.tonic[1] === "#" ? 1 : key.tonic[1] === "b" ? -1 : 0;
  const tonic = LETTERS[key.tonic[0]] + shift;
  return SIGNATURES[(tonic + MODE_STEPS[key.mode] + 12) % 12];
}
