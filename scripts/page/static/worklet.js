// The microphone's samples on their way to the page, one channel, gathered into pieces.

const PIECE = 2048;

class Tap extends AudioWorkletProcessor {
  constructor() {
    super();
    this.piece = new Float32Array(PIECE);
    this.n = 0;
  }

  process([input]) {
    const samples = input[0];
    if (!samples) return true;
    for (let k = 0; k < samples.length; k += 1) {
      this.piece[this.n] = samples[k];
      this.n += 1;
      if (this.n === PIECE) {
        this.port.postMessage(this.piece.slice(0));
        this.n = 0;
      }
    }
    return true;
  }
}

registerProcessor("tap", Tap);
