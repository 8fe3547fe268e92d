// Signs at the places of findings: the sign of the level, as in the list, and what was measured there.
import { Vector3 } from "three";
import { levelMark } from "../panel/marks";
import { length } from "../units";
import { vector } from "./dimension";
import type { PlacedFinding } from "./placed";
import type { Stage } from "./stage";

/** More would hide the part; findings come ranked, so that the worst have theirs. */
const MOST = 40;

interface Mark { at: Vector3; node: HTMLElement; long: number }

export class LevelMarks {
  private marks: Mark[] = [];

  constructor(private readonly stage: Stage) {}

  /** Where a finding lies may be elsewhere than in the file: a sheet is folded. */
  show(findings: PlacedFinding[], placeOf: (finding: PlacedFinding) => Vector3 | null = ({ point }) => point && vector(point)): void {
    this.stage.unlabel("mark");
    this.marks = [];
    for (const finding of findings) {
      const at = placeOf(finding);
      if (!at) continue;
      const long = finding.span ? vector(finding.span[0]).distanceTo(vector(finding.span[1])) : 0;
      const node = this.stage.label("mark", at, () => (finding.span ? length(long) : ""), levelMark(finding.level));
      node.classList.add(`view-label-${finding.level}`);
      this.marks.push({ at, node, long });
      if (this.marks.length === MOST) return;
    }
  }

  /** Tell those that lie behind the part from those in front. `foremost`: what of the part is seen at a place. */
  tellHidden(foremost: (at: Vector3) => Vector3 | null): void {
    const towards = this.stage.towards();
    for (const { at, node, long } of this.marks) {
      const seen = foremost(at);
      // A place may lie within a wall, half of its thickness deep.
      const least = Math.max(long, this.stage.radius * 0.01);
      node.classList.toggle("behind", seen !== null && seen.clone().sub(at).dot(towards) > least);
    }
  }
}
