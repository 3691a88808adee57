// The top in 3-D: pyvista's scene in vtk.js, from the viewer that trame-vtk brings. The scene comes from the server;
// only its points move here.

const SWING = 1.1;
const HEIGHT = 0.055;
const TURN = 12;

export class Shape {
  /** @param {HTMLElement} box what the picture fills */
  constructor(box) {
    this.box = box;
    this.isPlaying = false;
    this.isSeen = true;
    this.frames = 0;
    new IntersectionObserver(([entry]) => {
      this.isSeen = entry.isIntersecting;
      this.again();
    }).observe(box);
    new ResizeObserver(() => this.fit()).observe(box);
    box.addEventListener("pointerdown", (event) => {
      if (!this.window) return;
      box.setPointerCapture(event.pointerId);
      this.from = [event.clientX, event.clientY];
    });
    box.addEventListener("pointermove", (event) => {
      if (!box.hasPointerCapture(event.pointerId)) return;
      this.turn(0.4 * (this.from[0] - event.clientX), event.pointerType === "touch" ? 0 : 0.4 * (event.clientY - this.from[1]));
      this.from = [event.clientX, event.clientY];
    });
  }

  /** @param {(path: string) => string} address */
  async load(address) {
    if (!document.createElement("canvas").getContext("webgl2")) throw new Error("this browser has no 3-D");
    // The scene first: the viewer shows a file chooser of its own if it is left waiting.
    const scene = await fetch(address("modes/top.vtksz"));
    if (!scene.ok) throw new Error("the server has no scene");
    const content = await scene.arrayBuffer();
    await import(address("modes/viewer.js"));
    window.OfflineLocalView.load(this.box, { file: new Blob([content]), ext: "vtksz" });
    this.window = await found();
    this.renderer = this.window.getRenderers().find((one) => one.getActors().length);
    this.data = this.renderer.getActors()[0].getMapper().getInputData();
    this.points = this.data.getPoints();
    const flat = this.points.getData();
    this.length = extent(flat, 0);
    this.scalars = this.data.getPointData().getScalars() ?? this.data.getPointData().getArrays()[0];
    // Wheel and touch belong to the page; turning has buttons and keys of its own.
    this.window.getInteractor().unbindEvents();
    const canvas = this.box.querySelector("canvas");
    canvas?.setAttribute("aria-hidden", "true");
    if (canvas) canvas.tabIndex = -1;
    this.fit();
  }

  get isReady() {
    return Boolean(this.window);
  }

  /** @param {number[]} shape deflections of the points, any scale */
  set(shape) {
    if (!this.window || 3 * shape.length !== this.points.getData().length) return;
    const largest = shape.reduce((most, w) => Math.max(most, Math.abs(w)), 0) || 1;
    this.shape = Float32Array.from(shape, (w) => w / largest);
    if (this.scalars) {
      this.scalars.getData().set(this.shape);
      this.scalars.modified();
    }
    this.bend(0.8);
    this.again();
  }

  background(colour) {
    if (!this.window) return;
    const [r, g, b] = colour.match(/\d+/g).map(Number);
    for (const one of this.window.getRenderers()) one.setBackground(r / 255, g / 255, b / 255);
    this.window.render();
  }

  play(isPlaying) {
    this.isPlaying = isPlaying;
    this.again();
  }

  again() {
    if (this.window && this.isPlaying && this.isSeen && this.shape && !this.asked) this.asked = requestAnimationFrame((time) => this.frame(time));
  }

  frame(time) {
    this.asked = 0;
    if (!this.isPlaying || !this.isSeen) return;
    this.bend(Math.sin((2 * Math.PI * time) / (1000 * SWING)));
    this.frames += 1;
    this.again();
  }

  bend(share) {
    const places = this.points.getData();
    const height = HEIGHT * this.length * share;
    for (let k = 0; k < this.shape.length; k += 1) places[3 * k + 2] = height * this.shape[k];
    this.points.modified();
    this.data.modified();
    this.window.render();
  }

  turn(aside, up) {
    if (!this.window) return;
    const camera = this.renderer.getActiveCamera();
    camera.azimuth(aside);
    camera.elevation(up);
    camera.orthogonalizeViewUp();
    this.renderer.resetCameraClippingRange();
    this.window.render();
  }

  /** Turn by a key's name; whether it was one of those. */
  key(name) {
    const way = { ArrowLeft: [-TURN, 0], ArrowRight: [TURN, 0], ArrowUp: [0, TURN], ArrowDown: [0, -TURN] }[name];
    if (way) this.turn(...way);
    return Boolean(way);
  }

  fit() {
    if (!this.window) return;
    const { clientWidth: width, clientHeight: height } = this.box;
    if (!width || !height) return;
    const ratio = Math.min(devicePixelRatio, 2);
    this.window.getViews()[0].setSize(Math.round(width * ratio), Math.round(height * ratio));
    this.renderer.resetCamera();
    this.renderer.getActiveCamera().zoom(1.15);
    this.window.render();
  }
}

/** The viewer's window, once it has something in it. */
function found() {
  const start = performance.now();
  return new Promise((resolve, reject) => {
    const look = () => {
      const window_ = window.global?.renderWindow ?? window.renderWindow;
      if (window_?.getRenderers().some((one) => one.getActors().length)) resolve(window_);
      else if (performance.now() - start > 20_000) reject(new Error("the viewer shows nothing"));
      else requestAnimationFrame(look);
    };
    look();
  });
}

function extent(places, axis) {
  let [low, high] = [Infinity, -Infinity];
  for (let k = axis; k < places.length; k += 3) [low, high] = [Math.min(low, places[k]), Math.max(high, places[k])];
  return high - low;
}
