// A moment close up: how loud, where it was struck, and the measured pitch against the frets of its string.

import { make } from "./signs.js";

const WIDTH = 420;
const HEIGHT = 190;
const LEFT = 46;
const LEVEL_HEIGHT = 44;
const FLOOR_DB = -60;
const WIDEST = 12;

export function drawCloseup(closeup, sheet, asked) {
  const svg = make("svg", { class: "close", viewBox: `0 0 ${WIDTH} ${HEIGHT}`, role: "img",
    "aria-label": describe(closeup, asked) });
  const x = (time) => LEFT + ((time - closeup.start_s) / (closeup.end_s - closeup.start_s)) * (WIDTH - LEFT - 4);
  const chart = HEIGHT - LEVEL_HEIGHT - 14;
  // The frets around what is asked about; notes beside it show as far as they come near.
  const own = closeup.traces.filter((trace) => asked.includes(trace.id));
  const heights = own.flatMap((trace) => [trace.at_midi, ...trace.midi.filter((one) => one !== null)]);
  const center = own.length ? own[0].at_midi : closeup.at_midi ?? 60;
  const low = Math.max(Math.min(...heights, center - 1), center - WIDEST) - 0.8;
  const high = Math.min(Math.max(...heights, center + 2), center + WIDEST) + 0.8;
  const y = (midi) => 6 + (chart - 6) * (1 - (midi - low) / (high - low));
  frets(svg, closeup, low, high, y, center);
  level(svg, closeup, x);
  for (const time of closeup.strokes_s) {
    svg.append(make("line", { class: "stroke", x1: x(time), y1: HEIGHT - LEVEL_HEIGHT - 8, x2: x(time), y2: HEIGHT - 12 }));
  }
  for (const trace of closeup.traces) {
    const mine = asked.includes(trace.id);
    const edge = x(Math.max(trace.onset_s, closeup.start_s));
    if (mine) svg.append(make("line", { class: "edge", x1: edge, y1: 4, x2: edge, y2: HEIGHT - 12 }));
    let d = "";
    let pen = false;
    trace.midi.forEach((midi, index) => {
      const time = trace.times_s[index];
      if (midi === null || time < closeup.start_s || time > closeup.end_s || midi < low || midi > high) {
        pen = false;
        return;
      }
      d += `${pen ? "L" : "M"}${x(time).toFixed(1)} ${y(midi).toFixed(1)} `;
      pen = true;
    });
    if (d) svg.append(make("path", { class: mine ? "trace" : "trace other", d }));
  }
  svg.append(make("text", { x: LEFT, y: HEIGHT - 2 }, "level; upright: a stroke of the pick"));
  svg.append(make("text", { x: WIDTH - 4, y: HEIGHT - 2, "text-anchor": "end" },
    `${(closeup.end_s - closeup.start_s).toFixed(1)} s`));
  return svg;
}

function frets(svg, closeup, low, high, y, center) {
  const many = high - low > 9;
  for (let midi = Math.ceil(low); midi <= high; midi += 1) {
    const at = midi === center;
    svg.append(make("line", { class: at ? "fret at" : "fret", x1: LEFT, y1: y(midi), x2: WIDTH - 4, y2: y(midi) }));
    const fret = closeup.open_midi === null ? null : midi - closeup.open_midi;
    if (fret === null || fret < 0 || (many && (midi - center) % 2)) continue;
    svg.append(make("text", { x: LEFT - 5, y: y(midi) + 4, "text-anchor": "end" }, at ? `fret ${fret}` : fret));
  }
}

function level(svg, closeup, x) {
  if (!closeup.level) return;
  const bottom = HEIGHT - 12;
  const peak = Math.max(...closeup.level.db, -30);
  const y = (db) => bottom - LEVEL_HEIGHT * Math.min(Math.max((db - peak - FLOOR_DB) / -FLOOR_DB, 0), 1);
  let d = `M${LEFT} ${bottom}`;
  closeup.level.times_s.forEach((time, index) => {
    if (time >= closeup.start_s && time <= closeup.end_s) d += `L${x(time).toFixed(1)} ${y(closeup.level.db[index]).toFixed(1)}`;
  });
  svg.append(make("path", { class: "level", d: `${d}L${WIDTH - 4} ${bottom}Z` }));
}

function describe(closeup, asked) {
  const own = closeup.traces.find((trace) => asked.includes(trace.id));
  if (!own) return "Level of this moment";
  const heard = own.midi.filter((one) => one !== null);
  const rise = heard.length ? Math.max(...heard) - own.at_midi : 0;
  const near = closeup.strokes_s.some((time) => Math.abs(time - own.onset_s) < 0.06);
  return `The pitch reaches ${rise.toFixed(1)} frets above the fretted note; ` +
    `${near ? "there is" : "there is no"} stroke where it begins`;
}
