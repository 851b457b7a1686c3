// The signs of the trade, drawn over a line of the sheet: slurs, slides, bends, vibrato, ties, words.

const NS = "http://www.w3.org/2000/svg";
const BENDS = ["bend", "pre_bend", "release"];
const SLURS = { hammer_on: "h", pull_off: "p" };
const WORDS = { palm_mute: "P.M.", let_ring: "let ring", trill: "tr" };

export function make(name, attributes, text) {
  const element = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  if (text !== undefined) element.textContent = text;
  return element;
}

export function drawSigns(drawn) {
  const under = make("g", {});
  const over = make("g", {});
  drawn.svg.prepend(under);
  drawn.svg.append(over);
  drawn.top = drawn.bars[0].top;
  drawn.spots = new Map();
  const sounding = drawn.notes.filter((spot) => !spot.tied);
  barsAndWords(drawn, under, over);
  ties(drawn, over);
  sounding.forEach((spot) => {
    const next = sounding[sounding.indexOf(spot) + 1];
    arrivals(drawn, over, spot);
    bends(drawn, over, spot);
    rest(drawn, over, spot, next);
  });
  halves(drawn, over);
  drawn.notes.forEach((spot) => hit(drawn, under, over, spot));
}

function barsAndWords(drawn, under, over) {
  const { sheet, options } = drawn;
  for (const bar of drawn.bars) {
    const entry = sheet.bars[bar.index];
    const round = make("rect", { class: "round", x: bar.x, y: bar.over - 6, width: bar.width,
      height: bar.bottom - bar.over + 12, "data-bar": entry.number });
    round.style.display = "none";
    under.append(round);
    if (options.small) continue;
    over.append(make("text", { class: "bar", x: bar.x + 3, y: bar.over - 5 }, entry.number || "pickup"));
    for (const chord of sheet.chords || []) {
      const at = chord.start - entry.start;
      if (at >= 0 && at < entry.length) {
        over.append(make("text", { class: "chord", x: placeX(drawn, bar, at), y: bar.over - 44 }, chord.name));
      }
    }
  }
  if (options.small) return;
  for (const phrase of sheet.phrases || []) {
    const spot = drawn.notes.find((one) => one.id === phrase.first_note && !one.tied);
    if (!spot) continue;
    const y = drawn.bars[0].over - 60;
    if (phrase.name) {
      over.append(make("text", { class: "phrase", x: Math.max(spot.x - 6, 2), y }, phrase.name));
    }
  }
}

/** Where a beat of a bar stands: between the notes written around it. */
function placeX(drawn, bar, at) {
  const inside = drawn.notes.filter((spot) => spot.bar === bar.index && !spot.grace);
  const before = inside.filter((spot) => spot.piece.start <= at + 1e-6).pop();
  if (before && Math.abs(before.piece.start - at) < 1e-6) return before.x - 5;
  const length = drawn.sheet.bars[bar.index].length;
  return bar.begin + ((bar.width - (bar.begin - bar.x)) * at) / length;
}

function arc(fromX, toX, y, height, extra) {
  const lift = y - height;
  return make("path", { class: "own", d: `M${fromX} ${y} C${fromX + 4} ${lift} ${toX - 4} ${lift} ${toX} ${y}`, ...extra });
}

function ties(drawn, over) {
  const end = drawn.bars[drawn.bars.length - 1];
  drawn.notes.forEach((spot, index) => {
    if (spot.grace) return;
    const later = drawn.notes.slice(index + 1).find((one) => one.id === spot.id);
    if (spot.piece.tied_out) {
      const toX = later ? later.x - 9 : end.x + end.width - 4;
      over.append(arc(spot.x + 7, Math.max(toX, spot.x + 14), spot.y + 6, -9));
      if (spot.head) over.append(staffTie(spot.head, spot.head.to + 1, later ? later.head.from - 1 : end.x + end.width - 4));
    }
    const earlier = drawn.notes.slice(0, index).some((one) => one.id === spot.id);
    if (spot.piece.tied_in && !earlier) {
      over.append(arc(Math.max(spot.x - 24, 2), spot.x - 9, spot.y + 6, -9));
      if (spot.head) over.append(staffTie(spot.head, Math.max(spot.head.from - 20, 2), spot.head.from - 1));
    }
  });
}

/** A tie on the notation staff, on the side of the head where no stem is. */
function staffTie({ y, stemUp }, fromX, toX) {
  return arc(fromX, Math.max(toX, fromX + 8), y + (stemUp ? 5 : -5), stemUp ? -8 : 8, { "data-staff-tie": "" });
}

function before(drawn, spot) {
  const { order, notes } = drawn.options;
  for (let at = order.indexOf(spot.id) - 1; at >= 0; at -= 1) {
    const note = notes.get(order[at]);
    if (note.string === spot.note.string) {
      const spots = drawn.notes.filter((one) => one.id === note.id);
      return { note, spot: spots[spots.length - 1] };
    }
  }
  return null;
}

function arrivals(drawn, over, spot) {
  for (const technique of spot.note.techniques) {
    const { kind } = technique;
    if (kind in SLURS || kind === "slide") {
      const from = before(drawn, spot);
      const startX = from && from.spot ? from.spot.x + 7 : Math.max(spot.x - 26, 2);
      const startY = from && from.spot ? from.spot.y : spot.y;
      if (kind === "slide") {
        const up = !from || (from.note.fret ?? 0) <= (spot.note.fret ?? 0);
        const lean = up ? 4 : -4;
        over.append(make("line", { class: "own", x1: startX + 1, y1: startY + lean, x2: spot.x - 8, y2: spot.y - lean }));
        if (!technique.picked) over.append(arc(startX - 3, spot.x - 3, spot.y - 8, 9));
        if (technique.optional) say(over, (startX + spot.x) / 2, Math.min(startY, spot.y) - 17, "(slide)");
      } else {
        over.append(arc(startX - 3, spot.x - 3, spot.y - 7, 11));
        say(over, (startX + spot.x) / 2 - 2, spot.y - 17, enclosed(technique, SLURS[kind]));
      }
    }
    if (kind === "slide_in") {
      const lean = technique.direction === "down" ? -5 : 5;
      over.append(make("line", { class: "own", x1: spot.x - 18, y1: spot.y + lean, x2: spot.x - 7, y2: spot.y - lean }));
      if (technique.optional) say(over, spot.x - 16, spot.y - 9, "(slide)");
    }
    if (kind === "slide_out") {
      const lean = technique.direction === "up" ? 5 : -5;
      over.append(make("line", { class: "own", x1: spot.x + 8, y1: spot.y + lean, x2: spot.x + 20, y2: spot.y - lean }));
      if (technique.optional) say(over, spot.x + 18, spot.y - 9, "(slide)");
    }
  }
}

function amountText(semitones) {
  const quarters = Math.round(semitones * 2);
  const whole = Math.floor(quarters / 4);
  const part = ["", "¼", "½", "¾"][quarters % 4];
  if (quarters === 4) return "full";
  return whole ? `${whole}${part}` : part || "0";
}

function arrow(over, x, y, up) {
  const tip = up ? -6 : 6;
  over.append(make("path", { class: "full", d: `M${x - 3.4} ${y - tip} L${x + 3.4} ${y - tip} L${x} ${y} Z` }));
}

function bends(drawn, over, spot) {
  const gestures = spot.note.techniques.filter((one) => BENDS.includes(one.kind));
  if (!gestures.length) return;
  const timed = (one) => (one.kind === "pre_bend" ? -1 : one.start_s ?? 0);
  gestures.sort((a, b) => timed(a) - timed(b));
  const high = Math.min(drawn.top - 13, spot.y - 24);
  let x = spot.x + 8;
  let y = spot.y - 1;
  for (const one of gestures) {
    if (one.kind === "pre_bend") {
      x = spot.x;
      over.append(make("line", { class: "own", x1: x, y1: spot.y - 7, x2: x, y2: high + 4 }));
      arrow(over, x, high, true);
      say(over, x, high - 4, enclosed(one, amountText(one.semitones)));
      y = high;
    } else if (one.kind === "bend") {
      const to = x + 12;
      over.append(make("path", { class: "own", d: `M${x} ${y} C${x + 9} ${y} ${to} ${y - 6} ${to} ${high + 4}` }));
      arrow(over, to, high, true);
      say(over, to, high - 4, enclosed(one, amountText(one.semitones)));
      x = to;
      y = high;
    } else {
      const low = one.semitones ? (high + spot.y) / 2 : spot.y - 8;
      const to = x + 12;
      over.append(make("path", { class: "own", d: `M${x} ${high} C${x + 9} ${high} ${to} ${high + 6} ${to} ${low - 4}` }));
      arrow(over, to, low, false);
      if (one.optional) say(over, to + 10, low - 3, "(r)");
      x = to;
      y = low;
    }
  }
}

function rest(drawn, over, spot, next) {
  let y = drawn.top - 11;
  const bent = spot.note.techniques.some((one) => BENDS.includes(one.kind));
  if (bent) y -= 15;
  for (const one of spot.note.techniques) {
    if (one.kind === "vibrato") {
      const fromX = spot.x - 2 + (bent ? 38 : 0) + (bent && one.optional ? 6 : 0);
      const limit = next ? next.x - 8 : spot.x + 46;
      const toX = Math.max(Math.min(limit, fromX + 60), fromX + 14);
      let d = `M${fromX} ${y}`;
      const swings = Math.floor((toX - fromX) / 6);
      d += " q1.5 -5 3 0 t3 0".repeat(swings);
      over.append(make("path", { class: "own", d }));
      if (one.optional) {
        say(over, fromX - 4, y + 3, "(");
        say(over, fromX + 6 * swings + 4, y + 3, ")");
      }
    } else if (one.kind in WORDS) {
      const to = one.kind === "trill" && one.to_fret !== undefined ? ` ${one.to_fret}` : "";
      over.append(make("text", { class: "say", x: spot.x - 6, y }, enclosed(one, WORDS[one.kind] + to)));
      y -= 13;
    } else if (one.kind === "staccato") {
      over.append(make("circle", { class: "full", cx: spot.x, cy: spot.y - 11, r: 1.9 }));
      if (one.optional) say(over, spot.x, spot.y - 7, "(\u2002)");
    }
  }
}

/** What a player may leave out stands in parentheses, as on the engraved sheet. */
function enclosed(technique, text) {
  return technique.optional ? `(${text})` : text;
}

/** Writes small words centred over a point. */
function say(over, x, y, text) {
  over.append(make("text", { class: "say", x, y, "text-anchor": "middle" }, text));
}

/** Half and whole notes wear a ring, as a fret number alone would not tell them from a quarter. */
function halves(drawn, over) {
  if (drawn.options.staff) return;
  for (const spot of drawn.notes) {
    if (spot.grace || spot.piece.value > 2) continue;
    const wide = spot.tied ? 12 : 9;
    over.append(make("ellipse", { class: "own", cx: spot.x, cy: spot.y, rx: wide, ry: 8 }));
  }
}

function hit(drawn, under, over, spot) {
  const box = { x: spot.x - 11, y: spot.y - 10, width: 22, height: 20 };
  const glow = make("rect", { class: "glow", ...box });
  under.append(glow);
  const group = make("g", { class: "spot", "data-note": spot.id });
  group.append(make("rect", { class: "hit", ...box }));
  if (drawn.options.label && !spot.tied) {
    group.setAttribute("role", "button");
    group.setAttribute("tabindex", "-1");
    group.setAttribute("aria-label", drawn.options.label(spot.note));
  } else {
    group.setAttribute("aria-hidden", "true");
  }
  over.append(group);
  if (spot.note.unsure && !spot.tied && !drawn.options.small) {
    const bent = spot.note.techniques.some((one) => BENDS.includes(one.kind) || one.kind === "vibrato");
    over.append(make("text", { class: "cue", x: spot.x - 4, y: Math.min(drawn.top - (bent ? 40 : 8), spot.y - 14), "aria-hidden": "true" }, "?"));
  }
  const list = drawn.spots.get(spot.id) || [];
  list.push({ ...spot, group, glow });
  drawn.spots.set(spot.id, list);
}
