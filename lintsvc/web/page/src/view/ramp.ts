// Colours for widths: bands from dark (thin) to light (thick), whose lightness alone tells them apart, so that they can
// be read by colour-blind people and on grey paper. What is below the limit is striped as well.
import type { WidthLimit } from "./decode_widths";

export interface Scale {
  /** Width of a band, mm. */
  band: number;
  /** One colour a band, thinnest first, as [r, g, b] from 0 to 255. */
  bands: [number, number, number][];
  limit: number | null;
}

/** Half the limit, so that the limit falls between two bands; without one, half a millimetre. */
export function makeScale(limit: WidthLimit | undefined, cap: number): Scale {
  const band = limit ? limit.value / 2 : 0.5;
  const count = Math.max(2, Math.min(8, Math.floor(cap / band + 1e-9)));
  const bands: Scale["bands"] = [];
  for (let i = 0; i < count; i++) {
    const share = i / (count - 1);
    // Violet over red to yellow, in equal steps of lightness.
    bands.push(oklch(0.34 + 0.58 * share, 0.17 - 0.05 * share, 305 + 155 * share));
  }
  return { band, bands, limit: limit?.value ?? null };
}

/** Oklch (Björn Ottosson's published formulas) to sRGB; what sRGB does not have is cut off. */
function oklch(lightness: number, chroma: number, hueDegrees: number): [number, number, number] {
  const hue = (hueDegrees * Math.PI) / 180;
  const a = chroma * Math.cos(hue);
  const b = chroma * Math.sin(hue);
  const l = (lightness + 0.3963377774 * a + 0.2158037573 * b) ** 3;
  const m = (lightness - 0.1055613458 * a - 0.0638541728 * b) ** 3;
  const s = (lightness - 0.0894841775 * a - 1.291485548 * b) ** 3;
  const linear = [
    4.0767416621 * l - 3.3077115913 * m + 0.2309699292 * s,
    -1.2684380046 * l + 2.6097574011 * m - 0.3413193965 * s,
    -0.0041960863 * l - 0.7034186147 * m + 1.707614701 * s,
  ];
  return linear.map((x) => {
    const clear = Math.min(1, Math.max(0, x));
    return Math.round(255 * (clear <= 0.0031308 ? 12.92 * clear : 1.055 * clear ** (1 / 2.4) - 0.055));
  }) as [number, number, number];
}
