"""Every word that the page says stands in one file, for whoever translates it."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path

from page.modules import PAGE, PLACES

#: Finds words that are written where they are shown: as a child of an element, or as what is read out or hinted at.
FIND = """
import { createRequire } from "node:module";
import { readFileSync } from "node:fs";
const ts = createRequire(process.argv[2])("typescript");
const SAID = new Set(["aria-label", "aria-description", "title", "placeholder", "alt"]);
const SETS = new Set(["textContent", "innerText", "title", "placeholder"]);
const found = [];
for (const file of JSON.parse(readFileSync(process.argv[3], "utf8"))) {
  const source = ts.createSourceFile(file, readFileSync(file, "utf8"), ts.ScriptTarget.Latest, true);
  // Text of a literal, of a template without what is put into it, or of either side of a choice.
  const words = (node) => {
    if (ts.isStringLiteralLike(node)) return [node.text];
    if (ts.isTemplateExpression(node)) return [node.head.text, ...node.templateSpans.map((x) => x.literal.text)];
    if (ts.isConditionalExpression(node)) return [...words(node.whenTrue), ...words(node.whenFalse)];
    if (ts.isParenthesizedExpression(node)) return words(node.expression);
    if (ts.isBinaryExpression(node)) return [...words(node.left), ...words(node.right)];
    return [];
  };
  const look = (node) => {
    let shown = [];
    if (ts.isCallExpression(node) && ["h", "s", "fill"].includes(node.expression.getText())) {
      shown = node.arguments.slice(node.expression.getText() === "fill" ? 1 : 2);
    }
    if (ts.isPropertyAssignment(node) && SAID.has(node.name.text)) shown = [node.initializer];
    const sets = ts.isBinaryExpression(node) && node.operatorToken.kind === ts.SyntaxKind.EqualsToken;
    if (sets && ts.isPropertyAccessExpression(node.left) && SETS.has(node.left.name.text)) shown = [node.right];
    for (const text of shown.flatMap(words)) {
      // Units, signs and single letters are the same everywhere.
      if (/\\p{L}{3}/u.test(text)) found.push([file, text]);
    }
    ts.forEachChild(node, look);
  };
  look(source);
}
console.log(JSON.stringify(found));
"""


def written_in(files: list[Path], folder: Path) -> list[list[str]]:
    node = shutil.which("node", path=PLACES)
    assert node is not None, "the tests of the page need Node"
    (folder / "find.mjs").write_text(FIND)
    (folder / "files.json").write_text(json.dumps([str(x) for x in files]))
    command = [node, folder / "find.mjs", PAGE / "package.json", folder / "files.json"]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    found: list[list[str]] = json.loads(done.stdout)
    return found


def test_no_words_are_written_beside_the_file_of_strings(tmp_path: Path) -> None:
    files = [x for x in sorted((PAGE / "src").rglob("*.ts")) if x.name != "strings.ts"]
    assert len(files) > 30
    assert written_in(files, tmp_path) == []


def test_words_written_where_they_are_shown_are_found(tmp_path: Path) -> None:
    file = tmp_path / "wrong.ts"
    file.write_text(
        'fill(a, h("p", { class: "quiet box", "aria-label": "Of the part" }, text.fine, "Some words",\n'
        '  ok ? "yes" : `n = ${n} now`));\n'
        'status.textContent = "Ready";\nconst kind = "not shown";\n'
    )
    assert [x[1] for x in written_in([file], tmp_path)] == ["Some words", "yes", " now", "Of the part", "Ready"]
