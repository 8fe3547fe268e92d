// Lengths come in mm and are shown in the unit that the person picked.

export type LengthUnit = "mm" | "in";

const KEY = "lintsvc.unit";
let unit: LengthUnit = localStorage.getItem(KEY) === "in" ? "in" : "mm";

export function lengthUnit(): LengthUnit {
  return unit;
}

export function setLengthUnit(next: LengthUnit): void {
  unit = next;
  localStorage.setItem(KEY, next);
}

/** A number with few digits: enough to act on, none to stumble over. */
export function digits(value: number, places = 2): string {
  const size = Math.abs(value);
  if (size !== 0 && size < 10 ** -places) return value.toPrecision(2);
  return value.toLocaleString("en", { maximumFractionDigits: places }).replace(/,/g, "\u202f");
}

const PER_INCH = 25.4;

/** "12.5 mm" or "0.492 in". */
export function length(mm: number): string {
  return unit === "mm" ? `${digits(mm)} mm` : `${digits(mm / PER_INCH, 3)} in`;
}

/** "40 × 30 × 2.5 mm". */
export function size(mm: readonly number[]): string {
  const shown = mm.map((x) => (unit === "mm" ? digits(x) : digits(x / PER_INCH, 3)));
  return `${shown.join(" × ")} ${unit}`;
}

/** A value in any unit of a report; lengths follow the chosen unit. */
export function quantity(value: number, of: string): string {
  if (of === "mm") return length(value);
  if (of === "mm2") return unit === "mm" ? `${digits(value)} mm²` : `${digits(value / PER_INCH ** 2, 3)} in²`;
  if (of === "mm3") return unit === "mm" ? `${digits(value / 1000)} cm³` : `${digits(value / PER_INCH ** 3, 3)} in³`;
  if (of === "deg") return `${digits(value, 1)}°`;
  if (of === "count" || of === "ratio") return digits(value, 2);
  return `${digits(value)} ${of}`;
}
