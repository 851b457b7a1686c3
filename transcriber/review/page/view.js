// The sheet on the page: lines drawn as they come near, marks on notes, the closer look between two lines.

import { el } from "./dom.js";
import { drawLine, layOut } from "./score.js";

const NEAR_PX = 700;

export class View {
  constructor(host, options) {
    this.host = host;
    this.options = options;
    this.lines = [];
    this.lineOf = new Map();
    this.marked = new Map();
    this.staff = false;
    // What stands below each line of the sheet, if anything: its height, and how it is drawn.
    this.below = null;
    this.watcher = new IntersectionObserver((entries) => this.near(entries), { rootMargin: `${NEAR_PX}px` });
    // On paper all lines are wanted, not those near the window.
    window.addEventListener("beforeprint", () => this.lines.forEach((one) => this.draw(one)));
    let width = 0;
    new ResizeObserver(() => {
      if (this.sheet && Math.abs(host.clientWidth - width) > 4) this.show(this.sheet, this.notes, this.order);
      width = host.clientWidth;
    }).observe(host);
  }

  show(sheet, notes, order) {
    Object.assign(this, { sheet, notes, order });
    this.watcher.disconnect();
    const settings = { notes, order, staff: this.staff, label: this.options.label };
    this.settings = settings;
    const laid = layOut(sheet, Math.max(this.host.clientWidth - 2, 240), settings);
    const barLine = new Map();
    this.lines = laid.map((line, number) => {
      const drawing = el("div", { class: "drawing" });
      drawing.style.height = `${line.height}px`;
      const host = el("div", { class: "line" }, drawing);
      const below = this.below ? el("div", { class: "below" }) : null;
      if (below) {
        below.style.height = `${this.below.height}px`;
        host.append(below);
      }
      line.bars.forEach((bar) => barLine.set(bar.index, number));
      return { line, host, drawing, below, drawn: null };
    });
    this.lineOf = new Map();
    this.barOf = new Map();
    sheet.bars.forEach((bar, index) => {
      for (const piece of bar.pieces) {
        if (piece.event === null || piece.tied_in) continue;
        const event = sheet.events[piece.event];
        for (const id of [...event.graces, ...event.notes]) {
          this.lineOf.set(id, barLine.get(index));
          this.barOf.set(id, index);
        }
      }
    });
    this.remarks();
    this.put(this.lines.map((one) => one.host));
    this.lines.forEach((one, number) => {
      one.host.dataset.line = number;
      this.watcher.observe(one.host);
    });
  }

  /** Puts new lines in place of the old; the closer look between them is not touched, as somebody may type in it. */
  put(hosts) {
    const { inset } = this;
    [...this.host.children].forEach((child) => child !== inset && child.remove());
    if (!inset) {
      this.host.append(...hosts);
      return;
    }
    const above = (this.lineOf.get(this.insetAt) ?? hosts.length - 1) + 1;
    inset.before(...hosts.slice(0, above));
    inset.after(...hosts.slice(above));
  }

  remarks() {
    const said = new Map();
    const put = (id, where, text) => {
      const number = this.lineOf.get(id);
      if (number === undefined) return;
      if (!said.has(number)) said.set(number, []);
      said.get(number).push(el("li", {}, el("b", {}, `${where} `), text));
    };
    for (const phrase of this.sheet.phrases) {
      if (phrase.remark) put(phrase.first_note, phrase.name || "phrase", phrase.remark);
    }
    for (const note of this.sheet.notes) if (note.remark) put(note.id, note.where, note.remark);
    for (const [number, items] of said) this.lines[number].host.append(el("ul", { class: "remarks" }, items));
  }

  near(entries) {
    for (const entry of entries) {
      const one = this.lines[Number(entry.target.dataset.line)];
      if (!one || one.host !== entry.target) continue;
      if (entry.isIntersecting) this.draw(one);
      else this.forget(one);
    }
  }

  draw(one) {
    if (one.drawn) return;
    one.drawn = drawLine(one.drawing, this.sheet, one.line, this.settings);
    if (!performance.getEntriesByName("first notes").length) performance.mark("first notes");
    for (const [id, classes] of this.marked) classes.forEach((name) => this.paint(one.drawn, id, name, true));
    this.paintRound(one.drawn);
    if (one.below) this.below.draw(one.below, one.drawn);
  }

  /** Draws anew what stands below the lines. */
  drawBelow() {
    this.lines.forEach((one) => one.drawn && one.below && this.below.draw(one.below, one.drawn));
  }

  forget(one) {
    if (!one.drawn || one.host.contains(document.activeElement)) return;
    one.drawing.replaceChildren();
    if (one.below) one.below.replaceChildren();
    one.drawn = null;
  }

  /** Marks one note with a class, and takes the class from all others. */
  mark(name, id) {
    for (const [other, classes] of this.marked) {
      if (classes.delete(name)) this.lines.forEach((one) => one.drawn && this.paint(one.drawn, other, name, false));
      if (!classes.size) this.marked.delete(other);
    }
    if (!id) return;
    if (!this.marked.has(id)) this.marked.set(id, new Set());
    this.marked.get(id).add(name);
    const one = this.lines[this.lineOf.get(id)];
    if (one && one.drawn) this.paint(one.drawn, id, name, true);
  }

  paint(drawn, id, name, on) {
    for (const spot of drawn.spots.get(id) || []) {
      (name === "sounding" ? spot.glow : spot.group).classList.toggle(name, on);
    }
  }

  setRound(first, last) {
    this.round = first === null ? null : [first, last];
    this.lines.forEach((one) => one.drawn && this.paintRound(one.drawn));
  }

  paintRound(drawn) {
    drawn.svg.querySelectorAll(".round").forEach((rect) => {
      const bar = Number(rect.dataset.bar);
      rect.style.display = this.round && bar >= this.round[0] && bar <= this.round[1] ? "" : "none";
    });
  }

  /** The drawn element of a note; its line is drawn if it was not. */
  spot(id) {
    const one = this.lines[this.lineOf.get(id)];
    if (!one) return null;
    this.draw(one);
    const spots = one.drawn.spots.get(id);
    return spots ? spots[0].group : null;
  }

  reveal(id, focus) {
    const group = this.spot(id);
    if (!group) return;
    const box = group.getBoundingClientRect();
    if (box.top < 70 || box.bottom > window.innerHeight - 190) {
      const top = window.scrollY + box.top - window.innerHeight * 0.3;
      window.scrollTo({ top, behavior: "auto" });
    }
    if (focus) group.focus({ preventScroll: true });
  }

  place(inset, id) {
    this.inset = inset;
    this.insetAt = id;
    const one = this.lines[this.lineOf.get(id)] || this.lines[this.lines.length - 1];
    if (one && one.host.nextSibling !== inset) one.host.after(inset);
  }

  unplace() {
    if (this.inset) this.inset.remove();
    this.inset = null;
  }
}
