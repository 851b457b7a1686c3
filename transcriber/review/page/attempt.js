// A student's attempt over the line: what is to be said of it, and below each line of the sheet the pitch of both.

import { byId, el, notice } from "./dom.js";
import { clockFrom } from "./player.js";
import { make } from "./signs.js";

const TRACE_HEIGHT = 88;
const ROW_HEIGHT = 14;
const ROWS = 3;
const MOST_PX = 8;
const LETTER_PX = 6.2;
const AROUND = 1.5;
const BEFORE_S = 0.05;

export class AttemptView {
  /** `bring` gives the pitch of line and attempt; `choose` shows a note. */
  constructor({ store, view, player, hearing, choose, bring }) {
    Object.assign(this, { store, view, player, hearing, choose, traces: null, height: TRACE_HEIGHT + ROWS * ROW_HEIGHT + 6 });
    view.below = this;
    this.take(bring);
  }

  get told() {
    return this.store.sheet.attempt;
  }

  async take(bring) {
    try {
      this.traces = await bring();
      this.view.drawBelow();
    } catch (error) {
      notice(`The attempt's pitch cannot be shown: ${error.message}`, { bad: true, key: "attempt" });
    }
  }

  label(note) {
    const told = this.told.notes[note.id];
    return told ? `; in the attempt: ${told.short}` : "";
  }

  show({ attempt }) {
    const known = JSON.stringify(attempt);
    if (known === this.known) return;
    this.known = known;
    if (attempt.knots.length) this.player.clocks.attempt = clockFrom(attempt.knots, attempt.ratio);
    const remarks = [...Object.entries(attempt.notes).map(([id, one]) => [id, one.words]),
      ...attempt.extra.map((one) => [one.after, one.words])].filter(([, words]) => words);
    const panel = byId("attempt");
    panel.hidden = false;
    const parts = el("div", {},
      el("h2", {}, `The attempt: ${attempt.name}`),
      attempt.summary.map((line) => el("p", {}, line)),
      attempt.work_on.length ? el("h3", {}, "Work on this first") : null,
      el("ol", {}, attempt.work_on.map((one) => this.advice(one))),
      el("details", {}, el("summary", {}, remarks.length === 1 ? "1 remark, note by note" : `${remarks.length} remarks, note by note`),
        el("ul", {}, remarks.map(([id, words]) => el("li", {}, this.link(id, words))))),
      this.legend(),
      el("p", { class: "small" }, attempt.caution));
    panel.replaceChildren(parts);
  }

  advice({ bar, notes, happened, try_this }) {
    const first = notes.find((id) => this.store.notes.has(id));
    return el("li", {},
      el("p", {}, `${bar ? `Bar ${bar}` : "The pickup"}: ${happened}. `, el("em", {}, `Try: ${try_this}.`)),
      first ? el("div", { class: "row" },
        el("button", { type: "button", onclick: () => this.choose(first) }, "Show it"),
        el("button", { type: "button", onclick: () => this.hear(this.ofLine(), notes) }, `Hear ${this.store.sheet.take ? "the take" : "the draft"} there`),
        this.told.has_sound ? el("button", { type: "button", onclick: () => this.hear("attempt", notes) }, "Hear the attempt there") : null) : null);
  }

  ofLine() {
    return this.store.sheet.take ? "take" : "draft";
  }

  link(id, words) {
    if (!this.store.notes.has(id)) return words;
    return el("button", { type: "button", class: "plain", onclick: () => this.choose(id) }, words);
  }

  legend() {
    const sample = (...parts) => {
      const svg = make("svg", { class: "over", viewBox: "0 0 30 16", width: 30, height: 16, "aria-hidden": "true" });
      svg.append(...parts);
      return svg;
    };
    const line = (name) => make("path", { class: name, d: "M4 8H27" });
    return el("p", { class: "small row", id: "legend" },
      this.told.has_pitch ? null : el("span", {}, "The pitch of this attempt was not kept with its answer; check the attempt again to see it."),
      el("span", {}, sample(line("wanted")), " as drafted"),
      el("span", {}, sample(line("wanted"), brackets(2, 29, 8)), " missed"),
      el("span", {}, sample(line("played")), " as played"),
      el("span", {}, sample(make("path", { class: "tie", d: "M15 2V14M11 2H19M11 14H19" })), " another pitch"),
      el("span", {}, sample(make("path", { class: "tie", d: "M6 8H24M24 3V13" })), " early or late, from where it was due"),
      el("span", {}, sample(make("path", { class: "tie", d: "M10 4H20V12H10Z" })), " too many"),
      this.told.has_sound ? el("span", {}, el("kbd", {}, "O"), " changes over between take and attempt") : null);
  }

  /** Hears a passage of one sound: the same notes, whichever it is. */
  async hear(kind, ids) {
    const notes = ids.map((id) => this.store.notes.get(id)).filter(Boolean);
    const { timing } = this.store.sheet;
    const bar = (60 / timing.tempo_bpm / timing.tap) * timing.beats;
    await this.hearing.hear(kind);
    const from = Math.max(notes[0].onset_s - bar / 2, 0);
    const last = notes.filter((note) => note.onset_s < notes[0].onset_s + bar).pop();
    this.player.play(from, last.end_s + bar / 4).catch((error) => notice(error.message, { bad: true, key: "sound" }));
  }

  changeOver() {
    if (this.told.has_sound) this.hearing.hear(this.player.kind === "attempt" ? this.ofLine() : "attempt");
  }

  /** Draws the pitch of both below one line of the sheet, over the same beats. */
  draw(host, drawn) {
    host.replaceChildren();
    const anchors = anchorsOf(drawn);
    if (anchors.length < 2) return;
    const x = between(anchors);
    const notes = drawn.notes.filter((spot) => !spot.tied).map((spot) => spot.note);
    const width = drawn.bars.reduce((sum, bar) => sum + bar.width, 0);
    const svg = make("svg", { class: "over", width: width + 1, height: this.height, role: "img", "aria-label": this.inWords(notes) });
    host.append(svg);
    const y = this.heights(notes);
    if (!y) return;
    this.beats(svg, x, anchors);
    for (const [name, at] of [[y.high, y.top], [y.low, y.bottom]]) svg.append(make("text", { class: "faint", x: 2, y: y(at) + 4 }, name));
    const range = [anchors[0][0], anchors[anchors.length - 1][0]];
    const own = new Set(drawn.notes.map((spot) => spot.id));
    for (const trace of this.traces ? this.traces.line : []) {
      if (!own.has(trace.id)) continue;
      const d = pathOf(trace, x, y, range);
      if (!d) continue;
      svg.append(make("path", { class: "wanted", d }));
      if ((this.told.notes[trace.id] || {}).verdict === "missed") svg.append(this.missed(trace, x, y, range));
    }
    for (const trace of this.traces ? this.traces.attempt : []) {
      const d = pathOf(trace, x, y, range);
      if (d) svg.append(make("path", { class: "played", d }));
    }
    this.marks(svg, x, y, notes, range);
  }

  missed({ times_s: times, midi }, x, y, [, end]) {
    const heights = midi.filter((one) => one !== null).map(y);
    const middle = (Math.min(...heights) + Math.max(...heights)) / 2;
    return brackets(x(times[0]) - 3, x(Math.min(times[times.length - 1], end)) + 3, middle);
  }

  inWords(notes) {
    const told = notes.map((note) => this.told.notes[note.id]).filter(Boolean);
    return told.length ? `The attempt here: ${told.map((one) => one.words || one.short).join("; ")}` : "The attempt here: as written";
  }

  heights(notes) {
    const pitches = notes.filter((note) => note.pitch_midi !== null);
    if (!pitches.length) return null;
    const reach = pitches.map((note) => note.pitch_midi + Math.max(0, ...note.techniques.filter((one) => /bend/.test(one.kind)).map((one) => one.semitones)));
    const lowest = pitches.reduce((low, note) => (note.pitch_midi < low.pitch_midi ? note : low));
    const highest = pitches.reduce((high, note) => (note.pitch_midi > high.pitch_midi ? note : high));
    const played = notes.map((note) => (this.told.notes[note.id] || {}).played_midi ?? note.pitch_midi).filter((one) => one !== null);
    const [low, high] = [Math.min(lowest.pitch_midi, ...played) - AROUND, Math.max(...reach, ...played) + AROUND];
    const scale = Math.min(MOST_PX, TRACE_HEIGHT / (high - low));
    const middle = (TRACE_HEIGHT + scale * (high - low)) / 2;
    const y = (midi) => Math.min(Math.max(middle - (midi - low) * scale, 2), TRACE_HEIGHT - 2);
    return Object.assign(y, { low: lowest.name, bottom: lowest.pitch_midi, high: highest.name, top: highest.pitch_midi });
  }

  beats(svg, x, anchors) {
    const { beats_s: times, first_beat: first, beats, tap } = this.store.sheet.timing;
    times.forEach((time, index) => {
      if ((first + index) % tap || time < anchors[0][0] - 0.01 || time > anchors[anchors.length - 1][0]) return;
      const opens = (((first + index) % beats) + beats) % beats === 0;
      svg.append(make("line", { class: opens ? "beat first" : "beat", x1: x(time), x2: x(time), y1: 2, y2: TRACE_HEIGHT }));
    });
  }

  marks(svg, x, y, notes, range) {
    const words = [];
    for (const note of notes) {
      const told = this.told.notes[note.id];
      if (!told) continue;
      const at = x(note.onset_s);
      words.push([at, told.short]);
      const height = y(note.pitch_midi ?? 60);
      if (told.verdict === "wrong_pitch" && told.played_midi !== null) svg.append(tie(at, height, y(told.played_midi)));
      if (/^(early|late)$/.test(told.short) && told.line_s !== null) svg.append(shift(at, x(told.line_s), height));
    }
    for (const extra of this.told.extra) {
      if (extra.line_s === null || extra.line_s < range[0] - BEFORE_S || extra.line_s >= range[1]) continue;
      const [left, top] = [x(extra.line_s) - 4, y(extra.midi) - 4];
      svg.append(make("rect", { class: "tie", x: left, y: top, width: 8, height: 8 }));
      words.push([left, "too many"]);
    }
    write(svg, words, Number(svg.getAttribute("width")));
  }
}

/** Times at which notes of a line of the sheet begin, and where these stand; both ascend. */
function anchorsOf(drawn) {
  const { bars } = drawn.sheet;
  const [first, last] = [drawn.bars[0], drawn.bars[drawn.bars.length - 1]];
  const found = [[bars[first.index].starts_s, first.begin]];
  const spots = drawn.notes.filter((spot) => !spot.tied && !spot.grace).map((spot) => [spot.note.onset_s, spot.x]);
  const edge = Math.max(last.x + last.width - 3, spots.length ? spots[spots.length - 1][1] + 8 : 0);
  for (const spot of [...spots, [bars[last.index].ends_s, edge]]) {
    const before = found[found.length - 1];
    if (spot[0] <= before[0] + 0.001) {
      // A first note a little before its bar line stands where it stands.
      if (found.length === 1) found[0] = spot;
      continue;
    }
    if (spot[1] > before[1]) found.push(spot);
  }
  return found;
}

function between(anchors) {
  return (time) => {
    let at = anchors.findIndex((anchor) => anchor[0] > time);
    if (at < 0) at = anchors.length - 1;
    at = Math.max(at, 1);
    const [[t0, x0], [t1, x1]] = [anchors[at - 1], anchors[at]];
    return x0 + ((time - t0) / (t1 - t0)) * (x1 - x0);
  };
}

function pathOf(trace, x, y, range) {
  let d = "";
  let pen = false;
  trace.times_s.forEach((time, index) => {
    const midi = trace.midi[index];
    if (midi === null || time < range[0] - BEFORE_S || time > range[1]) {
      pen = false;
      return;
    }
    d += `${pen ? "L" : "M"}${x(time).toFixed(1)} ${y(midi).toFixed(1)}`;
    pen = true;
  });
  return d;
}

function tie(at, from, to) {
  return make("path", { class: "tie", d: `M${at} ${from}V${to}M${at - 4} ${from}H${at + 4}M${at - 4} ${to}H${at + 4}` });
}

/** Encloses what was missed. */
function brackets(left, right, middle) {
  const [top, bottom] = [middle - 6, middle + 6];
  return make("path", { class: "tie", d: `M${left + 3} ${top}H${left}V${bottom}H${left + 3}M${right - 3} ${top}H${right}V${bottom}H${right - 3}` });
}

function shift(due, played, height) {
  return make("path", { class: "tie", d: `M${due} ${height}H${played}M${played} ${height - 5}V${height + 5}` });
}

/** Writes words below the pitch, each in the first row that has room for it. */
function write(svg, words, width) {
  const ends = new Array(ROWS).fill(-Infinity);
  for (const [at, text] of words.sort((a, b) => a[0] - b[0])) {
    const room = text.length * LETTER_PX + 4;
    const left = Math.max(Math.min(at, width - room), 0);
    const row = ends.findIndex((end) => end < left);
    if (row < 0) continue;
    ends[row] = left + room;
    const y = TRACE_HEIGHT + ROW_HEIGHT * (row + 1);
    svg.append(make("line", { class: "lead", x1: at, x2: at, y1: TRACE_HEIGHT - 2, y2: y - 9 }));
    svg.append(make("text", { class: "said", x: left, y }, text));
  }
}
