// The size of a body on the drawing itself, and a cube of 10 mm beside it (100 mm beside a large one): an inch read as a
// millimetre is seen at once.
import {
  Box3, BoxGeometry, BufferAttribute, BufferGeometry, Color, EdgesGeometry, LineBasicMaterial, LineSegments, Vector3,
} from "three";
import { text } from "../strings";
import { length, scaleMm } from "../units";
import type { Stage } from "./stage";

export class Sizes {
  private readonly material = new LineBasicMaterial();

  constructor(stage: Stage, box: Box3) {
    const { radius, size, centre } = stage;
    const { min, max } = box;
    const off = radius * 0.07;
    const tick = radius * 0.03;
    const lines: number[] = [];
    const line = (a: Vector3, b: Vector3, out: Vector3) => {
      lines.push(...a.toArray(), ...b.toArray());
      for (const end of [a, b]) lines.push(...end.clone().addScaledVector(out, -tick).toArray(), ...end.clone().addScaledVector(out, tick).toArray());
    };
    const y = min.y - off;
    const x = max.x + off;
    line(new Vector3(min.x, y, min.z), new Vector3(max.x, y, min.z), new Vector3(0, 1, 0));
    line(new Vector3(x, min.y, min.z), new Vector3(x, max.y, min.z), new Vector3(1, 0, 0));
    line(new Vector3(min.x - off, y + off, min.z), new Vector3(min.x - off, y + off, max.z), new Vector3(1, 0, 0));
    const geometry = new BufferGeometry();
    geometry.setAttribute("position", new BufferAttribute(new Float32Array(lines), 3));
    stage.scene.add(new LineSegments(geometry, this.material));
    addCube(stage, box, this.material);
    stage.label("size", new Vector3(centre.x, y, min.z), () => length(size.x));
    stage.label("size", new Vector3(x, centre.y, min.z), () => length(size.y));
    stage.label("size", new Vector3(min.x - off, min.y, centre.z), () => length(size.z));
  }

  recolour(colour: string): void {
    this.material.color.set(new Color(colour));
  }
}

/** Draw the cube beside a box, and make room for it in the picture. */
export function addCube(stage: Stage, box: Box3, material: LineBasicMaterial): void {
  const side = scaleMm(Math.max(...box.getSize(new Vector3()).toArray()));
  const cube = new LineSegments(new EdgesGeometry(new BoxGeometry(side, side, side)), material);
  const gap = Math.max(side * 0.4, stage.radius * 0.2);
  cube.position.set(box.max.x + gap + side / 2, box.min.y + side / 2, box.min.z + side / 2);
  stage.scene.add(cube);
  const half = new Vector3(1, 1, 1).multiplyScalar(side / 2);
  stage.frame(box, new Box3(cube.position.clone().sub(half), cube.position.clone().add(half)));
  stage.label("scale", cube.position.clone().add(new Vector3(0, 0, -side * 0.9)), () => text.scaleCube(length(side)));
}
