// Cuts the body open along a plane: what lies in front is left out, and the cut is closed with a hatched face.
import { type BufferGeometry, Color, Mesh, type MeshBasicMaterial, Plane, PlaneGeometry, Vector3 } from "three";
import { bare, counter, hatched } from "./materials";
import type { Stage } from "./stage";

const AXES = { x: new Vector3(1, 0, 0), y: new Vector3(0, 1, 0), z: new Vector3(0, 0, 1) } as const;
export type Axis = keyof typeof AXES;
/** Across an axis; "seen", across the direction from which it was looked at; or "along" a measured distance. */
export type Cut = Axis | "seen" | "along";

/** What a section is, so that another view of the same part can have it. */
export interface KeptSection { on: boolean; cut: Cut; across: [number, number, number]; at: number; flipped: boolean }

export class Section {
  /** Given to every material that is cut; empty while there is no section. One array, filled and emptied. */
  readonly planes: Plane[] = [];
  cut: Cut = "x";
  /** Where along its direction: for an axis its coordinate, else from the middle of the part; mm. */
  at = 0;
  flipped = false;
  /** The direction that it cuts across. */
  private readonly across = AXES.x.clone();
  private readonly plane = new Plane(new Vector3(-1, 0, 0), 0);
  private readonly fillers: Mesh[] = [];
  private readonly cap: Mesh<PlaneGeometry, MeshBasicMaterial>;

  constructor(private readonly stage: Stage, geometry: BufferGeometry, private readonly closed: boolean) {
    for (const back of [true, false]) {
      const filler = new Mesh(geometry, counter(this.planes, back));
      filler.renderOrder = -4;
      filler.visible = false;
      filler.frustumCulled = false;
      this.fillers.push(filler);
      stage.scene.add(filler);
    }
    this.cap = new Mesh(bare(new PlaneGeometry(1, 1)), hatched());
    this.cap.renderOrder = -3;
    this.cap.visible = false;
    stage.scene.add(this.cap);
  }

  /** Count through another geometry of the same body: a coarse one while the view moves. */
  through(geometry: BufferGeometry): void {
    for (const filler of this.fillers) filler.geometry = geometry;
  }

  get on(): boolean {
    return this.planes.length > 0;
  }

  /** From where to where the cut can go. */
  range(): [number, number] {
    const { x, y, z } = this.stage.size;
    const half = (Math.abs(this.across.x) * x + Math.abs(this.across.y) * y + Math.abs(this.across.z) * z) / 2;
    const middle = this.start();
    return [middle - half, middle + half];
  }

  switch(on: boolean): void {
    this.planes.length = 0;
    if (on) this.planes.push(this.plane);
    for (const filler of this.fillers) filler.visible = on && this.closed;
    this.cap.visible = on && this.closed;
    this.place();
  }

  /** Cut across an axis through a place, else through the middle. */
  turnTo(axis: Axis, through: Vector3 | null): void {
    this.turn(axis, AXES[axis], through);
  }

  /** Cut across any direction; what lies towards it is left out. */
  turn(cut: Cut, across: Vector3, through: Vector3 | null): void {
    this.cut = cut;
    this.across.copy(across).normalize();
    this.flipped = false;
    this.move(through ?? this.stage.centre);
    this.place();
  }

  /** Move it through a place. */
  move(through: Vector3): void {
    this.at = through.dot(this.across) - this.stage.centre.dot(this.across) + this.start();
  }

  place(): void {
    // The side towards the usual view is left out: +x, -y, +z.
    const sign = (this.cut === "y" ? 1 : -1) * (this.flipped ? -1 : 1);
    this.plane.normal.copy(this.across).multiplyScalar(sign);
    const on = this.stage.centre.clone().addScaledVector(this.across, this.at - this.start());
    this.plane.setFromNormalAndCoplanarPoint(this.plane.normal.clone(), on);
    this.cap.scale.setScalar(this.stage.radius * 4);
    this.cap.position.copy(on);
    this.cap.quaternion.setFromUnitVectors(AXES.z, this.plane.normal);
    this.stage.draw();
  }

  /** The direction from which one looks into the cut. */
  open(): Vector3 {
    return this.plane.normal.clone().negate();
  }

  /** Whether a point is left of what is cut away. */
  shows(point: Vector3): boolean {
    return !this.on || this.plane.distanceToPoint(point) >= -1e-6;
  }

  keep(): KeptSection {
    return { on: this.on, cut: this.cut, across: this.across.toArray(), at: this.at, flipped: this.flipped };
  }

  restore({ on, cut, across, at, flipped }: KeptSection): void {
    this.across.fromArray(across);
    Object.assign(this, { cut, at, flipped });
    this.switch(on);
  }

  recolour(ink: string, ground: string): void {
    this.cap.material.color.set(new Color(ground));
    (this.cap.material.userData.ink as { value: Color }).value.set(new Color(ink));
  }

  /** What `at` is in the middle of the part. */
  private start(): number {
    return this.cut in AXES ? this.stage.centre.dot(this.across) : 0;
  }
}
