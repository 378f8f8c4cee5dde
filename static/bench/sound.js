// Each answer has a sound of its own, for who looks at the work and not at the screen. It can be off, and stays so.

const SOUNDS = {
  seen: [[660, 0.06]],
  done: [[660, 0.08], [990, 0.12]],
  stop: [[220, 0.18], [220, 0.18]],
  wrong: [[160, 0.35]],
};
const OFF = "pairtrail-sound-off";
let context;

export const isOff = () => localStorage.getItem(OFF) !== null;

export function turn() {
  if (isOff()) localStorage.removeItem(OFF);
  else localStorage.setItem(OFF, "yes");
}

export function play(name) {
  const notes = SOUNDS[name];
  if (!notes || isOff() || !("AudioContext" in window)) return;
  context ??= new AudioContext();
  let at = context.currentTime;
  for (const [pitch, seconds] of notes) {
    const tone = new OscillatorNode(context, { frequency: pitch, type: "triangle" });
    const volume = new GainNode(context, { gain: 0.25 });
    tone.connect(volume).connect(context.destination);
    tone.start(at);
    volume.gain.setTargetAtTime(0, at + seconds - 0.03, 0.01);
    tone.stop(at + seconds);
    at += seconds + 0.05;
  }
}
