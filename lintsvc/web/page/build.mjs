// Bundles the page into ../static. Names carry a hash of their content, so they can be cached for good.
import { build } from "esbuild";
import { createHash } from "node:crypto";
import { mkdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { brotliCompressSync, constants, gzipSync } from "node:zlib";
import { fileURLToPath } from "node:url";

const here = dirname(fileURLToPath(import.meta.url));
// A second word on the command line builds elsewhere.
const out = process.argv[2] ?? join(here, "..", "static");
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
  // Packed once here instead of at each request.
  writeFileSync(join(out, `${name}.br`), brotliCompressSync(bytes, { params: { [constants.BROTLI_PARAM_QUALITY]: 11 } }));
  writeFileSync(join(out, `${name}.gz`), gzipSync(bytes, { level: 9 }));
  return name;
}

bundle.names = {};
// The page starts workers by name; the names are only known after they are built.
const workers = { DECODE_WORKER: await bundle("view/decode_worker.ts", "js"), WARM_WORKER: await bundle("view/warm_worker.ts", "js") };
bundle.names = Object.fromEntries(Object.entries(workers).map(([name, file]) => [name, JSON.stringify(`/static/${file}`)]));
const script = await bundle("main.ts", "js");
const style = await bundle("all.css", "css");
const html = readFileSync(join(here, "index.html"), "utf8")
  .replace("{{script}}", `/static/${script}`)
  .replace("{{style}}", `/static/${style}`);
writeFileSync(join(out, "index.html"), html);
