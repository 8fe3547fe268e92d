// A body in 3D: turn, move, zoom; findings lit on its faces; the chosen one brought into view with its dimension.
import {
  AmbientLight, BufferAttribute, BufferGeometry, Color, DirectionalLight, DoubleSide, EdgesGeometry, Group, LineBasicMaterial,
  LineSegments, Mesh, MeshBasicMaterial, MeshLambertMaterial, OrthographicCamera, Raycaster, Scene, Vector2,
  Vector3, WebGLRenderer, BoxGeometry,
} from "three";
import { OrbitControls } from "three/examples/jsm/controls/OrbitControls.js";
import { MeshBVH, type SerializedBVH, acceleratedRaycast } from "three-mesh-bvh";
import { h } from "../dom";
import { text } from "../strings";
import { length } from "../units";
import { colours } from "./colours";
import type { BodyGeometry } from "./decode";
import type { PartView, PlacedFinding } from "./placed";

/** Drawing true edges of a finer mesh costs more than it shows. */
const MOST_FACES_WITH_EDGES = 200_000;

export class BodyView implements PartView {
  readonly element: HTMLElement;
  private readonly renderer: WebGLRenderer;
  private readonly scene = new Scene();
  private readonly camera = new OrthographicCamera(-1, 1, 1, -1, -1000, 1000);
  private readonly controls: OrbitControls;
  private readonly labels = h("div", { class: "view-labels", "aria-hidden": "true" });
  private readonly marks = new Group();
  private readonly lights: Mesh[] = [];
  private readonly mesh: Mesh<BufferGeometry, MeshLambertMaterial>;
  private readonly edges: LineSegments<BufferGeometry, LineBasicMaterial> | null = null;
  private readonly centre = new Vector3();
  private readonly sizeOf = new Vector3();
  private readonly sun = new DirectionalLight(0xffffff, 2.4);
  private readonly observer: ResizeObserver;
  private radius = 1;
  private chosen: number | null = null;
  private labelled: { at: Vector3; make: () => string; kind: string; node: HTMLElement }[] = [];
  private flight: number | null = null;
  private asked = false;

  constructor(
    body: BodyGeometry,
    private readonly findings: PlacedFinding[],
    private readonly onPick: (index: number | null) => void,
  ) {
    this.renderer = new WebGLRenderer({ antialias: true, alpha: true });
    this.renderer.setPixelRatio(Math.min(devicePixelRatio, 2));
    const canvas = this.renderer.domElement;
    canvas.tabIndex = 0;
    canvas.setAttribute("role", "img");
    canvas.setAttribute("aria-label", text.bodyViewLabel);
    this.element = h("div", { class: "view view-body" }, canvas, this.labels);

    const geometry = new BufferGeometry();
    geometry.setAttribute("position", new BufferAttribute(body.positions, 3));
    geometry.setIndex(new BufferAttribute(body.index, 1));
    geometry.computeBoundingBox();
    geometry.boundingBox!.getCenter(this.centre);
    geometry.boundingBox!.getSize(this.sizeOf);
    this.radius = Math.max(1e-6, this.sizeOf.length() / 2);
    // Flat shading needs no normals: they come from the triangle itself, which also shows facets as they are.
    this.mesh = new Mesh(geometry, new MeshLambertMaterial({ flatShading: true, side: DoubleSide }));
    this.mesh.raycast = acceleratedRaycast;
    this.scene.add(this.mesh, this.marks, new AmbientLight(0xffffff, 1.0), this.sun);
    if (body.triangles <= MOST_FACES_WITH_EDGES) {
      this.edges = new LineSegments(new EdgesGeometry(geometry, 25), new LineBasicMaterial());
      this.scene.add(this.edges);
    }
    for (const finding of findings) this.lights.push(this.light(geometry, finding));

    this.camera.up.set(0, 0, 1);
    this.controls = new OrbitControls(this.camera, canvas);
    this.controls.enableDamping = false;
    this.controls.zoomToCursor = true;
    this.controls.addEventListener("change", () => this.draw());
    this.controls.addEventListener("start", () => this.stopFlight());
    this.controls.listenToKeyEvents(canvas);
    let down: [number, number] = [0, 0];
    canvas.addEventListener("pointerdown", (event) => { down = [event.clientX, event.clientY]; });
    canvas.addEventListener("click", (event) => {
      if (Math.hypot(event.clientX - down[0], event.clientY - down[1]) < 4) this.pick(event);
    });
    this.addScale();
    this.addSizes();
    this.recolour();
    this.observer = new ResizeObserver(() => this.resize());
    this.observer.observe(this.element);
    this.fit();
  }

  /** The search tree arrives later than the first picture; picking is slow without it, so it waits. */
  setTree(tree: SerializedBVH): void {
    const geometry = this.mesh.geometry as BufferGeometry & { boundsTree?: MeshBVH };
    geometry.boundsTree = MeshBVH.deserialize(tree, geometry, { setIndex: false });
  }

  select(index: number | null): void {
    this.chosen = index;
    this.relight();
    this.dimension();
    const finding = index === null ? null : this.findings[index];
    if (finding?.box) this.flyTo(finding);
    else this.draw();
  }

  fit(): void {
    const towards = new Vector3(0.62, -0.66, 0.42).normalize();
    this.move(this.centre.clone(), towards, 1);
  }

  /** Look along an axis. */
  look(direction: [number, number, number]): void {
    this.move(this.centre.clone(), new Vector3(...direction).normalize(), 1);
  }

  lit(): number[] {
    if (this.chosen === null) return [];
    const faces: number[] = [];
    for (const [first, count] of this.findings[this.chosen]?.faces ?? []) for (let i = 0; i < count; i++) faces.push(first + i);
    return this.lights[this.chosen]?.visible ? faces : [];
  }

  recolour(): void {
    const c = colours();
    this.mesh.material.color.set(new Color(c.part));
    this.edges?.material.color.set(new Color(c.edge));
    this.findings.forEach((finding, i) => {
      (this.lights[i]!.material as MeshBasicMaterial).color.set(new Color(i === this.chosen ? c.chosen : c[finding.level]));
    });
    this.relight();
    this.dimension();
    this.draw();
  }

  relabel(): void {
    for (const label of this.labelled) label.node.textContent = label.make();
    this.draw();
  }

  dispose(): void {
    this.stopFlight();
    this.observer.disconnect();
    this.controls.dispose();
    this.mesh.geometry.dispose();
    this.renderer.dispose();
    this.renderer.forceContextLoss();
  }

  /** A mesh of the finding's faces that shares the part's vertices, drawn just in front of them. */
  private light(geometry: BufferGeometry, finding: PlacedFinding): Mesh {
    const whole = geometry.index!.array as Uint32Array;
    const count = finding.faces.reduce((sum, [, n]) => sum + n, 0);
    const index = new Uint32Array(3 * count);
    let at = 0;
    for (const [first, n] of finding.faces) {
      index.set(whole.subarray(3 * first, 3 * (first + n)), at);
      at += 3 * n;
    }
    const lit = new BufferGeometry();
    lit.setAttribute("position", geometry.getAttribute("position"));
    lit.setIndex(new BufferAttribute(index, 1));
    const material = new MeshBasicMaterial({
      side: DoubleSide, polygonOffset: true, polygonOffsetFactor: -1, polygonOffsetUnits: -1, transparent: true,
    });
    const mesh = new Mesh(lit, material);
    mesh.frustumCulled = false;
    this.scene.add(mesh);
    return mesh;
  }

  private relight(): void {
    const c = colours();
    this.lights.forEach((mesh, i) => {
      const chosen = i === this.chosen;
      const material = mesh.material as MeshBasicMaterial;
      material.color.set(new Color(chosen ? c.chosen : c[this.findings[i]!.level]));
      material.opacity = chosen ? 0.95 : this.chosen === null ? 0.6 : 0.18;
      mesh.renderOrder = chosen ? 2 : 1;
    });
    // The other side of a wall must not hide what is lit.
    const seeThrough = this.chosen !== null;
    this.mesh.material.transparent = seeThrough;
    this.mesh.material.opacity = seeThrough ? 0.45 : 1;
    this.mesh.material.depthWrite = !seeThrough;
    this.mesh.material.needsUpdate = true;
  }

  /** Lines and the measured distance of the chosen finding. */
  private dimension(): void {
    for (const child of [...this.marks.children]) {
      this.marks.remove(child);
      if (child instanceof LineSegments) (child.geometry as BufferGeometry).dispose();
    }
    this.unlabel("dimension");
    const finding = this.chosen === null ? null : this.findings[this.chosen];
    if (!finding) return;
    const points: number[] = [];
    for (const [a, b] of finding.lines) points.push(...a, ...b);
    if (finding.span) points.push(...finding.span[0], ...finding.span[1]);
    if (points.length) {
      const geometry = new BufferGeometry();
      geometry.setAttribute("position", new BufferAttribute(new Float32Array(points), 3));
      const lines = new LineSegments(geometry, new LineBasicMaterial({ color: new Color(colours().chosen), depthTest: false }));
      lines.renderOrder = 3;
      this.marks.add(lines);
    }
    if (finding.span) {
      const [a, b] = finding.span;
      const middle = new Vector3((a[0] + b[0]) / 2, (a[1] + b[1]) / 2, (a[2] + b[2]) / 2);
      const distance = Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);
      this.label("dimension", middle, () => length(distance));
    } else if (finding.point) {
      this.label("dimension", new Vector3(...finding.point), () => "●");
    }
  }

  /** A 10 mm cube beside the part: an inch read as a millimetre is seen at once. */
  private addScale(): void {
    const side = 10;
    const box = this.mesh.geometry.boundingBox!;
    const cube = new LineSegments(new EdgesGeometry(new BoxGeometry(side, side, side)), new LineBasicMaterial());
    const gap = Math.max(side, this.radius * 0.15);
    cube.position.set(box.max.x + gap + side / 2, box.min.y + side / 2, box.min.z + side / 2);
    cube.name = "scale";
    this.scene.add(cube);
    this.label("scale", cube.position.clone().add(new Vector3(0, 0, -side * 0.9)), () => length(side));
  }

  private addSizes(): void {
    const box = this.mesh.geometry.boundingBox!;
    const { x, y, z } = this.sizeOf;
    const off = this.radius * 0.06;
    this.label("size", new Vector3(this.centre.x, box.min.y - off, box.min.z), () => length(x));
    this.label("size", new Vector3(box.max.x + off, this.centre.y, box.min.z), () => length(y));
    this.label("size", new Vector3(box.max.x + off, box.min.y - off, this.centre.z), () => length(z));
  }

  private label(kind: string, at: Vector3, make: () => string): void {
    const node = h("span", { class: `view-label view-label-${kind}` }, make());
    this.labels.append(node);
    this.labelled.push({ at, make, kind, node });
  }

  private unlabel(kind: string): void {
    for (const label of this.labelled) if (label.kind === kind) label.node.remove();
    this.labelled = this.labelled.filter((x) => x.kind !== kind);
  }

  private flyTo(finding: PlacedFinding): void {
    const [low, high] = finding.box!;
    const middle = finding.point ? new Vector3(...finding.point) : new Vector3((low[0] + high[0]) / 2, (low[1] + high[1]) / 2, (low[2] + high[2]) / 2);
    const extent = Math.hypot(high[0] - low[0], high[1] - low[1], high[2] - low[2]);
    const zoom = Math.min(5, Math.max(1, (this.radius * 0.9) / Math.max(extent, this.radius * 0.02)));
    // Look at the place from the side of the part it lies on.
    const outward = middle.clone().sub(this.centre);
    const here = this.camera.position.clone().sub(this.controls.target).normalize();
    if (outward.length() > 0.05 * this.radius) here.add(outward.normalize().multiplyScalar(0.8));
    here.z = Math.max(here.z, -0.8);
    if (here.length() < 1e-3) here.set(0.6, -0.6, 0.4);
    this.move(middle, here.normalize(), zoom, true);
  }

  private move(target: Vector3, towards: Vector3, zoom: number, animate = false): void {
    this.stopFlight();
    const distance = this.radius * 4;
    const end = target.clone().addScaledVector(towards, distance);
    const apply = (share: number, from: { position: Vector3; target: Vector3; zoom: number }) => {
      const ease = share * share * (3 - 2 * share);
      this.controls.target.lerpVectors(from.target, target, ease);
      this.camera.position.lerpVectors(from.position, end, ease);
      this.camera.zoom = from.zoom * (zoom / from.zoom) ** ease;
      this.camera.updateProjectionMatrix();
      this.controls.update();
      this.draw();
    };
    const from = { position: this.camera.position.clone(), target: this.controls.target.clone(), zoom: this.camera.zoom };
    if (!animate || matchMedia("(prefers-reduced-motion: reduce)").matches) {
      apply(1, from);
      return;
    }
    const started = performance.now();
    const step = (now: number) => {
      const share = Math.min(1, (now - started) / 350);
      apply(share, from);
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
    const span = this.radius * 1.25;
    const aspect = width / height;
    const tall = aspect >= 1 ? span : span / aspect;
    this.camera.left = -tall * aspect;
    this.camera.right = tall * aspect;
    this.camera.top = tall;
    this.camera.bottom = -tall;
    this.camera.near = -this.radius * 20;
    this.camera.far = this.radius * 40;
    this.camera.updateProjectionMatrix();
    this.draw();
  }

  /** Draw once, at the next frame, however often it is asked for. */
  private draw(): void {
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame(() => {
      this.asked = false;
      // Over the left shoulder of whoever looks, so that faces differ by their slope from every side.
      const left = new Vector3().setFromMatrixColumn(this.camera.matrixWorld, 0).multiplyScalar(-2.4 * this.radius);
      const up = new Vector3().setFromMatrixColumn(this.camera.matrixWorld, 1).multiplyScalar(3.2 * this.radius);
      this.sun.position.copy(this.camera.position).sub(this.controls.target).add(left).add(up);
      const scale = this.scene.getObjectByName("scale") as LineSegments<BufferGeometry, LineBasicMaterial>;
      scale.material.color.set(new Color(colours().faint));
      this.renderer.render(this.scene, this.camera);
      const { clientWidth: width, clientHeight: height } = this.element;
      for (const { at, node } of this.labelled) {
        const p = at.clone().project(this.camera);
        node.style.transform = `translate(-50%, -50%) translate(${((p.x + 1) / 2) * width}px, ${((1 - p.y) / 2) * height}px)`;
      }
    });
  }

  private pick(event: MouseEvent): void {
    const rectangle = this.renderer.domElement.getBoundingClientRect();
    const at = new Vector2(
      ((event.clientX - rectangle.left) / rectangle.width) * 2 - 1,
      1 - ((event.clientY - rectangle.top) / rectangle.height) * 2,
    );
    const geometry = this.mesh.geometry as BufferGeometry & { boundsTree?: MeshBVH };
    if (!geometry.boundsTree) return;
    const caster = new Raycaster();
    caster.setFromCamera(at, this.camera);
    const face = caster.intersectObject(this.mesh, false)[0]?.faceIndex;
    if (face === undefined || face === null) {
      this.onPick(null);
      return;
    }
    const index = this.findings.findIndex((x) => x.faces.some(([first, n]) => face >= first && face < first + n));
    if (index >= 0) this.onPick(index);
  }
}
