"""Write the README's tables anew: what `bracedtop check --markdown` prints, and the mesh refinement of cases/wren.

Each stands between two comments, <!-- NAME --> and <!-- /NAME -->; the rest of the text is left as it is.

example:
  python scripts/benchmarks/readme_tables.py
"""

import os
import sys
from pathlib import Path

from refinement import table

ROOT = Path(__file__).resolve().parents[2]


def replaced(text: str, name: str, lines: list[str]) -> str:
    """Text with other lines between the comments of that name."""
    head, opening, rest = text.partition(f"<!-- {name} -->\n")
    _, closing, tail = rest.partition(f"<!-- /{name} -->\n")
    if not opening or not closing:
        message = f"no <!-- {name} --> ... <!-- /{name} --> in the text"
        raise ValueError(message)
    return head + opening + "\n".join(lines) + "\n" + closing + tail


def main() -> int:
    """Solve everything and write."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from bracedtop.scripts.check import checked, markdown, packaged_checks

    with packaged_checks() as folders:
        checks = [checked(folder) for folder in folders]
    path = ROOT / "README.md"
    text = replaced(path.read_text(encoding="utf-8"), "checks", markdown(checks))
    text = replaced(text, "refinement", table(ROOT / "cases" / "wren"))
    aside = path.with_suffix(".tmp")
    aside.write_text(text, encoding="utf-8")
    aside.replace(path)
    print(f"Written: {path}")
    return 0 if all(check["ok"] for check in checks) else 1


if __name__ == "__main__":
    sys.exit(main())
