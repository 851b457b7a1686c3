// Hearing: one element plays the take, the draft, or both, slower if wanted; a click on the beat; rounds.

const START_LEVEL = 0.3;
const AHEAD_S = 0.12;
const TICK_MS = 20;
const SAME_CLOCK = { toSound: (time) => time, toLine: (time) => time };

export class Player {
  constructor(source) {
    this.source = source;
    // Clocks of sounds that do not run on the line's time, by kind: `toSound` and `toLine`.
    this.clocks = {};
    this.audio = new Audio();
    this.audio.preload = "auto";
    this.audio.preservesPitch = true;
    this.kind = null;
    this.level = START_LEVEL;
    this.click = false;
    this.span = null;
    this.rate = 1;
    this.beats = [];
    this.listeners = [];
    this.taps = [];
    this.until = null;
    this.nextBeat = 0;
    this.context = null;
    // Where it goes on; whether the sound is there, and who waits for it.
    Object.assign(this, { at: 0, there: false, loading: null, waiting: null });
    this.audio.volume = this.level;
    this.audio.addEventListener("ended", () => this.tell());
    this.audio.addEventListener("pause", () => this.tell());
    this.audio.addEventListener("play", () => this.tell());
    setInterval(() => this.tick(), TICK_MS);
  }

  onChange(listener) {
    this.listeners.push(listener);
  }

  tell() {
    this.listeners.forEach((listener) => listener());
  }

  get playing() {
    return !this.audio.paused && !this.audio.ended;
  }

  get time() {
    return this.there ? this.clock.toLine(this.audio.currentTime) : this.at;
  }

  /** Goes to a moment, though its sound may not be there yet. */
  seek(time) {
    this.at = time;
    if (this.there) this.audio.currentTime = this.clock.toSound(time);
  }

  get clock() {
    return this.clocks[this.kind] || SAME_CLOCK;
  }

  /** Chooses what is heard, from the same moment on. The draft's sound is only asked for when it is to be played. */
  async choose(kind, revision) {
    const address = this.source(kind, revision);
    if (this.address === address) return;
    const went = this.playing || this.waiting;
    this.drop();
    Object.assign(this, { address, kind });
    if (went) await this.play();
    else if (kind === "take") await this.load();
  }

  /** Lets go of the sound that is there or on its way. */
  drop() {
    this.at = this.time;
    this.audio.pause();
    this.there = false;
    if (!this.loading) return;
    this.loading = null;
    this.audio.removeAttribute("src");
    this.audio.load();
    this.giveUp();
  }

  /** Has the chosen sound brought, unless it is there or on its way; true once it can be played. */
  load() {
    if (this.loading) return this.loading;
    const { audio } = this;
    this.loading = new Promise((done, failed) => {
      const wait = new AbortController();
      const heard = { once: true, signal: wait.signal };
      this.giveUp = () => {
        wait.abort();
        done(false);
      };
      audio.addEventListener("loadedmetadata", () => {
        wait.abort();
        this.there = true;
        const at = this.clock.toSound(this.at);
        audio.currentTime = Math.min(at, audio.duration || at);
        done(true);
      }, heard);
      audio.addEventListener("error", () => {
        wait.abort();
        this.loading = null;
        failed(new Error("This sound cannot be played."));
      }, heard);
      audio.src = this.address;
      this.apply();
    });
    return this.loading;
  }

  apply() {
    this.audio.preservesPitch = true;
    this.audio.defaultPlaybackRate = this.rate;
    this.audio.playbackRate = this.rate;
    this.audio.volume = this.level;
  }

  async play(from, until = null) {
    this.sound();
    if (from !== undefined) this.seek(from);
    else if (this.span && (this.time < this.span[0] - 0.05 || this.time >= this.span[1])) this.seek(this.span[0]);
    this.until = until;
    if (!(await this.brought())) return;
    this.apply();
    this.aim();
    await this.audio.play();
  }

  /** Waits for the sound; whether it is still to be played then. */
  async brought() {
    if (this.there) return true;
    const wait = {};
    this.waiting = wait;
    this.tell();
    try {
      return (await this.load()) && this.waiting === wait;
    } finally {
      if (this.waiting === wait) this.waiting = null;
      this.tell();
    }
  }

  stop() {
    this.audio.pause();
    this.until = null;
    if (this.short) this.short.pause();
    // A sound that is still being made is not made for nobody.
    if (this.waiting && this.kind !== "take") this.drop();
    this.waiting = null;
    this.tell();
  }

  setRate(rate) {
    this.rate = rate;
    this.apply();
    this.aim();
  }

  setLevel(level) {
    this.level = level;
    this.audio.volume = level;
    if (this.short) this.short.volume = level;
  }

  setSpan(span) {
    this.span = span;
  }

  setBeats(beats) {
    this.beats = beats;
    this.aim();
  }

  /** Plays a short sound once, the long one halted. */
  async once(address) {
    this.stop();
    this.short = this.short || new Audio();
    this.short.src = address;
    this.short.volume = this.level;
    await this.short.play();
  }

  sound() {
    if (!this.context) this.context = new AudioContext();
    if (this.context.state === "suspended") this.context.resume();
  }

  aim() {
    const now = this.time;
    this.nextBeat = this.beats.findIndex((beat) => beat.time >= now - 0.005);
    if (this.nextBeat < 0) this.nextBeat = this.beats.length;
  }

  tick() {
    if (!this.playing) return;
    const now = this.time;
    if (this.until !== null && now >= this.until) {
      this.stop();
      return;
    }
    if (this.span && now >= this.span[1]) {
      this.seek(this.span[0]);
      this.until = null;
      this.aim();
      return;
    }
    const known = this.beats[this.nextBeat - 1];
    if (known && known.time > now + 0.5) this.aim();
    while (this.nextBeat < this.beats.length) {
      const beat = this.beats[this.nextBeat];
      const wait = (this.clock.toSound(beat.time) - this.audio.currentTime) / this.rate;
      if (wait > AHEAD_S) break;
      if (this.click && wait > -0.05) this.tap(Math.max(wait, 0), beat.first);
      this.nextBeat += 1;
    }
  }

  tap(wait, first) {
    const start = this.context.currentTime + wait;
    const tone = this.context.createOscillator();
    const gain = this.context.createGain();
    tone.frequency.value = first ? 1560 : 1040;
    gain.gain.setValueAtTime(0.0001, start);
    gain.gain.exponentialRampToValueAtTime(Math.max(0.5 * this.level, 0.0002), start + 0.002);
    gain.gain.exponentialRampToValueAtTime(0.0001, start + 0.06);
    tone.connect(gain).connect(this.context.destination);
    tone.start(start);
    tone.stop(start + 0.08);
    this.tapped = (this.tapped || 0) + 1;
  }
}

/** Tapped beats of a take with their times; what lies between beats found is carried on. */
export function tappedBeats(timing) {
  const { beats_s: times, first_beat: first, beats, tap } = timing;
  return times
    .map((time, index) => ({ time, place: first + index }))
    .filter((beat) => (((beat.place % tap) + tap) % tap) === 0)
    .map((beat) => ({ time: beat.time, first: (((beat.place % beats) + beats) % beats) === 0 }));
}

/** Denominator beats from beat 1 of bar 1 to a note. */
export function placeOf(note, timing) {
  const [top, bottom = "1"] = note.beat.split("/");
  return (note.bar - 1) * timing.beats + Number(top) / Number(bottom) - 1;
}

/** Time at which such a place is due, by the beats found. */
export function timeOf(place, timing) {
  const times = timing.beats_s;
  if (times.length < 2) return times[0] + ((place - timing.first_beat) * 60) / (timing.tempo_bpm * timing.tap);
  const at = Math.min(Math.max(Math.floor(place) - timing.first_beat, 0), times.length - 2);
  return times[at] + (place - timing.first_beat - at) * (times[at + 1] - times[at]);
}

/** A clock from pairs of a time of the sound and one of the line, both ascending; beyond them it runs at `ratio`. */
export function clockFrom(knots, ratio) {
  const turn = (time, from, to, speed) => {
    let high = knots.findIndex((knot) => knot[from] > time);
    if (high === 0) return knots[0][to] - (knots[0][from] - time) * speed;
    if (high < 0) high = knots.length;
    const low = knots[high - 1];
    if (high === knots.length) return low[to] + (time - low[from]) * speed;
    const next = knots[high];
    return low[to] + ((time - low[from]) / (next[from] - low[from])) * (next[to] - low[to]);
  };
  return {
    toLine: (time) => turn(time, 0, 1, ratio),
    toSound: (time) => Math.max(turn(time, 1, 0, 1 / ratio), 0),
  };
}
