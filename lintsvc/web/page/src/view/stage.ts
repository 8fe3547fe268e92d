// The stage that bodies are drawn on: camera, light, labels that stay readable, and drawing only when asked.
import {
  AmbientLight, Box3, type BufferGeometry, DirectionalLight, type Material, type Mesh, OrthographicCamera, Scene, Vector2, Vector3,
  type WebGLRenderer,
} from "three";
import { OrbitControls } from "three/examples/jsm/controls/OrbitControls.js";
import { h } from "../dom";
import { Labels } from "./labels";
import { Pace, drawn } from "./pace";
import { cross } from "./tool_buttons";
import { giveBack, takeRenderer } from "./renderers";
import { Sender } from "./send";

/** Directions from the part towards whoever looks, and which way is up. */
const LOOKS = {
  whole: [0.62, -0.66, 0.42], top: [0, 0, 1], bottom: [0, 0, -1], front: [0, -1, 0], back: [0, 1, 0], left: [-1, 0, 0], right: [1, 0, 0],
} as const;
export type Look = keyof typeof LOOKS;

/** Where the camera stands, so that another view of the same part can begin there. */
export interface KeptCamera { position: [number, number, number]; target: [number, number, number]; zoom: number; last: Look | null }

export class Stage {
  readonly element: HTMLElement;
  /** Holds the canvas, takes focus and pointers. */
  readonly pad: HTMLElement;
  readonly scene = new Scene();
  readonly camera = new OrthographicCamera(-1, 1, 1, -1, -1000, 1000);
  readonly controls: OrbitControls;
  readonly centre = new Vector3();
  readonly size = new Vector3();
  radius = 1;
  private readonly framed = new Box3();
  /** The part itself. */
  private readonly part = new Box3();
  /** What was looked at last, as long as nobody moved since: it is kept when the size of the view changes. */
  private last: Look | null = null;
  /** Called just before each picture. */
  before: () => void = () => undefined;
  /** Called when a place was clicked, not when the view was turned. */
  onClick: (event: MouseEvent) => void = () => undefined;
  readonly pace: Pace;
  private readonly renderer: WebGLRenderer;
  private readonly labels = new Labels();
  private readonly sun = new DirectionalLight(0xffffff, 2.4);
  private readonly observer: ResizeObserver;
  private flight: number | null = null;
  private asked = 0;
  private sized = false;

  constructor(box: Box3, words: string) {
    this.renderer = takeRenderer();
    this.pace = new Pace(this.renderer, () => this.draw());
    this.pad = h("div", { class: "view-pad", tabindex: 0, role: "img", "aria-label": words }, this.renderer.domElement);
    this.element = h("div", { class: "view view-body" }, this.pad, this.labels.element, cross());
    this.scene.add(new AmbientLight(0xffffff, 1.0), this.sun);
    this.frame(box);
    this.camera.up.set(0, 0, 1);
    this.controls = new OrbitControls(this.camera, this.pad);
    this.controls.enableDamping = false;
    this.controls.zoomToCursor = true;
    this.controls.addEventListener("change", () => this.moved());
    this.controls.addEventListener("end", () => this.pace.hold(false));
    this.controls.addEventListener("start", () => {
      this.pace.hold(true);
      this.last = null;
      this.stopFlight();
    });
    let down: [number, number] = [0, 0];
    this.pad.addEventListener("pointerdown", (event) => { down = [event.clientX, event.clientY]; });
    this.pad.addEventListener("click", (event) => {
      if (Math.hypot(event.clientX - down[0], event.clientY - down[1]) < 4) this.onClick(event);
    });
    this.observer = new ResizeObserver(() => this.resize());
    this.observer.observe(this.element);
  }

  /** Make the whole of a box what "whole" means; `beside` is drawn beside it and belongs into the picture. */
  frame(box: Box3, beside?: Box3): void {
    box.getCenter(this.centre);
    box.getSize(this.size);
    this.framed.copy(box);
    this.part.copy(box);
    if (beside) this.framed.union(beside);
    this.radius = Math.max(1e-6, this.size.length() / 2);
  }

  /** The zoom at which what is framed fills most of the view when seen from there. */
  private zoomFor(towards: Vector3): number {
    const aside = new Vector3().crossVectors(this.camera.up, towards).normalize();
    const up = new Vector3().crossVectors(towards, aside);
    const half = this.framed.getSize(new Vector3()).multiplyScalar(0.5);
    const reach = (way: Vector3) => Math.abs(way.x) * half.x + Math.abs(way.y) * half.y + Math.abs(way.z) * half.z;
    // Room for the sizes around it.
    const room = this.element.clientWidth < 500 ? 0.7 : 0.8;
    return room * Math.min(this.camera.right / Math.max(reach(aside), 1e-9), this.camera.top / Math.max(reach(up), 1e-9));
  }

  look(from: Look, animate = false): void {
    // Straight down, the way up would be undefined: a hair from the front keeps it.
    const [x, y, z] = LOOKS[from];
    this.last = from;
    const towards = new Vector3(x, y - (x === 0 && y === 0 ? 1e-4 : 0), z).normalize();
    this.move(this.framed.getCenter(new Vector3()), towards, this.zoomFor(towards), animate);
  }

  /** Bring a place into view, from the side of the part that it lies on, or a given one; a measured distance is seen aslant. */
  flyTo(middle: Vector3, extent: number, across: Vector3 | null, facing: Vector3 | null = null): void {
    this.last = null;
    const zoom = Math.min(6, Math.max(1, (this.radius * 0.9) / Math.max(extent, this.radius * 0.02)));
    const here = this.camera.position.clone().sub(this.controls.target).normalize();
    const outward = middle.clone().sub(this.centre).divideScalar(this.radius);
    if (facing) here.addScaledVector(facing.clone().normalize(), 2);
    else if (across && across.lengthSq() > 0) {
      // Neither along the distance, which would be a dot, nor across it, which hides the faces it stands on.
      const along = across.clone().normalize();
      if (along.dot(Math.abs(outward.dot(along)) > 0.1 ? outward : here) < 0) along.negate();
      const aside = here.clone().addScaledVector(along, -here.dot(along));
      if (aside.length() < 0.2) aside.set(0.62, -0.66, 0.42).addScaledVector(along, -along.dot(new Vector3(0.62, -0.66, 0.42)));
      here.copy(along).multiplyScalar(0.75).addScaledVector(aside.normalize(), 0.66);
    } else if (outward.length() > 0.05) here.addScaledVector(outward.normalize(), 0.8);
    here.z = Math.max(here.z, -0.8);
    if (here.length() < 1e-3) here.set(0.6, -0.6, 0.4);
    // As long as much of the part is seen, it stays near the middle.
    const target = this.centre.clone().lerp(middle, Math.min(1, zoom / 2.5));
    this.move(target, here.normalize(), zoom, true);
  }

  /** Show a place large: so that `across` mm fill a sixth of the view. */
  closeUp(middle: Vector3, towards: Vector3, across: number): void {
    this.last = null;
    const long = Math.max(across, this.radius * 1e-5);
    this.move(middle, towards.clone().normalize(), Math.min(2000, (this.camera.top - this.camera.bottom) / (6 * long)), true);
  }

  /** Turn by so many degrees about the upright, and up or down. */
  turn(aside: number, up: number): void {
    this.last = null;
    this.stopFlight();
    const arm = this.camera.position.clone().sub(this.controls.target);
    const flat = Math.hypot(arm.x, arm.y);
    const around = Math.atan2(arm.y, arm.x) + (aside * Math.PI) / 180;
    const lift = Math.max(-1.5707, Math.min(1.5707, Math.atan2(arm.z, flat) + (up * Math.PI) / 180));
    const length = arm.length();
    arm.set(Math.cos(around) * Math.cos(lift), Math.sin(around) * Math.cos(lift), Math.sin(lift)).multiplyScalar(length);
    this.camera.position.copy(this.controls.target).add(arm);
    this.controls.update();
    this.moved();
  }

  zoomBy(factor: number): void {
    this.last = null;
    this.camera.zoom = Math.min(2000, Math.max(0.05, this.camera.zoom * factor));
    this.camera.updateProjectionMatrix();
    this.controls.update();
    this.moved();
  }

  /** The direction from the part towards whoever looks. */
  towards(): Vector3 {
    return this.camera.position.clone().sub(this.controls.target).normalize();
  }

  /** Up and to the left of the picture. */
  aside(): Vector3 {
    const left = new Vector3().setFromMatrixColumn(this.camera.matrixWorld, 0).negate();
    return left.add(new Vector3().setFromMatrixColumn(this.camera.matrixWorld, 1)).normalize();
  }

  keep(): KeptCamera {
    return { position: this.camera.position.toArray(), target: this.controls.target.toArray(), zoom: this.camera.zoom, last: this.last };
  }

  restore({ position, target, zoom, last }: KeptCamera): void {
    this.stopFlight();
    this.camera.position.fromArray(position);
    this.controls.target.fromArray(target);
    this.camera.zoom = zoom;
    this.last = last;
    this.camera.updateProjectionMatrix();
    this.controls.update();
    this.draw();
  }

  /** Millimetres on the part for one pixel on the screen. */
  perPixel(): number {
    return (this.camera.top - this.camera.bottom) / this.camera.zoom / Math.max(1, this.element.clientHeight);
  }

  /** Where a pointer is, from -1 to 1 on both axes. */
  at(event: { clientX: number; clientY: number }): Vector2 {
    const r = this.pad.getBoundingClientRect();
    return new Vector2(((event.clientX - r.left) / r.width) * 2 - 1, 1 - ((event.clientY - r.top) / r.height) * 2);
  }

  /** Words at a place, with a sign before them; `kind` takes them away again. */
  label(kind: string, at: Vector3, make: () => string, sign: Node | null = null): HTMLElement {
    return this.labels.add(kind, at, make, sign);
  }

  unlabel(kind: string): void {
    this.labels.remove(kind);
  }

  relabel(): void {
    this.labels.relabel();
    this.draw();
  }

  /** What is large is sent to the graphics card by it. */
  sender(): Sender {
    return new Sender(this.renderer, () => this.draw());
  }

  /** Draw once, at the next frame, however often it is asked for. */
  draw(): void {
    if (this.asked) return;
    this.asked = requestAnimationFrame(() => {
      this.asked = 0;
      this.render();
    });
  }

  /** Draw once, as coarsely as while it moves, and wait until the graphics card has done so. */
  async settle(): Promise<void> {
    this.moved();
    await new Promise(requestAnimationFrame);
    await drawn(this.renderer);
  }

  private moved(): void {
    this.pace.moved();
    this.draw();
  }

  dispose(): void {
    this.stopFlight();
    if (this.asked) cancelAnimationFrame(this.asked);
    this.pace.dispose();
    this.observer.disconnect();
    this.controls.dispose();
    // The renderer is handed on: what was drawn must not stay with it.
    this.scene.traverse((object) => {
      const { geometry, material } = object as Partial<Mesh<BufferGeometry, Material>>;
      geometry?.dispose();
      material?.dispose();
    });
    giveBack(this.renderer);
  }

  private render(): void {
    // To give the canvas its size waits for all that was drawn before: nothing is drawn before it has one.
    if (!this.sized) return;
    this.camera.updateMatrixWorld();
    // Over the left shoulder of whoever looks, so that faces differ by their slope from every side.
    const left = new Vector3().setFromMatrixColumn(this.camera.matrixWorld, 0).multiplyScalar(-2.4 * this.radius);
    const up = new Vector3().setFromMatrixColumn(this.camera.matrixWorld, 1).multiplyScalar(3.2 * this.radius);
    this.sun.position.copy(this.camera.position).sub(this.controls.target).add(left).add(up);
    this.before();
    this.renderer.render(this.scene, this.camera);
    void this.pace.pictured();
    this.labels.place(this.camera, this.element.clientWidth, this.element.clientHeight, this.part);
  }

  private move(target: Vector3, towards: Vector3, zoom: number, animate: boolean): void {
    this.stopFlight();
    const from = { position: this.camera.position.clone(), target: this.controls.target.clone(), zoom: this.camera.zoom };
    const arm = towards.clone().multiplyScalar(this.radius * 4);
    const start = from.position.clone().sub(from.target);
    const apply = (share: number) => {
      const ease = share * share * (3 - 2 * share);
      this.controls.target.lerpVectors(from.target, target, ease);
      // Along an arc: on a straight line the part would be passed through.
      const way = start.clone().lerp(arm, ease);
      if (way.lengthSq() < 1e-9 * arm.lengthSq()) way.copy(arm);
      this.camera.position.copy(this.controls.target).addScaledVector(way.normalize(), arm.length());
      this.camera.zoom = from.zoom * (zoom / from.zoom) ** ease;
      this.camera.updateProjectionMatrix();
      this.controls.update();
      this.moved();
    };
    if (!animate || matchMedia("(prefers-reduced-motion: reduce)").matches) {
      apply(1);
      return;
    }
    const started = performance.now();
    const step = (now: number) => {
      const share = Math.min(1, (now - started) / 350);
      apply(share);
      this.flight = share < 1 ? requestAnimationFrame(step) : null;
    };
    this.flight = requestAnimationFrame(step);
  }

  private stopFlight(): void {
    if (this.flight !== null) cancelAnimationFrame(this.flight);
    this.flight = null;
  }

  private resize(): void {
    const { clientWidth: width, clientHeight: height } = this.element;
    if (!width || !height) return;
    this.renderer.setSize(width, height);
    this.sized = true;
    const span = this.radius * 1.2;
    const aspect = width / height;
    const tall = aspect >= 1 ? span : span / aspect;
    this.camera.left = -tall * aspect;
    this.camera.right = tall * aspect;
    this.camera.top = tall;
    this.camera.bottom = -tall;
    this.camera.near = -this.radius * 20;
    this.camera.far = this.radius * 40;
    this.camera.updateProjectionMatrix();
    if (this.last) this.look(this.last);
    // At once: a canvas that was just resized is empty until it is drawn again.
    this.render();
  }
}
