// Dimensions in the 3D view: a line with arrow heads between two places, the ball that was measured, and a label.
import {
  BufferAttribute, BufferGeometry, ConeGeometry, CylinderGeometry, Group, LineSegments, Mesh, type MeshBasicMaterial, type Object3D,
  SphereGeometry, Vector3,
} from "three";
import type { Point } from "../report";
import { bare, mark, markLine } from "./materials";
import type { Stage } from "./stage";

/** A circle is drawn with so many straight pieces. */
const CIRCLE = 48;

/** Marks of one kind, drawn over everything, that can be taken away together. */
export class Marks {
  readonly group = new Group();
  /** What keeps its size on the screen. */
  private readonly fixed: Object3D[] = [];

  /** What always faces whoever looks. */
  private readonly facing: Object3D[] = [];

  constructor(private readonly stage: Stage, private readonly kind: string) {
    this.group.renderOrder = 10;
    stage.scene.add(this.group);
  }

  clear(): void {
    this.group.traverse((child) => {
      if (child instanceof LineSegments || child instanceof Mesh) {
        (child.geometry as BufferGeometry).dispose();
        (child.material as MeshBasicMaterial).dispose();
      }
    });
    this.group.clear();
    this.fixed.length = 0;
    this.facing.length = 0;
    this.stage.unlabel(this.kind);
  }

  /** Straight lines, each from one end to the other. */
  lines(ends: readonly (readonly [Point, Point])[], colour: string, opacity = 1): Object3D | null {
    if (!ends.length) return null;
    const points = new Float32Array(6 * ends.length);
    ends.forEach(([a, b], i) => points.set([...a, ...b], 6 * i));
    const geometry = new BufferGeometry();
    geometry.setAttribute("position", new BufferAttribute(points, 3));
    const material = markLine(colour, opacity);
    const lines = new LineSegments(geometry, material);
    lines.renderOrder = 10;
    lines.frustumCulled = false;
    this.group.add(lines);
    return lines;
  }

  /** A ball, as the measurement has it: seen through, with its outline and three circles. */
  ball(middle: Vector3, radius: number, colour: string, ground: string): void {
    const ball = new Mesh(bare(new SphereGeometry(radius, 32, 16)), mark(ground, 0.7));
    ball.position.copy(middle);
    ball.renderOrder = 9;
    this.group.add(ball);
    for (const [u, v] of [[0, 1], [1, 2], [2, 0]] as const) this.circle(middle, radius, u, v, colour, 0.5);
    this.facing.push(this.circle(middle, radius, 0, 1, colour, 1));
  }

  private circle(middle: Vector3, radius: number, u: 0 | 1 | 2, v: 0 | 1 | 2, colour: string, opacity: number): Object3D {
    const at = (k: number) => {
      const p: Point = [0, 0, 0];
      p[u] = radius * Math.cos((2 * Math.PI * k) / CIRCLE);
      p[v] = radius * Math.sin((2 * Math.PI * k) / CIRCLE);
      return p;
    };
    const circle = this.lines(Array.from({ length: CIRCLE }, (_, i) => [at(i), at(i + 1)] as const), colour, opacity)!;
    circle.position.copy(middle);
    return circle;
  }

  /** Dots keep their size on the screen; see `scale`. */
  dot(at: Vector3, colour: string): void {
    const dot = new Mesh(bare(new SphereGeometry(4, 12, 8)), mark(colour));
    dot.position.copy(at);
    dot.renderOrder = 11;
    this.fixed.push(dot);
    this.group.add(dot);
  }

  /** An arrow whose tip is at a place and which comes from a direction, as drawn beside a short distance. */
  arrow(tip: Vector3, from: Vector3, colour: string, ground: string): void {
    const arrow = new Group();
    // With a rim in the colour of the ground, so that it is told from what is lit in its own colour.
    for (const [material, wider, order] of [[mark(ground), 1.5, 11], [mark(colour), 0, 12]] as const) {
      const head = new Mesh(bare(new ConeGeometry(5 + wider, 14 + 3 * wider, 12).translate(0, -7 + wider / 2, 0)), material);
      const shaft = new Mesh(bare(new CylinderGeometry(1.1 + wider, 1.1 + wider, 26 + wider, 6).translate(0, -27, 0)), material);
      head.renderOrder = shaft.renderOrder = order;
      arrow.add(head, shaft);
    }
    arrow.position.copy(tip);
    arrow.quaternion.setFromUnitVectors(new Vector3(0, 1, 0), from.clone().negate().normalize());
    this.fixed.push(arrow);
    this.group.add(arrow);
  }

  /** Call before each picture. */
  scale(): void {
    const size = this.stage.perPixel();
    for (const object of this.fixed) object.scale.setScalar(size);
    for (const object of this.facing) object.quaternion.copy(this.stage.camera.quaternion);
  }

  label(at: Vector3, make: () => string): void {
    this.stage.label(this.kind, at, make);
  }
}

export const vector = (p: Point) => new Vector3(p[0], p[1], p[2]);
export const middleOf = (a: Point, b: Point) => new Vector3((a[0] + b[0]) / 2, (a[1] + b[1]) / 2, (a[2] + b[2]) / 2);
