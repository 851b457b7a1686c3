// What stands below the title: how fast, in which meter, on which strings, in which key.

const UNIT_NAMES = { 1: "whole", 2: "half", 4: "quarter", 8: "eighth" };

/** Tells in a few words what a player must know of a line before the first note. */
export function factsOf({ timing, instrument, key_words: key }) {
  const pulse = timing.tap > 1 ? "dotted quarter" : UNIT_NAMES[timing.unit] || "beat";
  const parts = [`${pulse} = ${Math.round(timing.tempo_bpm)}`, timing.meter, instrument.string_names.slice().reverse().join(" ")];
  if (instrument.capo) parts.push(`capo ${instrument.capo}`);
  if (key) parts.push(key.replace(/^(.)#/, "$1♯").replace(/^(.)b/, "$1♭"));
  if (timing.swing) parts.push("swung");
  return parts.join(" · ");
}
