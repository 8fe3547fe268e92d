// Order files: writing one, the same that the command reads; and what one names, as far as the page needs to know.

export interface PartFields {
  file: string;
  id: string;
  process: string;
  material: string;
  thickness: string;
  finish: string;
  quantity: string;
  spares: string;
}

/** A TOML text: basic strings are written as JSON's, but for signs that JSON may leave as they are. */
const quoted = (value: string) => JSON.stringify(value).replace(/\u007f/g, "\\u007f");
const whole = (value: string) => (/^\d{1,7}$/.test(value.trim()) ? String(Number(value)) : null);

/** An id that an order file takes, made from a file's name, unlike those taken. */
export function idOf(file: string, taken: string[]): string {
  const stem = file.replace(/\.[^.]*$/, "").normalize("NFD").replace(/[^A-Za-z0-9._-]+/g, "-").replace(/^[^A-Za-z0-9]+/, "").slice(0, 40) || "part";
  let id = stem;
  for (let i = 2; taken.includes(id); i++) id = `${stem}-${i}`;
  return id;
}

/** The text of an order file. Empty fields are left out. */
export function orderText(name: string, needBy: string, parts: PartFields[]): string {
  const lines = ["[order]", `name = ${quoted(name || "Order")}`];
  if (/^\d{4}-\d{2}-\d{2}$/.test(needBy)) lines.push(`need_by = ${needBy}`);
  for (const part of parts) {
    lines.push("", "[[part]]", `id = ${quoted(part.id)}`, `file = ${quoted(part.file)}`);
    for (const key of ["process", "material", "thickness", "finish"] as const) {
      const value = part[key].trim();
      if (value) lines.push(`${key} = ${quoted(value)}`);
    }
    for (const key of ["quantity", "spares"] as const) {
      const value = whole(part[key]);
      if (value !== null) lines.push(`${key} = ${value}`);
    }
  }
  return lines.join("\n") + "\n";
}

/** An order has parts, each under [[part]]; other files of that ending (settings, a shop's figures) have none. */
export const isOrder = (text: string) => /^\s*\[\[\s*part\s*\]\]/m.test(text);

/** Names of the files that an order file needs beside it, without their folders, as the service looks for them. */
export function namedFiles(text: string): string[] {
  const found = new Set<string>();
  let table = "";
  for (const line of text.split(/\r?\n/)) {
    table = /^\s*\[+\s*([\w.-]+)\s*\]+/.exec(line)?.[1] ?? table;
    const [, key, basic, literal] = /^\s*(file|shop)\s*=\s*(?:("(?:[^"\\]|\\.)*")|'([^']*)')/.exec(line) ?? [];
    if (!key || (key === "shop") !== (table === "order")) continue;
    const name = literal ?? unquoted(basic!);
    found.add(name.split(/[\\/]/).pop()!);
  }
  found.delete("");
  return [...found];
}

function unquoted(basic: string): string {
  try {
    return JSON.parse(basic) as string;
  } catch {
    return basic.slice(1, -1);
  }
}

/** The order files among some, the one of the usual name first. */
export async function ordersIn(files: File[]): Promise<{ file: File; text: string }[]> {
  const found: { file: File; text: string }[] = [];
  for (const file of files) {
    // Written by hand, so never large; and not everything of that ending is an order.
    if (!/\.toml$/i.test(file.name) || file.size > 2_000_000) continue;
    const text = await file.text();
    if (isOrder(text)) found.push({ file, text });
  }
  return found.sort((a, b) => Number(b.file.name.toLowerCase() === "order.toml") - Number(a.file.name.toLowerCase() === "order.toml"));
}
