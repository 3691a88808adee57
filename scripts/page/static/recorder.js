// The browser's microphone as a WAV file: one channel, at the sound card's own rate, nothing done to it.

const WANTED = { channelCount: 1, echoCancellation: false, noiseSuppression: false, autoGainControl: false };
const PROCESSING = { echoCancellation: "echo cancellation", noiseSuppression: "noise suppression", autoGainControl: "automatic gain" };

/** Longest recording, s; chosen: forty taps, and small enough to be sent at once. */
export const LONGEST = 120;

/**
 * Begin to record.
 * @param {(level: {peak: number, seconds: number, isClipped: boolean}) => void} heard called some twenty times a second
 * @param {() => void} ended called when it stops by itself: after LONGEST seconds, or when the microphone is taken away
 * @returns {Promise<{processing: string[], rate: number, stop: () => Promise<Blob>}>}
 *   `processing` names what the browser still does to the sound
 */
export async function record(heard, ended) {
  if (!navigator.mediaDevices?.getUserMedia) throw new Error("This browser gives pages no microphone; choose recordings as files instead.");
  const stream = await navigator.mediaDevices.getUserMedia({ audio: WANTED });
  const context = new AudioContext();
  const pieces = [];
  let n = 0;
  let isClipped = false;
  let isOver = false;
  try {
    await context.audioWorklet.addModule(new URL("worklet.js", import.meta.url));
    const node = new AudioWorkletNode(context, "tap", { numberOfInputs: 1, numberOfOutputs: 0, channelCount: 1, channelCountMode: "explicit" });
    node.port.onmessage = ({ data }) => {
      if (isOver) return;
      pieces.push(data);
      n += data.length;
      const peak = largest(data);
      isClipped ||= peak >= 0.999;
      heard({ peak, seconds: n / context.sampleRate, isClipped });
      if (n >= LONGEST * context.sampleRate) ended();
    };
    context.createMediaStreamSource(stream).connect(node);
    await context.resume();
  } catch (error) {
    await close();
    throw error;
  }
  const [track] = stream.getAudioTracks();
  track.addEventListener("ended", () => isOver || ended());

  async function close() {
    isOver = true;
    for (const one of stream.getTracks()) one.stop();
    await context.close();
  }

  return {
    processing: processed(track.getSettings()),
    rate: context.sampleRate,
    async stop() {
      const { sampleRate } = context;
      await close();
      return new Blob([wav(joined(pieces, n), sampleRate)], { type: "audio/wav" });
    },
  };
}

/** What the browser still does to the sound, in words. */
export function processed(settings) {
  return Object.entries(PROCESSING).filter(([key]) => settings[key] === true).map(([, words]) => words);
}

/**
 * A WAV file of one channel in 32-bit floats, with the fact chunk that this form needs.
 * @param {Float32Array} samples
 * @param {number} rate samples per second
 */
export function wav(samples, rate) {
  const bytes = new ArrayBuffer(58 + 4 * samples.length);
  const view = new DataView(bytes);
  const text = (at, word) => [...word].forEach((sign, k) => view.setUint8(at + k, sign.charCodeAt(0)));
  text(0, "RIFF");
  view.setUint32(4, 50 + 4 * samples.length, true);
  text(8, "WAVEfmt ");
  view.setUint32(16, 18, true);
  view.setUint16(20, 3, true);
  view.setUint16(22, 1, true);
  view.setUint32(24, rate, true);
  view.setUint32(28, 4 * rate, true);
  view.setUint16(32, 4, true);
  view.setUint16(34, 32, true);
  view.setUint16(36, 0, true);
  text(38, "fact");
  view.setUint32(42, 4, true);
  view.setUint32(46, samples.length, true);
  text(50, "data");
  view.setUint32(54, 4 * samples.length, true);
  samples.forEach((value, k) => view.setFloat32(58 + 4 * k, value, true));
  return bytes;
}

/** Why the microphone cannot be had, in a maker's words. */
export function refusalWords(error) {
  if (error.name === "NotAllowedError") return "The browser was not allowed to use the microphone; allow it for this page, or choose recordings as files.";
  if (error.name === "NotFoundError") return "No microphone was found; choose recordings as files.";
  return `The microphone cannot be used: ${error.message}`;
}

function joined(pieces, n) {
  const all = new Float32Array(n);
  let at = 0;
  for (const piece of pieces) {
    all.set(piece, at);
    at += piece.length;
  }
  return all;
}

function largest(samples) {
  let peak = 0;
  for (const value of samples) peak = Math.max(peak, Math.abs(value));
  return peak;
}
