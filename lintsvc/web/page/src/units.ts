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
  // As fine as the messages say what is thin.
  return unit === "mm" ? `${digits(mm, Math.abs(mm) < 1 ? 3 : 2)} mm` : `${digits(mm / PER_INCH, 3)} in`;
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

const LENGTHS = /((?:\d[\d \u202f]*(?:\.\d+)? [×x] )*\d[\d \u202f]*(?:\.\d+)?) mm(?![\w²³])/g;

/** The service's words with the lengths in them in the chosen unit: "0.4 mm", "40 × 30 mm". */
export function inUnit(words: string): string {
  if (unit === "mm") return words;
  return words.replace(LENGTHS, (_, numbers: string) => {
    const shown = numbers.split(/ [×x] /).map((x) => digits(Number(x.replace(/[ \u202f]/g, "")) / PER_INCH, 3));
    return `${shown.join(" × ")} in`;
  });
}

/** "1.2 MB": decimal, as file managers show it. */
export function fileSize(bytes: number): string {
  if (bytes < 1e3) return `${bytes} B`;
  return bytes < 1e6 ? `${digits(bytes / 1e3, 0)} kB` : `${digits(bytes / 1e6, 1)} MB`;
}

/** "12.5 g" or "1.2 kg"; ounces and pounds beside inches. */
export function mass(grams: number): string {
  if (unit === "in") return grams >= 453.6 ? `${digits(grams / 453.59237, 2)} lb` : `${digits(grams / 28.349523, 2)} oz`;
  return grams >= 1000 ? `${digits(grams / 1000)} kg` : `${digits(grams, 1)} g`;
}

/** Side of what stands beside a part for scale: 10 mm, or ten times that where 10 mm would hardly be seen. */
export function scaleMm(longest: number): number {
  return longest <= 250 ? 10 : longest <= 2500 ? 100 : 1000;
}
