// Bundles the page into ../static. Names carry a hash of their content, so they can be cached for good.
import { build } from "esbuild";
import { createHash } from "node:crypto";
import { mkdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";

const here = dirname(fileURLToPath(import.meta.url));
const out = join(here, "..", "static");
rmSync(out, { recursive: true, force: true });
mkdirSync(out, { recursive: true });

async function bundle(entry, extension) {
  const result = await build({
    entryPoints: [join(here, "src", entry)],
    bundle: true,
    format: "esm",
    target: "es2022",
    minify: true,
    legalComments: "eof",
    write: false,
    outfile: `bundle.${extension}`,
    define: bundle.names,
  });
  const bytes = result.outputFiles[0].contents;
  const hash = createHash("sha256").update(bytes).digest("hex").slice(0, 12);
  const name = `${entry.split("/").pop().replace(/\.(ts|css)$/, "")}.${hash}.${extension}`;
  writeFileSync(join(out, name), bytes);
  return name;
}

bundle.names = {};
const worker = await bundle("view/decode_worker.ts", "js");
// The page starts the worker by name; the name is only known after it is built.
bundle.names = { DECODE_WORKER: JSON.stringify(`/static/${worker}`) };
const script = await bundle("main.ts", "js");
const style = await bundle("style.css", "css");
const html = readFileSync(join(here, "index.html"), "utf8")
  .replace("{{script}}", `/static/${script}`)
  .replace("{{style}}", `/static/${style}`);
writeFileSync(join(out, "index.html"), html);
