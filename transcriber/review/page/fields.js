// Fields that are shown anew with the draft and yet keep what somebody is typing.
//
// The page remembers what it put into a field. A newer value from the draft takes the place of an older one
// from the draft; it never takes the place of what a person typed, nor of what stands where the keyboard is.

const shown = new WeakMap();
const newest = new WeakMap();

/** The field that is being typed into or chosen from, if any. */
export function typedInto() {
  const here = document.activeElement;
  return here && here.matches("input:not([type=checkbox]):not([type=range]), textarea, select") ? here : null;
}

/** Whether a field holds something that a person typed and that was not taken yet. */
export function isTyped(field) {
  return shown.has(field) && field.value !== shown.get(field);
}

/** Whether a field shows what the draft says. */
export function follows(field) {
  return newest.has(field);
}

/** Shows a value of the draft in a field: at once, or as soon as the keyboard leaves it untouched. */
export function showIn(field, value) {
  if (!newest.has(field)) field.addEventListener("blur", () => bring(field));
  newest.set(field, value);
  bring(field);
}

function bring(field) {
  const value = newest.get(field);
  if (shown.has(field) && field.value !== value && (isTyped(field) || typedInto() === field)) return;
  if (field.value !== value) field.value = value;
  shown.set(field, value);
}

/** Shows in a field what the draft has for another one that stands for the same. */
export function showLike(field, like) {
  if (follows(like)) showIn(field, newest.get(like));
}

/** Puts a value into a field in place of what was typed: that was taken, and this came of it. */
export function settle(field, value) {
  newest.set(field, value);
  field.value = value;
  shown.set(field, value);
}

/** Sends what stands in some fields; once it was taken, they show the draft's values again. */
export async function give(fields, send) {
  const given = fields.map((field) => field.value);
  if (!(await send())) return;
  fields.forEach((field, at) => field.value === given[at] && settle(field, newest.get(field)));
}
